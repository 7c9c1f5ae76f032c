"""The tray sheet of a job: what goes where, in the order of work, out of which lot."""

from datetime import date

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Item, ScopeSection, StructureLine
from kits.picking.tray import tray_sheet
from kits.planning.queries import plan_now
from kits.planning.sheets.jobs.strip_page import job_strip
from kits.schedule.models import Job, Verdict
from kits.service.models import Tightening
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Lot, Place
from tests.kits.exchange.books import AT
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db


def bag(job, **quantities):
    """Put pieces into the bag of a job, by their lots."""
    with transaction.atomic():
        mark_shop()
        place = Place.objects.get(place="A1").pk
        for name, quantity in quantities.items():
            lot = Lot.objects.get(lot=name.replace("_", "-"))
            entries = [
                Entry(OnShelf(lot.pk, place), -quantity * ONE),
                Entry(WithJob(lot.pk, job.pk, "issued"), quantity * ONE),
            ]
            post(entries=entries, kind="pick", by=None, at=AT, key=f"bag {name}", job=job)


@pytest.fixture
def job(db):
    """A pump with two ends and two check valves in each; its end kits hold too few rings and too many seats."""
    load_small()
    return Job.objects.get(job="J-1")


def look(job, where, verdict, found=""):
    with transaction.atomic():
        mark_shop()
        ball = Item.objects.get(part_number="BA-1")
        Verdict.objects.create(job=job, where=f"pump 1 / {where} / ball", item=ball, verdict=verdict, found=found)


def trays(job, pump=1):
    return tray_sheet(plan_now(), job, pump)


def rows(sheet, name):
    tray = next(one for one in sheet.trays if one.instance.name == name)
    return {row.part.name.part_number: row for row in tray.rows}


def lots(row):
    return [(lot.amount.text, lot.from_kit, lot.lot) for lot in row.lots]


def test_what_goes_into_an_assembly_is_put_together_before_it(job):
    names = [tray.instance.name for tray in trays(job).trays]
    assert names == ["E-1 1 / CK-1 1", "E-1 1 / CK-1 2", "E-1 1", "E-1 2 / CK-1 1", "E-1 2 / CK-1 2", "E-1 2"]
    parts = [(row.number, row.part.name.part_number) for row in trays(job).trays[2].rows]
    assert parts == [(1, "CK-1"), (2, "OR-014"), (3, "CO-1")], "the order of the list"
    assert rows(trays(job), "E-1 1")["CK-1"].does == "put together before: CK-1 1, CK-1 2"


def test_pieces_out_of_kits_go_before_loose_ones_and_the_rest_is_told(job):
    """Two kits hold 2 rings and 3 seats each; two ends take 6 rings and 4 seats: 2 rings loose, 2 seats over."""
    bag(job, KIT_9=2, L_1=2)
    sheet = trays(job)
    assert lots(rows(sheet, "E-1 1")["OR-014"]) == [("3", "K-1", "KIT-9")]
    assert lots(rows(sheet, "E-1 2")["OR-014"]) == [("1", "K-1", "KIT-9"), ("2", "", "L-1")]
    assert [lots(rows(sheet, f"E-1 {end} / CK-1 {check}")["SE-1"]) for end in (1, 2) for check in (1, 2)] == [
        [("1", "K-1", "KIT-9")]
    ] * 4
    assert [(one.amount.text, one.part_number, one.from_kit) for one in sheet.besides] == [("2", "SE-1", "K-1")]
    assert rows(sheet, "E-1 1")["CO-1"].missing.text == "310 mm"
    assert sheet.missing == 2, "the cord of both ends"


def test_an_end_added_after_picking_stands_there_not_picked(job):
    """Picked for one end by hand: one kit and one ring. Then the scope becomes both ends."""
    with transaction.atomic():
        mark_catalog()
        ScopeSection.objects.create(
            pump=job.pump, scope="one end", section=Item.objects.get(part_number="E-1"), how_many=1
        )
        Job.objects.filter(pk=job.pk).update(scope="one end")
    job.refresh_from_db()
    bag(job, KIT_9=1, L_1=1, C_2=310)
    look(job, "E-1 1 / CK-1 1", "keep")
    look(job, "E-1 1 / CK-1 2", "keep")
    assert (trays(job).missing, trays(job).unseen) == (0, 0)
    with transaction.atomic():
        mark_shop()
        Job.objects.filter(pk=job.pk).update(scope="full")
    job.refresh_from_db()
    sheet = trays(job)
    assert not any(row.missing for tray in sheet.trays if tray.instance.name.startswith("E-1 1") for row in tray.rows)
    second = {name: rows(sheet, name) for name in ("E-1 2", "E-1 2 / CK-1 1", "E-1 2 / CK-1 2")}
    assert second["E-1 2"]["OR-014"].missing.text == "3"
    assert second["E-1 2 / CK-1 1"]["SE-1"].missing.text == "0", "the seat that the first kit had over"
    assert second["E-1 2 / CK-1 2"]["SE-1"].missing.text == "1"
    assert sheet.unseen == 2
    report = job_strip(plan_now(), job)
    assert [(one.name, one.unseen) for one in report.sections] == [("pump 1 / E-1 1", 0), ("pump 1 / E-1 2", 2)]
    assert [part.says for part in sheet.trays[-1].drawn] == ["", "not picked", "not picked"]


def test_one_bad_ball_renews_its_group_over_both_ends(job):
    with transaction.atomic():
        mark_catalog()
        StructureLine.objects.filter(child__part_number="BA-1").update(
            renew_together="balls", renew_together_over="pump"
        )
    look(job, "E-1 1 / CK-1 1", "renew", "pitted")
    look(job, "E-1 1 / CK-1 2", "keep")
    bag(job, B_7=3)
    sheet = trays(job)
    balls = [rows(sheet, f"E-1 {end} / CK-1 {check}")["BA-1"] for end in (1, 2) for check in (1, 2)]
    assert [row.does for row in balls] == [
        "renewed (pitted)",
        "good, but renewed with its group",
        "renewed with its group",
        "renewed with its group",
    ]
    assert [row.missing.text for row in balls] == ["0", "0", "0", "1"]
    assert [lots(row) for row in balls] == [[("1", "", "B-7")]] * 3 + [[]]


def test_what_is_looked_at_stands_open_and_what_goes_back_in_is_light(job):
    look(job, "E-1 1 / CK-1 1", "keep")
    look(job, "E-1 1 / CK-1 2", "rework", "pitting")
    sheet = trays(job)
    balls = [rows(sheet, f"E-1 {end} / CK-1 {check}")["BA-1"] for end in (1, 2) for check in (1, 2)]
    assert [row.look for row in balls] == ["back", "out", "open", "open"]
    assert [row.does for row in balls[:3]] == [
        "good, goes back in", "out for rework (pitting)", "still to be looked at",
    ]  # fmt: skip


def test_each_pump_of_a_job_has_its_trays_and_the_first_is_filled_first(job):
    with transaction.atomic():
        mark_shop()
        Job.objects.filter(pk=job.pk).update(quantity=2)
    job.refresh_from_db()
    bag(job, KIT_9=2, L_1=2)
    first, second, none = trays(job), trays(job, 2), trays(job, 7)
    assert first.pumps == (1, 2)
    assert {tray.instance.pump for tray in second.trays} == {2}
    assert not rows(first, "E-1 2")["OR-014"].missing
    assert rows(second, "E-1 1")["OR-014"].missing.text == "3"
    assert none.pump == 1


def test_a_lot_that_dies_before_the_build_day_says_so(job):
    Lot.objects.filter(lot="L-1").update(printed_last_use_on=date(2026, 3, 15))
    bag(job, L_1=3)
    (given,) = rows(trays(job), "E-1 1")["OR-014"].lots
    assert given.past, "the job is built on 16 March"
    Lot.objects.filter(lot="L-1").update(printed_last_use_on=date(2026, 3, 16))
    (given,) = rows(trays(job), "E-1 1")["OR-014"].lots
    assert not given.past


def test_how_a_nut_is_tightened_is_said_where_the_shop_has_a_source_and_else_left_to_the_manual(job):
    nut = Item.objects.create(part_number="NU-1", description="gland nut", kind="part", stock_unit="each")
    end = Item.objects.get(part_number="E-1")
    with transaction.atomic():
        mark_catalog()
        StructureLine.objects.create(parent=end, child=nut, quantity=ONE, at_rebuild="keep", order=9, position="gland")
    assert rows(trays(job), "E-1 1")["NU-1"].mind == ("figure, pattern and tool: see the maker's manual",)
    Tightening.objects.create(item=nut, figure="10 N m", source="anywhere")
    facts = {"pattern": "in two steps", "tool": "torque wrench"}
    Tightening.objects.create(item=nut, assembly=end, figure="40 N m", source="invented sheet 2", **facts)
    said = "40 N m, in two steps, torque wrench (invented sheet 2)"
    assert rows(trays(job), "E-1 1")["NU-1"].mind == (said,)


def test_a_job_of_the_past_has_no_tray(job):
    assert trays(Job.objects.get(job="J-9")).trays == ()


def test_a_note_that_names_the_manual_gives_way_to_the_figure_and_the_way_round_stays(job):
    end, seal = Item.objects.get(part_number="E-1"), Item.objects.get(part_number="OR-014")
    with transaction.atomic():
        mark_catalog()
        StructureLine.objects.filter(parent=end, child=seal).update(
            orientation="flat side down", bench_note="tighten as in the maker's manual"
        )
    said = ("flat side down", "tighten as in the maker's manual")
    assert rows(trays(job), "E-1 1")["OR-014"].mind == said
    Tightening.objects.create(item=seal, figure="5 N m", source="invented sheet 3")
    assert rows(trays(job), "E-1 1")["OR-014"].mind == ("flat side down", "5 N m (invented sheet 3)")
