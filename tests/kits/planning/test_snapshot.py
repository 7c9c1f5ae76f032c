from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from bom import values
from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop, read_marks
from kits.catalog.errors import Refusal
from kits.catalog.models import Holiday, Item, Setting, StructureLine
from kits.catalog.queries import read_settings, settings_read_once
from kits.planning.queries import plan_now, today
from kits.planning.snapshot import shop as snapshot
from kits.planning.snapshot.shop import take_snapshot
from kits.schedule.models import Job
from kits.stock.models import Balance
from tests.kits.planning.shop import AS_OF, fill_shop


@pytest.mark.django_db
def test_a_snapshot_holds_every_table_as_the_engine_takes_it():
    fill_shop(1)
    Holiday.objects.create(date=date(2026, 4, 6), name="Easter Monday")
    Holiday.objects.create(date=date(2026, 4, 3))
    shop = take_snapshot(AS_OF)
    assert (shop.as_of, shop.staging_days) == (AS_OF, 2)
    assert shop.holidays == (date(2026, 4, 3), date(2026, 4, 6))
    assert shop.workdays == (True, True, True, True, True, False, False)
    items = {item.part_number: item for item in shop.catalog.items}
    assert items["RING-0"] == values.Item(
        part_number="RING-0", lead_days=5, limited_life=True, life_months=36, min_life_percent=75
    )
    assert items["ONLY-0"].get_as == "KIT-0"
    assert items["ONLY-0"].bench
    assert items["PUMP-0"].default_options == (("compound", "nbr"),)
    assert shop.catalog.lines == (
        values.Line(parent="KIT-0", child="RING-0", quantity=3 * ONE, from_on=date(2026, 1, 1), order=1),
        values.Line(parent="KIT-0", child="ONLY-0", quantity=ONE, order=2),
        values.Line(
            parent="PUMP-0",
            child="RING-0",
            quantity=4 * ONE,
            at_rebuild="inspect",
            position="ball",
            renewals_per_100=Fraction(25, 2),
            options=(("compound", "nbr"),),
        ),
    )
    assert shop.catalog.scopes == (
        values.ScopeSection("PUMP-0", "Full reseal", "PUMP-0", 1, options=(("compound", "nbr"),)),
    )
    assert shop.catalog.kit_fits == (values.KitFit("KIT-0", "PUMP-0", set_name="a"),)
    assert shop.catalog.offers == (
        values.Offer(
            "Norrvik Seals",
            "RING-0",
            pack_size=25 * ONE,
            lead_days=8,
            transit_days=2,
            price_per_pack=Decimal("9.5"),
            foreign_currency="USD",
            closed_from=date(2026, 8, 3),
            closed_to=date(2026, 8, 14),
        ),
    )
    lot = values.Lot("RING-0", "4Q25", 7 * ONE, "A-0", last_use=date(2028, 12, 31), received=AS_OF)
    caged = values.Lot(
        "RING-0", "4Q25", 3 * ONE, "Cage", condition="quarantine", last_use=date(2028, 12, 31), received=AS_OF
    )
    assert shop.lots == (lot, caged)
    assert shop.orders == (
        values.OrderLine("PO-0", "1", "RING-0", 9 * ONE, date(2026, 3, 9), supplier="Norrvik Seals"),
    )
    assert shop.jobs == (
        values.Job("J-0", "PUMP-0", "Full reseal", date(2026, 3, 16), batch="March", options=(("compound", "nbr"),)),
    )
    assert shop.needs == (values.OtherNeed("van 0", "RING-0", 2 * ONE, date(2026, 3, 20)),)
    assert set(shop.issues) == {
        values.Issue("J-0", "RING-0", "4Q25", ONE, "reserved", "A-0"),
        values.Issue("J-0", "RING-0", "4Q25", 2 * ONE, "bagged"),
        values.Issue("J-0", "RING-0", "4Q25", 2 * ONE, "issued"),
    }
    assert shop.verdicts == (values.Verdict("J-0", "pump 1 / ball 1", "RING-0", "renew", found="pitted"),)


@pytest.mark.django_db
@pytest.mark.parametrize("count", [3, 30])
def test_a_snapshot_takes_the_same_number_of_statements_for_three_rows_and_for_thirty(count):
    fill_shop(count)
    with CaptureQueriesContext(
        connection,
    ) as statements:
        shop = take_snapshot(AS_OF)
    assert len(shop.jobs) == count
    assert len(statements) == 24


@pytest.mark.django_db
def test_a_changed_shelf_life_changes_the_last_day_of_every_lot():
    fill_shop(1)
    Item.objects.filter(folded="ring-0").update(shelf_life_months=60)
    assert {lot.last_use for lot in take_snapshot(AS_OF).lots} == {date(2030, 12, 31)}


@pytest.mark.django_db
def test_a_lot_that_lies_in_a_bag_alone_keeps_its_last_day():
    """None of it is on the shelf any more, but the pieces in the bag do not last longer for that."""
    fill_shop(1)
    Balance.objects.on_shelf().update(quantity=0)
    (lot,) = take_snapshot(AS_OF).lots
    assert (lot.part_number, lot.lot, lot.quantity, lot.last_use) == ("RING-0", "4Q25", 0, date(2028, 12, 31))


@pytest.mark.django_db
def test_staging_days_asked_for_win_over_the_setting():
    fill_shop(1)
    assert take_snapshot(AS_OF, staging_days=0).staging_days == 0


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("staging_days", "soon", "Setting staging_days is “soon”: write a whole number from 0 to 250."),
        ("staging_days", "1.5", "Setting staging_days is “1.5”: write a whole number from 0 to 250."),
        ("workdays", "Mon Funday", "Setting workdays is “Mon Funday”: name the days of work"),
    ],
)
def test_a_setting_that_cannot_be_read_is_refused(name, value, says):
    Setting.objects.create(name=name, value=value)
    with pytest.raises(Refusal, match=says.replace(".", r"\.")):
        take_snapshot(AS_OF)


@pytest.mark.django_db
def test_a_page_reads_the_settings_once_but_plans_by_those_of_the_moment(django_assert_num_queries):
    fill_shop(1)
    mark_catalog()
    with settings_read_once():
        with django_assert_num_queries(1):
            assert read_settings().staging_days == read_settings().staging_days == 2
        Setting.objects.update_or_create(name="staging_days", defaults={"value": "4"})
        mark_catalog()
        assert take_snapshot(AS_OF).staging_days == 4
        assert read_settings().staging_days == 4


@pytest.mark.django_db
def test_a_shop_may_work_on_saturdays():
    Setting.objects.create(name="Workdays", value="Monday, Tue, Wed, Thu, Fri, Saturday")
    assert take_snapshot(AS_OF).workdays == (True, True, True, True, True, True, False)


@pytest.mark.django_db
def test_today_is_the_setting_or_the_calendar(time_machine):
    time_machine.move_to("2026-05-06 12:00")
    assert today() == date(2026, 5, 6)
    setting = Setting.objects.create(name="Today", value="2026-03-04")
    assert today() == date(2026, 3, 4)
    setting.value = "4 March"
    setting.save()
    with pytest.raises(Refusal, match="Setting today is “4 March”, which is no day"):
        today()


@pytest.mark.django_db
def test_a_write_in_the_middle_is_read_again(monkeypatch):
    fill_shop(1)
    read, moments = snapshot._needs, []

    def needs_read_while_somebody_writes():
        if not moments:
            mark_shop()
            Job.objects.update(customer="Ferry line")
        moments.append(1)
        return read()

    monkeypatch.setattr(snapshot, "_needs", needs_read_while_somebody_writes)
    assert {job.customer for job in take_snapshot(AS_OF).jobs} == {"Ferry line"}
    assert len(moments) == 2


@pytest.mark.django_db(transaction=True)
def test_records_that_never_stand_still_are_read_while_the_writers_wait(monkeypatch):
    read, held = snapshot._needs, []

    def needs_read_while_somebody_writes():
        held.append(connection.in_atomic_block)
        # Once the records are held, whoever wants to write waits.
        if not connection.in_atomic_block:
            with transaction.atomic():
                mark_shop()
        return read()

    monkeypatch.setattr(snapshot, "_needs", needs_read_while_somebody_writes)
    assert take_snapshot(AS_OF).stamp == snapshot.stamp_of(read_marks())
    assert held == [False] * 5 + [True]


@pytest.mark.django_db(transaction=True)
def test_the_catalog_is_read_again_only_when_it_was_written_to():
    fill_shop(2)
    first = take_snapshot(AS_OF)
    mark_shop()
    assert take_snapshot(AS_OF).catalog is first.catalog
    with transaction.atomic():
        mark_catalog()
        # Nothing may be kept under the new mark yet: the write it speaks of is still to come.
        assert take_snapshot(AS_OF).catalog.lines == first.catalog.lines
        StructureLine.objects.filter(position="ball").update(quantity=ONE)
    assert take_snapshot(AS_OF).catalog.lines != first.catalog.lines


@pytest.mark.django_db(transaction=True)
def test_a_plan_is_worked_out_again_only_when_something_was_written():
    fill_shop(2)
    first = plan_now(AS_OF)
    assert plan_now(AS_OF) is first
    assert plan_now(AS_OF, staging_days=0) is not first
    first = plan_now(AS_OF)
    mark_shop()
    again = plan_now(AS_OF)
    assert again is not first
    assert again.shop == first.shop


@pytest.mark.django_db
def test_nothing_is_kept_of_what_a_transaction_has_not_finished():
    fill_shop(1)
    first = plan_now(AS_OF)
    Job.objects.update(customer="Ferry line")
    assert plan_now(AS_OF).shop.jobs != first.shop.jobs


@pytest.mark.django_db
def test_a_row_that_is_read_again_gives_what_was_made_of_it_and_a_changed_one_what_it_holds_now():
    fill_shop(1)
    first = take_snapshot(AS_OF)
    on_shelf, caged = Balance.objects.on_shelf().filter(quantity__gt=0).order_by("place__folded")
    Balance.objects.filter(pk=on_shelf.pk).update(quantity=5 * ONE)
    second = take_snapshot(AS_OF)
    assert [lot.quantity for lot in second.lots] == [5 * ONE, 3 * ONE]
    assert second.lots[1] is first.lots[1]
    assert second.orders[0] is first.orders[0]
    type(caged.lot).objects.filter(pk=caged.lot_id).update(printed_last_use_on=date(2026, 5, 1))
    assert [lot.last_use for lot in take_snapshot(AS_OF).lots] == [date(2026, 5, 1)] * 2
