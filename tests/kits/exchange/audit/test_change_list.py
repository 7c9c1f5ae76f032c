"""Who changed what: each record that keeps it is told once, with what stood there before and after."""

from datetime import UTC, date, datetime, timedelta

import pytest
from axes.models import AccessFailureLog, AccessLog
from django.apps import apps

from kits.catalog.history.versions import keep_versions, keeps_versions
from kits.catalog.models import Item, Setting
from kits.exchange.audit.change_list import ChangesAsked, change_list, sources_for
from kits.exchange.audit.sources import all_sources
from kits.exchange.models import Upload, UploadedFile
from kits.people.actions import change_password
from kits.people.models import User
from kits.stock.models import Posting
from tests.keeping import keeping_plans
from tests.kits.persons import person_of

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
DAY = date(2026, 3, 4)
pytestmark = pytest.mark.django_db


@pytest.fixture
def administrator():
    return person_of("Administrator", "admin", first_name="Ada", last_name="Marsh")


@pytest.fixture
def lead():
    return person_of("Service lead", "lead")


def change_by_hand(row, by, at=AT, why="as measured", **values):
    before = {row.pk: type(row)._base_manager.get(pk=row.pk)}
    for name, value in values.items():
        setattr(row, name, value)
    row.save()
    keep_versions(type(row), before, {row.pk: row}, by=by, at=at, why=why)


def told(person, of="", **asked):
    rows, _ = change_list(ChangesAsked(of=of, **{"since": date(2026, 1, 1), **asked}), person, today=DAY)
    assert rows.count() == len(list(rows)) == len(rows[0:1000])
    return list(rows)


def test_change_by_hand_says_what_it_held_before_and_after(shop, administrator):
    ring = Item.objects.get(part_number="OR-014")
    change_by_hand(ring, administrator, description="O-ring 014", material="FKM")
    (row,) = told(administrator, "catalog.item")
    assert (row.by, row.of, row.told.named, row.told.why) == ("Ada Marsh", "Items, by hand", "OR-014", "as measured")
    assert (row.told.before, row.told.after) == (
        "Description: O-ring; Material: NBR",
        "Description: O-ring 014; Material: FKM",
    )


def test_settings_are_among_them(shop, administrator):
    setting = Setting.objects.get(folded="currency")
    change_by_hand(setting, administrator, value="USD")
    (row,) = told(administrator, "catalog.setting")
    assert (row.told.before, row.told.after) == ("Value: EUR", "Value: USD")


def test_several_changes_of_one_row_are_told_each_against_the_one_before(shop, administrator):
    ring = Item.objects.get(part_number="OR-014")
    for number, material in enumerate(("FKM", "EPDM", "PTFE")):
        change_by_hand(ring, administrator, AT + timedelta(minutes=number), material=material)
    assert [(row.told.before, row.told.after) for row in told(administrator, "catalog.item")] == [
        ("Material: EPDM", "Material: PTFE"),
        ("Material: FKM", "Material: EPDM"),
        ("Material: NBR", "Material: FKM"),
    ]


def test_people_passwords_and_sign_ins_are_seen_by_whoever_keeps_people_alone(shop, administrator, lead):
    change_password(person=lead, password="four words beside another", at=AT)
    AccessLog.objects.create(username="lead", ip_address="192.0.2.7", attempt_time=AT, logout_time=AT)
    AccessFailureLog.objects.create(username="nobody", ip_address="192.0.2.8")
    seen = {row.of: row.told for row in told(administrator)}
    assert (seen["People and roles"].named, seen["People and roles"].after) == ("lead", "password: set anew")
    assert seen["Sign-ins"].after == "from 192.0.2.7"
    assert {"Sign-outs", "Failed sign-ins"} <= seen.keys()
    assert not {row.of for row in told(lead)} & {"People and roles", "Sign-ins", "Sign-outs", "Failed sign-ins"}
    assert [row for row in told(lead, "people") if row.of == "People and roles"] == []
    assert len(sources_for(administrator)) == len(sources_for(lead)) + 4


def test_uploads_and_movements_are_told(shop, administrator, lead):
    upload = Upload.objects.create(
        at=AT, state="undone", by=lead, loaded_by=lead, loaded_at=AT, undone_by=administrator, undone_at=AT, why="rush"
    )
    UploadedFile.objects.create(upload=upload, name="jobs.csv", digest="0", content=b"")
    seen = told(administrator)
    steps = {row.of: row for row in seen if row.told.named == "jobs.csv"}
    assert steps.keys() == {"Lists brought in", "Lists loaded", "Lists taken back"}
    assert (steps["Lists taken back"].by, steps["Lists loaded"].by) == ("Ada Marsh", "lead")
    assert steps["Lists loaded"].told.why == "rush"
    movements = [row for row in seen if row.of == "Movements"]
    assert len(movements) == Posting.objects.count() > 0
    assert movements[-1].told.named == "OR-014 lot L-1, BA-1 lot B-7"
    assert movements[-1].told.where == {"kind": "opening", "at": Posting.objects.first().at}


def test_changes_are_narrowed_by_person_and_day(shop, administrator, lead):
    ring = Item.objects.get(part_number="OR-014")
    change_by_hand(ring, administrator, material="FKM")
    change_by_hand(ring, lead, AT + timedelta(days=2), material="EPDM")
    assert [row.told.after for row in told(administrator, "catalog.item", by="lead")] == ["Material: EPDM"]
    assert [row.told.after for row in told(administrator, "catalog.item", until=DAY)] == ["Material: FKM"]
    assert [row.told.after for row in told(administrator, "catalog.item", since=DAY + timedelta(days=1))] == [
        "Material: EPDM"
    ]


def test_pages_are_cut_by_the_database_and_take_no_more_statements_for_more_rows(
    shop, administrator, django_assert_num_queries
):
    ring = Item.objects.get(part_number="OR-014")
    for number in range(30):
        change_by_hand(ring, administrator, AT + timedelta(minutes=number), description=f"ring {number}")
    rows, _ = change_list(ChangesAsked(of="catalog.item", since=DAY), administrator, today=DAY)
    for size in (3, 30):
        with django_assert_num_queries(2):
            assert len(rows[0:size]) == size
    assert [row.told.after for row in rows[1:3]] == ["Description: ring 28", "Description: ring 27"]


def test_everything_can_be_sorted_by_person_and_list(shop, administrator, lead):
    ring = Item.objects.get(part_number="OR-014")
    change_by_hand(ring, lead, material="FKM")
    rows, _ = change_list(ChangesAsked(since=date(2026, 1, 1)), administrator, today=DAY)
    people = [row.by for row in rows.sorted_by("-by")]
    assert people[0] == "lead"
    assert people == sorted(people, key=lambda name: "" if name == "by command" else name, reverse=True)


def test_every_table_that_keeps_past_versions_is_a_source():
    kept = {model._meta.label_lower for model in apps.get_models() if keeps_versions(model)}
    assert kept <= all_sources().keys()
    assert len({source.says for source in all_sources().values()}) == len(all_sources())


def test_every_source_tells_what_it_holds(administrator):
    from tests.kits.web.shop_with_all import ShopWithAll

    with keeping_plans():
        ShopWithAll()
    seen = told(User.objects.get(username="chief"))
    assert {"Photos", "Certificates", "Suspicions", "Movements", "Lists brought in"} <= {row.of for row in seen}
    assert [row for row in seen if not row.told.done] == []
