"""Lists cared for on pages: proposed by past rebuilds, changed by dates or serials with a name, and taken back."""

import re
from datetime import date, timedelta

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import DismissedChange, Item, StructureLine, Substitute
from kits.exchange.models import Upload
from kits.planning.queries import plan_now, reading_of
from kits.schedule.models import Job
from kits.stock.actions import reverse_posting
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Lot, Posting
from kits.stock.words import PostingKind
from tests.kits.kept_rows import kept_step
from tests.kits.persons import person_of
from tests.kits.picking.bench_shop import AS_OF, AT, BenchShop
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
PLACES = {"K-1": "K1", "H-1": "H1", "N-70": "A1"}
LISTED = {"K-1": 2, "H-1": 4, "N-70": 2}
SINCE = {"from_day": AS_OF.isoformat(), "serial": "", "last_serial": "", "stated_in": "", "why": "seen at the bench",
         "approved_by": "Lea Lead"}  # fmt: skip


@pytest.fixture
def shop():
    made = BenchShop()
    made.items["TAG"] = more_of(made)
    return made


@kept_step
def more_of(shop):
    with transaction.atomic():
        mark_catalog()
        shop.item("TAG")
        shop.line("K-END", "TAG", 1)
    shop.stock("TAG", "T-1", "A2", 10)
    shop.stock("NUT", "H-2", "H1", 60)
    shop.stock("K-END", "K-1", "K1", 40)
    return shop.items["TAG"]


@pytest.fixture
def lead(client, shop):
    client.force_login(person_of("Service lead", "lead", first_name="Lea", last_name="Lead"))
    return client


@kept_step
def rebuild(shop, number, at=AT, **used):
    """A job of the past: its lots went from the shelf to it and were used up."""
    job = shop.job(number, stage="stripped", build_on=date(2026, 2, 2))
    shop.looked_at(job)
    for code, count in {**LISTED, **{code.replace("_", "-"): count for code, count in used.items()}}.items():
        lot = Lot.objects.get(lot=code)
        place = shop.places[PLACES.get(code, "H1")]
        held, kind = WithJob(lot.pk, job.pk, "issued"), PostingKind.EXTRA_ISSUE
        with transaction.atomic():
            mark_shop()
            shelf = OnShelf(lot.pk, place.pk, "usable", "sealed")
            entries = [Entry(shelf, -count * ONE), Entry(held, count * ONE)]
            post(entries=entries, kind=kind, by=shop.clerk, at=at, key=f"{number} {code}", reason="asked for", job=job)
            entries = [Entry(held, -count * ONE)]
            post(entries=entries, kind=PostingKind.CONSUME, by=shop.clerk, at=at, key=f"{number} {code}:consume",
                 reason="", job=job)  # fmt: skip
    with transaction.atomic():
        mark_shop()
        Job.objects.filter(pk=job.pk).update(stage="built")


def rebuilds(shop, *numbers, **more):
    for number in numbers:
        rebuild(shop, number, **more)


FIVE = ("P-1", "P-2", "P-3", "P-4", "P-5")
NUTS = {"H_2": 2}


def look_at(lead, address, **said):
    """Send a change to be looked at; the page that shows both sides."""
    return lead.post(address, {**SINCE, **said}, follow=True)


def number_of(answer):
    return int(re.search(r"/upload/(\d+)/", answer.redirect_chain[-1][0])[1])


def keep(lead, answer):
    lead.post(f"/upload/{number_of(answer)}/confirm/", {"load": "1"})
    assert Upload.objects.get(pk=number_of(answer)).state == "loaded"


def take_back(lead, answer):
    lead.post(f"/upload/{number_of(answer)}/undo/")
    assert Upload.objects.get(pk=number_of(answer)).state == "undone"


def needs(part):
    found = reading_of(plan_now()).needs_of(part)
    return {asker.name: quantity // ONE for asker, quantity in found.items()}


def lines(parent, part):
    rows = StructureLine.objects.filter(parent__part_number=parent, child__part_number=part).order_by("pk")
    return [(row.quantity // ONE, row.from_on, row.to_on, row.from_serial, row.to_serial) for row in rows]


YESTERDAY = AS_OF - timedelta(days=1)


# --- what past rebuilds say


def test_what_most_rebuilds_took_besides_and_every_kit_left_over_is_proposed_with_its_evidence(lead, shop):
    rebuilds(shop, *FIVE[:3], **NUTS)
    rebuilds(shop, *FIVE[3:])
    sheet = sheet_of(lead.get("/list-care/"))
    assert "Past rebuilds speak for 2 changes of the lists." in sheet
    assert "2 beyond the list, in 3 of 5 rebuilds" in sheet
    assert "1 left over of each kit, in 5 of 5 rebuilds" in sheet
    assert "P-1 : 2" in sheet
    assert "P-4 : none" in sheet


def test_four_rebuilds_are_too_few(lead, shop):
    rebuilds(shop, *FIVE[:4], **NUTS)
    assert "No past rebuild speaks against a list." in sheet_of(lead.get("/list-care/"))


def test_what_was_taken_back_is_no_evidence(lead, shop):
    rebuilds(shop, *FIVE, **NUTS)
    Job.objects.update(stage="stripped")
    for posting in Posting.objects.filter(kind="consume", key__contains="H-2")[:3]:
        reverse_posting(posting=posting, reason="wrong job", by=shop.clerk, at=AT, key=f"back {posting.pk}")
    Job.objects.update(stage="built")
    assert "beyond the list" not in sheet_of(lead.get("/list-care/"))


def test_a_proposal_is_taken_up_dated_from_today_and_speaks_no_more(lead, shop):
    """4 nuts by the list and 2 besides in each pump of two ends: 3 in each end, 6 for a job that is built later."""
    rebuilds(shop, *FIVE, **NUTS)
    shop.job("J-1")
    page = lead.get("/list-care/line/PUMP/?part=NUT&scope=both")
    form = page.context["form"]
    assert (form["assembly"].value(), form["quantity"].value()) == ("END", "3")
    said = {"part": "NUT", "assembly": "END", "position": "studs", "quantity": "3", "at_rebuild": "renew"}
    looked = look_at(lead, "/list-care/line/PUMP/", **said)
    sheet = sheet_of(looked)
    assert "END studs 2 × NUT 3 × NUT changed" in sheet
    assert "Approved by Lea Lead: seen at the bench" in sheet
    assert lines("END", "NUT") == [(2, None, None, "", "")], "nothing is kept by looking"
    keep(lead, looked)
    assert lines("END", "NUT") == [(2, None, YESTERDAY, "", ""), (3, AS_OF, None, "", "")]
    assert needs("NUT") == {"J-1": 6}
    assert "beyond the list" not in sheet_of(lead.get("/list-care/"))
    assert "NUT in END, for pumps built on 4 Mar 2026 or later Lea Lead seen at the bench" in sheet_of(
        lead.get("/list-care/changes/")
    )
    take_back(lead, looked)
    assert lines("END", "NUT") == [(2, None, None, "", "")]
    assert "2 beyond the list, in 5 of 5 rebuilds" in sheet_of(lead.get("/list-care/"))
    assert "taken back" in sheet_of(lead.get("/list-care/changes/"))


def test_the_page_says_what_a_change_does_to_jobs_and_purchases_before_it_is_kept(lead, shop):
    """31 jobs take 4 of 100 nuts each, 124: 24 short. With 3 in an end they take 186."""
    for number in range(26):
        shop.job(f"J-{number}")
    said = {"part": "NUT", "assembly": "END", "position": "studs", "quantity": "3", "at_rebuild": "renew"}
    sheet = sheet_of(look_at(lead, "/list-care/line/PUMP/", **said))
    assert "What it does to the others" in sheet
    assert re.search(r"NUT NUT of the test .{0,80}short", sheet)


def test_who_lets_a_list_stand_says_why_and_it_comes_back_only_with_new_rebuilds(lead, shop):
    rebuilds(shop, *FIVE, **NUTS)
    said = {"of": "PUMP", "scope": "both", "part": "NUT"}
    refused = tap(lead, "/list-care/let-stand/", {**said, "reason": ""}, on="/list-care/")
    assert refused.status_code == 409
    assert "Write why the list stays as it is." in sheet_of(refused)
    tap(lead, "/list-care/let-stand/", {**said, "reason": "they were lost, not needed"}, on="/list-care/")
    assert [(one.showing, one.pumps, one.why) for one in DismissedChange.objects.all()] == [
        (5, 5, "they were lost, not needed")
    ]
    assert "beyond the list" not in sheet_of(lead.get("/list-care/"))
    later = DismissedChange.objects.get().at + timedelta(days=1)
    rebuilds(shop, "P-6", "P-7", "P-8", "P-9", at=later, **NUTS)
    assert "beyond the list" not in sheet_of(lead.get("/list-care/")), "four since are too few"
    rebuild(shop, "P-10", at=later, **NUTS)
    assert "2 beyond the list, in 5 of 5 rebuilds" in sheet_of(lead.get("/list-care/"))


def test_a_second_tap_lets_it_stand_once_and_what_was_not_seen_is_refused(lead, shop):
    rebuilds(shop, *FIVE, **NUTS)
    said = {"of": "PUMP", "scope": "both", "part": "NUT", "reason": "lost"}
    said["key"] = key_on(lead, "/list-care/", "/list-care/let-stand/", of="PUMP")
    assert lead.post("/list-care/let-stand/", said).status_code == 302
    assert lead.post("/list-care/let-stand/", said).status_code == 302
    assert DismissedChange.objects.count() == 1
    other = {**said, "part": "BALL"}
    assert lead.post("/list-care/let-stand/", other).status_code == 409


# --- a new number


def test_the_new_number_begins_where_the_old_is_used_up_and_may_take_what_is_left(lead, shop):
    """100 nuts here and 4 a job: 25 jobs; the first three days take 24, so the new one begins on the fourth."""
    for day, count in enumerate((8, 8, 8, 2)):
        for number in range(count):
            shop.job(f"J-{day}{number}", build_on=date(2026, 3, 16 + day))
    page = lead.get("/list-care/number/NUT/")
    assert "lasts to the builds before 19 Mar" in sheet_of(page)
    assert page.context["form"]["from_day"].value() == date(2026, 3, 19)
    ticked = [str(line.pk) for line in StructureLine.objects.filter(child__part_number="NUT")]
    said = {"new": "NUT-B", "description": "nut, coated", "lines": ticked, "used_up": "on", "from_day": "2026-03-19"}
    looked = look_at(lead, "/list-care/number/NUT/", **said)
    assert "END studs 2 × NUT 2 × NUT-B changed" in sheet_of(looked)
    assert not Item.objects.filter(part_number="NUT-B").exists()
    keep(lead, looked)
    assert set(needs("NUT-B").values()) == {4}
    assert set(needs("NUT-B")) == {"J-30", "J-31"}
    assert len(needs("NUT")) == 24
    row = Substitute.objects.get()
    assert (row.item.part_number, row.substitute.part_number, row.direction) == ("NUT-B", "NUT", "one_way")
    assert row.approved_by == "Lea Lead"
    take_back(lead, looked)
    assert not Item.objects.filter(part_number="NUT-B").exists()
    assert not Substitute.objects.exists()
    assert len(needs("NUT")) == 26


def test_the_new_number_leaves_pumps_alone_that_have_the_old_one_already(lead, shop):
    opened = shop.job("J-1", build_on=date(2026, 3, 20), stage="stripped")
    shop.looked_at(opened)
    page = lead.get("/list-care/number/BALL/")
    assert "J-1 has some of it, or a verdict on it, and is built by 20 Mar" in sheet_of(page)
    assert page.context["form"]["from_day"].value() == date(2026, 3, 23), "the working day after"


def test_by_serial_older_pumps_keep_the_old_number(lead, shop):
    shop.job("J-1", serial="H-99")
    shop.job("J-2", serial="H-100")
    shop.job("J-3", serial="H-101")
    ticked = [str(line.pk) for line in StructureLine.objects.filter(child__part_number="NUT")]
    said = {"new": "SEAT", "lines": ticked, "from_day": "", "serial": "H-101", "last_serial": "H-100"}
    keep(lead, look_at(lead, "/list-care/number/NUT/", **said))
    assert lines("END", "NUT") == [(2, None, None, "", "H-100")]
    assert lines("END", "SEAT") == [(2, None, None, "H-101", "")]
    assert set(needs("NUT")) == {"J-1", "J-2"}
    assert set(needs("SEAT")) == {"J-3"}
    assert not Substitute.objects.exists(), "nobody said that what is left may be used up there"


def test_the_old_number_is_kept_in_stock_no_longer(lead, shop):
    Item.objects.filter(part_number="NUT").update(safety_stock=20 * ONE, minimum=5 * ONE, maximum=50 * ONE)
    ticked = [str(line.pk) for line in StructureLine.objects.filter(child__part_number="NUT")]
    keep(lead, look_at(lead, "/list-care/number/NUT/", new="NUT-B", lines=ticked))
    old, new = Item.objects.get(part_number="NUT"), Item.objects.get(part_number="NUT-B")
    assert (old.safety_stock, old.minimum, old.maximum) == (0, None, None)
    assert (new.safety_stock, new.minimum, new.maximum) == (20 * ONE, 5 * ONE, 50 * ONE)


# --- new contents of a kit


def contents(**quantities):
    rows = {line.child.part_number: line for line in StructureLine.objects.filter(parent__part_number="K-END")}
    said = {f"line-{line.pk}": "1" for line in rows.values()}
    return said | {f"line-{rows[part].pk}": count for part, count in quantities.items()}


def test_what_every_kit_left_over_leads_to_contents_without_it(lead, shop):
    rebuilds(shop, *FIVE)
    page = lead.get("/list-care/contents/K-END/?part=TAG")
    tag = StructureLine.objects.get(child__part_number="TAG")
    assert page.context["form"][f"line-{tag.pk}"].value() == "0"
    assert "Not recorded what is in lot K-1 :" in sheet_of(page)


def test_old_and_new_contents_stand_side_by_side_and_begin_on_a_day(lead, shop):
    shop.job("J-1", build_on=date(2026, 4, 1))
    shop.job("J-2", build_on=date(2026, 3, 20))
    said = {**contents(TAG="0"), "added": "OR-210-N70 1\n", "from_day": "2026-04-01"}
    looked = look_at(lead, "/list-care/contents/K-END/", **said)
    sheet = sheet_of(looked)
    assert "K-END 1 × OR-210-N90 1 × OR-210-N90 the same" in sheet
    assert "K-END 1 × TAG no longer in it" in sheet
    assert "K-END 1 × OR-210-N70 new" in sheet
    keep(lead, looked)
    assert lines("K-END", "TAG") == [(1, None, date(2026, 3, 31), "", "")]
    assert lines("K-END", "OR-210-N70") == [(1, date(2026, 4, 1), None, "", "")]
    assert needs("OR-210-N70") == {"J-2": 2}, "the kit brings it to the later one"


def test_contents_that_stay_as_they_are_change_nothing(lead, shop):
    answer = look_at(lead, "/list-care/contents/K-END/", **contents(), added="")
    assert (answer.status_code, Upload.objects.count()) == (422, 0)
    assert "Nothing changes by it" in sheet_of(answer)


# --- what is refused


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"from_day": "2026-03-03"}, "3 Mar 2026 has passed"),
        ({"serial": "H-9", "last_serial": "H-8"}, "Two starts are given"),
        ({"from_day": ""}, "It has no start"),
        ({"from_day": "", "serial": "H-9"}, "Write the last serial that was built as before"),
        ({"from_day": "", "serial": "H-9", "last_serial": "H-10"}, "H-10 does not come before H-9"),
        ({"approved_by": ""}, "Nobody has approved it yet"),
        ({"why": ""}, "Write why"),
        ({"new": "NUT"}, "NUT is the old number"),
        ({"new": "CORD"}, "CORD is kept in mm and NUT in each"),
        ({"lines": []}, "Tick where the new number stands"),
    ],
)
def test_a_change_that_cannot_be_is_refused_beside_its_field_and_nothing_typed_is_lost(lead, shop, said, says):
    ticked = [str(line.pk) for line in StructureLine.objects.filter(child__part_number="NUT")]
    answer = look_at(lead, "/list-care/number/NUT/", **{"new": "NUT-B", "lines": ticked, **said})
    assert answer.status_code == 422
    assert says in sheet_of(answer)
    assert f'value="{said.get("new", "NUT-B")}"' in answer.content.decode()
    assert not Upload.objects.exists()


def test_an_assembly_is_not_changed_like_a_part(lead, shop):
    said = {"part": "END", "assembly": "PUMP", "position": "", "quantity": "3", "at_rebuild": "renew"}
    answer = look_at(lead, "/list-care/line/PUMP/", **said)
    assert "END in PUMP is an assembly: change what it holds" in sheet_of(answer)


def test_what_was_typed_comes_back_from_the_page_that_shows_both_sides(lead, shop):
    said = {"part": "NUT", "assembly": "END", "position": "studs", "quantity": "3", "at_rebuild": "renew"}
    looked = look_at(lead, "/list-care/line/PUMP/?scope=both", **said)
    back = re.search(r'href="(/list-care/line/PUMP/[^"]*again=\d+)"', looked.content.decode())[1]
    page = lead.get(back.replace("&amp;", "&"))
    assert page.context["form"]["quantity"].value() == "3"
    assert page.context["form"]["why"].value() == "seen at the bench"


def test_a_line_that_begins_on_that_very_day_is_changed_in_its_place(lead, shop):
    said = {"part": "NUT", "assembly": "END", "position": "studs", "quantity": "3", "at_rebuild": "renew"}
    keep(lead, look_at(lead, "/list-care/line/PUMP/", **said))
    keep(lead, look_at(lead, "/list-care/line/PUMP/", **{**said, "quantity": "4"}))
    assert lines("END", "NUT") == [(2, None, YESTERDAY, "", ""), (4, AS_OF, None, "", "")]


def test_others_read_and_change_nothing(client, shop):
    client.force_login(person_of("Planner"))
    assert client.get("/list-care/").status_code == 200
    assert client.get("/list-care/changes/").status_code == 200
    assert client.get("/list-care/number/NUT/").status_code == 403
    assert client.post("/list-care/let-stand/", {}).status_code == 403


def test_the_list_leaves_as_a_file(lead, shop):
    rebuilds(shop, *FIVE, **NUTS)
    assert b"2 beyond the list" in lead.get("/list-care/?export=csv").content
