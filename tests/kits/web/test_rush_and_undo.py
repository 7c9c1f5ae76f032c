"""A rush job and its price in other jobs' dates, worked by hand: entered, pasted, uploaded, kept and taken back.

Today is Wednesday 4 March 2026. A pump takes 4 rings, the drawer holds 4, an order of 4 is promised for Wednesday the
18th, and buying takes 8 working days. Parts lie at the bench 1 working day before the build.

Before: J-1, built Monday the 16th, needs its rings on Friday the 13th and has those of the drawer: ready. J-2, built
Monday the 23rd, needs them on Friday the 20th and has the order: waiting, parts here on the 18th.

After: R-1, built Tuesday the 10th, needs its rings on Monday the 9th, before both, and takes the drawer. J-1 is next
and has only the order: from Friday the 13th to Wednesday the 18th are 3 working days, so it is 3 working days late. J-2
has nothing: bought today its rings are here on Monday the 16th (8 working days on from the 4th), and they are in time
as long as they are ordered by Tuesday the 10th (8 back from the 20th). To buy: 4 rings.
"""

from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.exchange.models import Upload, UploadState
from kits.exchange.undo.actions import undo_upload
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from tests.kits.exchange.books import AT, SHOP, load_sheets, make_book
from tests.kits.web.hands import key_in
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
RINGS = {
    **{name: SHOP[name] for name in ("Settings", "Places", "Suppliers")},
    "Items": [
        ["part_number", "description", "kind", "stock_unit", "material"],
        ["P-1", "pump", "pump", "each", None],
        ["E-1", "end", "assembly", "each", None],
        ["R-014", "ring", "part", "each", "steel"],
    ],
    "Structure": [
        ["parent", "child", "quantity", "at_rebuild", "position"],
        ["P-1", "E-1", 1, "open", "end"],
        ["E-1", "R-014", 4, "renew", "gland"],
    ],
    "Scopes": [["pump", "scope", "section", "how_many"], ["P-1", "full", "E-1", 1]],
    "Lots": [["part_number", "lot", "quantity", "place"], ["R-014", "L-1", 4, "A1"]],
    "Offers": [
        ["supplier", "part_number", "pack_size", "lead_time", "price_per_pack"],
        ["Ring House", "R-014", 1, 8, 2],
    ],
    "Orders": [
        ["order", "line", "supplier", "part_number", "quantity", "promised"],
        ["PO-1", "1", "Ring House", "R-014", 4, date(2026, 3, 18)],
    ],
    "Schedule": [
        ["job", "pump", "scope", "build_date"],
        ["J-1", "P-1", "full", date(2026, 3, 16)],
        ["J-2", "P-1", "full", date(2026, 3, 23)],
    ],
}
PRICE = (
    "J-1 loses parts ready, pump not here 3 working days late parts here on 18 Mar",
    "J-2 loses waiting parts here on 18 Mar short, in time if ordered by 10 Mar parts here on 16 Mar",
    "R-014 ring nothing to buy 4 short: order 4, 8.00 order by 10 Mar",
)
PASTED = "job\tpump\tscope\tbuild_date\nR-1\tP-1\tfull\t2026-03-10"


@pytest.fixture
def rings(db):
    outcome = load_sheets(RINGS)
    assert outcome.stored, outcome.problems


def standing():
    """By job: how it stands, when its last part is here, how many working days late."""
    plan = plan_now(date(2026, 3, 4))
    answers = zip(plan.demand.askers, plan.answers, strict=True)
    return {asker.name: (answer.status, answer.days_late) for asker, answer in answers}


BEFORE = {"J-1": ("ready", 0), "J-2": ("waiting", 0)}
AFTER = {"J-1": ("late", 3), "J-2": ("short", 0), "R-1": ("ready", 0)}


def said_plainly(answer):
    return sheet_of(answer).replace(" 2026", "").replace(" ,", ",")


def test_price_of_a_pasted_rush_job_is_shown_before_it_is_loaded_and_gone_when_it_is_taken_back(rings, reader, planner):
    assert standing() == BEFORE
    sheet = said_plainly(reader.post("/upload/paste/Schedule/", {"cells": PASTED}, follow=True))
    for words in PRICE:
        assert words in sheet
    assert "0 gain, 2 lose." in sheet
    assert standing() == BEFORE, "nothing is stored yet"
    upload = Upload.objects.latest("pk")
    reader.post(f"/upload/{upload.pk}/confirm/", {"load": "1"})
    assert standing() == AFTER
    undo_upload(upload=Upload.objects.get(pk=upload.pk), by=planner, at=AT)
    assert standing() == BEFORE
    assert not Job.objects.filter(job="R-1").exists()


def test_entered_rush_job_has_the_same_price_in_the_same_words(rings, reader):
    said = {"pump": "P-1", "scope": "full", "first": "R-1", "build_on": "2026-03-10", "quantity": "1", "priority": "5"}
    seen = reader.post("/new-jobs/", said)
    sheet = said_plainly(seen)
    for words in PRICE:
        assert words in sheet
    reader.post("/new-jobs/", {**said, "key": key_in(seen), "store": "1"})
    assert standing() == AFTER


def test_uploaded_rush_job_has_the_same_price_too(rings, reader):
    rows = [["job", "pump", "scope", "build_date"], ["R-1", "P-1", "full", date(2026, 3, 10)]]
    file = SimpleUploadedFile("rush.xlsx", make_book({"Schedule": rows}))
    sheet = said_plainly(reader.post("/upload/", {"lists": [file]}, follow=True))
    for words in PRICE:
        assert words in sheet


def test_job_moved_behind_everybody_makes_nobody_wait(rings, reader):
    later = "job\tpump\tscope\tbuild_date\nJ-2\tP-1\tfull\t2026-03-30"
    sheet = sheet_of(reader.post("/upload/paste/Schedule/", {"cells": later}, follow=True))
    assert "Nobody waits longer for it." in sheet


def test_list_that_changes_no_job_is_not_held_against_the_plan(rings, reader):
    same = "job\tpump\tscope\tbuild_date\nJ-2\tP-1\tfull\t2026-03-23"
    assert "What it does to the others" not in sheet_of(
        reader.post("/upload/paste/Schedule/", {"cells": same}, follow=True)
    )
    assert Upload.objects.latest("pk").state == UploadState.CHECKED


def test_first_jobs_of_a_shop_have_nobody_to_take_from(rings, reader):
    Job.objects.all().delete()
    sheet = sheet_of(reader.post("/upload/paste/Schedule/", {"cells": PASTED}, follow=True))
    assert "What it does to the others" not in sheet
