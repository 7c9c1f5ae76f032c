"""A loaded upload is taken back to the very values, or not at all when somebody touched its rows since."""

from datetime import timedelta
from itertools import count

import pytest

from kits.catalog.errors import Refusal
from kits.catalog.models import Item, OtherNumber, StructureLine
from kits.exchange.actions import keep_upload, load_upload
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.models import UploadState
from kits.exchange.undo.actions import undo_upload
from kits.exchange.undo.kept_rows import columns_of, tables_of
from kits.purchasing.models import Offer, Supplier
from kits.schedule.models import Batch, Job
from tests.kits.exchange.books import AT, SCHEDULE, SHOP, book_file, items, load_sheets
from tests.kits.persons import person_of

LATER = AT + timedelta(minutes=5)
SIZED = ("part_number", "description", "kind", "stock_unit", "other_numbers", "get_as", "unit_cost")


@pytest.fixture
def keeper(db):
    return person_of("Administrator", "keeper")


def load(keeper, sheets, replaced=()):
    upload = keep_upload(files=[book_file(sheets)], by=keeper, at=AT, replaced=replaced)
    outcome = load_upload(upload=upload, by=keeper, at=AT)
    assert outcome.stored, [problem.says for problem in outcome.problems]
    return upload


def undo(keeper, upload):
    undo_upload(upload=upload, by=keeper, at=LATER)
    upload.refresh_from_db()


def all_rows():
    models = {model for sheet in LAYOUTS for model in tables_of(sheet.name)}
    return {model.__name__: sorted(model.objects.values_list(*columns_of(model))) for model in models}


def test_an_upload_of_new_and_changed_rows_is_taken_back_to_the_very_values(shop, keeper):
    before = all_rows()
    upload = load(
        keeper,
        {
            **items(
                ("OR-014", "ring, black", "part", "each", "R 14;014", None, "0.123456"),
                ("X-1", "thing", "part", "each", None, "X-2", None),
                ("X-2", "things", "assembly", "each", "2X", None, None),
                headings=SIZED,
            ),
            "Structure": [["parent", "child", "quantity", "at_rebuild"], ["E-1", "X-1", 1, "renew"]],
            "Schedule": [[*SCHEDULE[0]], ["J-9", "P-1", "full", "2026-03-16", "autumn", None]],
            "Offers": [
                ["supplier", "part_number", "pack_size", "lead_time", "price_per_pack"],
                ["Ring House", "OR-014", 25, "3 w", 10],
            ],
        },
    )
    assert all_rows() != before
    undo(keeper, upload)
    assert (upload.state, upload.undone_by, upload.undone_at) == (UploadState.UNDONE, keeper, LATER)
    assert all_rows() == before


def test_rows_that_a_replacing_upload_removed_come_back(shop, keeper):
    before = all_rows()
    lines = SHOP["Structure"]
    upload = load(keeper, {"Structure": [line for line in lines if line[1] != "CO-1"]}, replaced=["Structure"])
    assert not StructureLine.objects.filter(child__part_number="CO-1").exists()
    undo(keeper, upload)
    assert all_rows() == before


def test_a_row_that_was_changed_since_keeps_everything_as_it_is_and_is_named(shop, keeper):
    upload = load(keeper, items(("OR-014", "ring", "part", "each"), ("X-1", "thing", "part", "each")))
    Item.objects.filter(part_number="OR-014").update(description="ring of another hand")
    with pytest.raises(Refusal, match=r"^Items OR-014 was changed again after this upload, so nothing was taken back"):
        undo(keeper, upload)
    upload.refresh_from_db()
    assert upload.state == UploadState.LOADED
    assert Item.objects.filter(part_number="X-1").exists()


def test_a_row_that_was_changed_and_set_back_since_hinders_nothing(shop, keeper):
    upload = load(keeper, items(("OR-014", "ring", "part", "each")))
    for description in ("other", "ring"):
        Item.objects.filter(part_number="OR-014").update(description=description)
    undo(keeper, upload)
    assert Item.objects.get(part_number="OR-014").description == "O-ring"


@pytest.mark.parametrize("hang", ["line", "number", "offer"])
def test_what_was_hung_on_a_new_row_since_is_not_swept_away_with_it(shop, keeper, hang):
    upload = load(keeper, items(("X-1", "thing", "part", "each")))
    thing = Item.objects.get(part_number="X-1")
    made = {
        "line": lambda: StructureLine.objects.create(
            parent=Item.objects.get(part_number="E-1"), child=thing, quantity=1_000_000, at_rebuild="renew"
        ),
        "number": lambda: OtherNumber.objects.create(item=thing, number="ONE-X"),
        "offer": lambda: Offer.objects.create(supplier=Supplier.objects.get(), item=thing),
    }[hang]()
    with pytest.raises(Refusal, match=r"What this upload brought is used by .*remove that first"):
        undo(keeper, upload)
    assert type(made).objects.filter(pk=made.pk).exists()
    assert Item.objects.filter(part_number="X-1").exists()


def test_stock_is_never_unwritten(shop, keeper):
    lots = {"Lots": [["part_number", "lot", "quantity", "place"], ["BA-1", "B-8", 4, "A1"]]}
    upload = load(keeper, {**lots, **items(("X-1", "thing", "part", "each"))})
    with pytest.raises(Refusal, match=r"changed the stock \(sheet Lots\), which is never unwritten: count"):
        undo(keeper, upload)
    assert Item.objects.filter(part_number="X-1").exists()


def test_an_upload_is_taken_back_once_and_only_if_it_was_loaded(shop, keeper):
    upload = load(keeper, items(("X-1", "thing", "part", "each")))
    undo(keeper, upload)
    with pytest.raises(Refusal, match="is not loaded, so there is nothing to take back"):
        undo(keeper, upload)
    waiting = keep_upload(files=[book_file(items(("X-1", "thing", "part", "each")))], by=keeper, at=AT)
    with pytest.raises(Refusal, match="is not loaded"):
        undo(keeper, waiting)


def test_a_removed_row_that_was_entered_anew_is_not_put_back_beside_itself(shop, keeper):
    holidays = {"Holidays": [["date", "name"], ["2026-04-03", "one"], ["2026-04-06", "two"]]}
    load_sheets(holidays)
    upload = load(keeper, {"Holidays": holidays["Holidays"][:2]}, replaced=["Holidays"])
    load_sheets(holidays)
    with pytest.raises(Refusal, match="has been entered anew since"):
        undo(keeper, upload)


def test_undoing_that_would_contradict_a_rule_is_refused_with_the_rule(shop, keeper):
    upload = load(keeper, {"Scopes": [["pump", "scope", "section", "how_many"], ["P-1", "one end", "E-1", 1]]})
    load_sheets({"Schedule": [SCHEDULE[0], ["J-9", "P-1", "one end", "2026-03-16", None, None]]})
    with pytest.raises(Refusal, match="Without this upload the lists would contradict a rule"):
        undo(keeper, upload)
    assert Job.objects.filter(job="J-9").exists()


def test_taking_back_asks_the_database_no_more_for_more_rows(shop, keeper, django_assert_max_num_queries):
    numbers, statements = count(), []
    for rows in (3, 60):  # beyond some hundred, the names are asked for in parts
        names = [f"X-{next(numbers)}" for _ in range(rows)]
        upload = load(keeper, items(*[(name, "thing", "part", "each") for name in names]))
        with django_assert_max_num_queries(200) as asked:
            undo(keeper, upload)
        statements.append(len(asked))
    assert statements[0] == statements[1]


def test_the_batch_that_an_upload_made_goes_with_it(shop, keeper):
    upload = load(keeper, {"Schedule": [SCHEDULE[0], ["J-9", "P-1", "full", "2026-03-16", "autumn", None]]})
    assert Batch.objects.filter(name="autumn").exists()
    undo(keeper, upload)
    assert not Batch.objects.filter(name="autumn").exists()
