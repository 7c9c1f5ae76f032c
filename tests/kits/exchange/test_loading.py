"""A load stores all or nothing, changes what it names, deletes nothing it was not told to, and counts stock."""

from datetime import date

import pytest
from django.core.management import call_command
from django.db import transaction

from bom.answers.rows import as_json
from bom.plan import plan
from bom.values import ONE
from kits.catalog.caching.revisions import read_marks
from kits.catalog.models import Item, OtherNumber, StructureLine
from kits.exchange.actions import load_files
from kits.planning.snapshot.shop import take_snapshot
from kits.schedule.models import Batch, Job
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Balance, Lot, Movement, Posting
from kits.stock.queries import job_stock
from tests.kits.exchange.books import (
    AT,
    FIXTURES,
    SHOP,
    book_file,
    check_sheets,
    items,
    load_sheets,
    only_problem,
    text_file,
    with_cell,
    with_row,
)

pytestmark = pytest.mark.django_db


def counts(outcome):
    return {sheet.sheet: tuple(sheet.count(word) for word in ("new", "changed", "same")) for sheet in outcome.sheets}


def changes(outcome, sheet):
    found = next(one for one in outcome.sheets if one.sheet == sheet)
    return [(change.column, change.before, change.after) for row in found.rows for change in row.changes]


def stored_rows():
    """How many rows every table has, and every balance."""
    return {
        "items": list(Item.objects.order_by("pk").values_list()),
        "lines": list(StructureLine.objects.order_by("pk").values_list()),
        "balances": list(Balance.objects.order_by("pk").values_list()),
        "jobs": list(Job.objects.order_by("pk").values_list()),
        "movements": Movement.objects.count(),
        "marks": read_marks(),
    }


def test_the_small_shop_is_stored_and_can_be_planned(shop):
    answer = as_json(plan(take_snapshot(date(2026, 3, 4), 1)))
    assert [job["job"] for job in answer["jobs"]] == ["J-1"]
    assert Batch.objects.get().name == "spring"


def test_loading_the_same_file_twice_changes_nothing(shop):
    before = stored_rows()
    outcome = load_sheets(SHOP)
    assert not outcome.stored
    assert {(new, changed) for new, changed, _ in counts(outcome).values()} == {(0, 0)}
    assert stored_rows() == before


@pytest.mark.parametrize("sheet", [name for name in SHOP if name not in ("Settings", "Suppliers")])
def test_one_problem_leaves_the_database_as_it_was(shop, sheet):
    before = stored_rows()
    sheets = with_cell("Items", 5, "description", "changed")
    sheets[sheet] = [*sheets[sheet], ["?"] * len(sheets[sheet][0])]
    outcome = load_sheets(sheets)
    assert outcome.problems
    assert not outcome.stored
    assert stored_rows() == before


def test_a_fault_found_by_the_engine_leaves_the_database_as_it_was(shop):
    before = stored_rows()
    assert load_sheets(with_cell("Scopes", 2, "how_many", 3)).problems
    assert stored_rows() == before


def test_a_check_stores_nothing_and_says_what_would_change(shop):
    before = stored_rows()
    outcome = check_sheets(with_cell("Items", 5, "description", "ring of rubber"))
    assert counts(outcome)["Items"] == (0, 1, 5)
    assert changes(outcome, "Items") == [("description", "O-ring", "ring of rubber")]
    assert stored_rows() == before


def test_a_changed_file_changes_what_it_names_and_leaves_the_rest(shop):
    outcome = load_sheets(items(("OR-014", "ring", "part", "each"), ("NEW-1", "new", "part", "each")))
    assert outcome.stored
    assert counts(outcome) == {"Items": (1, 1, 0)}
    ring = Item.objects.get(part_number="OR-014")
    assert (ring.description, ring.material, ring.shelf_life_months) == ("ring", "NBR", 180)
    assert Item.objects.count() == 7


def test_a_blank_cell_clears_and_a_missing_column_does_not(shop):
    load_sheets(
        items(
            ("OR-014", *("O-ring", "part", "each"), "spare"),
            headings=("part_number", "description", "kind", "stock_unit", "notes"),
        )
    )
    assert Item.objects.get(part_number="OR-014").notes == "spare"
    load_sheets(items(("OR-014", "O-ring", "part", "each")))
    assert Item.objects.get(part_number="OR-014").notes == "spare"
    load_sheets(
        items(
            ("OR-014", *("O-ring", "part", "each"), None),
            headings=("part_number", "description", "kind", "stock_unit", "notes"),
        )
    )
    assert Item.objects.get(part_number="OR-014").notes == ""


def test_a_number_spelled_otherwise_is_the_same_item(shop):
    outcome = load_sheets(items(("or–014", "O-ring", "part", "each")))
    assert changes(outcome, "Items") == [("part_number", "OR-014", "or-014")]
    assert Item.objects.count() == 6


def test_a_count_is_posted_as_the_difference(shop):
    assert list(Posting.objects.values_list("kind", flat=True)) == ["opening"]
    outcome = load_sheets(with_cell("Lots", 2, "quantity", 9))
    assert changes(outcome, "Lots") == [("quantity", "12", "9")]
    assert Balance.objects.get(lot__lot="L-1").quantity == 9 * ONE
    assert Posting.objects.latest("pk").kind == "count"
    assert Movement.objects.latest("pk").quantity == -3 * ONE
    call_command("check_ledger")


def test_one_lot_may_lie_at_two_places(shop):
    load_sheets(with_row("Lots", "OR-014", "L-1", 4, "Q1", "4Q24"))
    assert Lot.objects.filter(item__part_number="OR-014").count() == 1
    assert sorted(Balance.objects.filter(lot__lot="L-1").values_list("quantity", flat=True)) == [4 * ONE, 12 * ONE]


ISSUED = [
    ["job", "part_number", "lot", "quantity", "state", "place"],
    ["J-1", "OR-014", "L-1", 2, "reserved", "A1"],
    ["J-1", "OR-014", "L-1", 3, "issued", None],
    ["J-1", "OR-014", "L-1", 1, "returned", None],
    ["J-1", "BA-1", "B-7", 1, "bagged", "Q1"],
]


def test_what_is_with_jobs_is_listed_and_the_shelf_is_not_touched(shop):
    outcome = load_sheets({"Issued": ISSUED})
    assert counts(outcome) == {"Issued": (4, 0, 0)}
    found = {(stock.part_number, stock.state): stock.quantity // ONE for stock in job_stock()}
    assert found == {
        ("OR-014", "reserved"): 2,
        ("OR-014", "issued"): 3,
        ("OR-014", "returned"): 1,
        ("BA-1", "bagged"): 1,
    }
    assert Balance.objects.get(lot__lot="L-1", job=None).quantity == 12 * ONE
    assert counts(load_sheets({"Issued": ISSUED})) == {"Issued": (0, 0, 4)}
    call_command("check_ledger")


def test_what_was_issued_besides_stands_in_one_row_with_what_was_issued(shop):
    """Two issued at A1 by the list, one more over the counter: three on the list, which changes nothing."""
    load_sheets({"Issued": [ISSUED[0], ["J-1", "OR-014", "L-1", 2, "issued", "A1"]]})
    lot, job = Lot.objects.get(lot="L-1"), Job.objects.get(job="J-1")
    shelf = Balance.objects.get(lot=lot, job=None)
    entries = [
        Entry(OnShelf(lot.pk, shelf.place_id, shelf.condition, shelf.packet), -ONE),
        Entry(WithJob(lot.pk, job.pk, "extra"), ONE),
    ]
    with transaction.atomic():
        post(entries=entries, kind="extra_issue", by=None, at=AT, key="one more", job=job)
    listed = [(one.state, one.quantity // ONE, one.place) for one in job_stock()]
    assert listed == [("issued", 3, "A1")]
    before = Movement.objects.count()
    load_sheets({"Issued": [ISSUED[0], ["J-1", "OR-014", "L-1", 3, "issued", "A1"]]})
    assert Movement.objects.count() == before


def test_other_numbers_are_kept_in_order_and_replaced(shop):
    head = ("part_number", "description", "kind", "stock_unit", "other_numbers")
    load_sheets(items(("OR-014", "O-ring", "part", "each", "2-014; 0417"), headings=head))
    assert list(OtherNumber.objects.values_list("number", flat=True)) == ["2-014", "0417"]
    outcome = load_sheets(items(("OR-014", "O-ring", "part", "each", "0417; 9-014"), headings=head))
    assert changes(outcome, "Items") == [("other_numbers", "2-014; 0417", "0417; 9-014")]
    assert list(OtherNumber.objects.values_list("number", flat=True)) == ["0417", "9-014"]


def test_an_item_may_be_got_as_one_that_comes_later_in_the_file(db):
    head = ("part_number", "description", "kind", "stock_unit", "source", "get_as")
    rows = [
        ("X-1", "ball", "part", "each", "in_assembly_only", "X-2"),
        ("X-2", "cage", "assembly", "each", "in_assembly_only", "X-3"),
        ("X-3", "valve", "assembly", "each", "buy", None),
    ]
    held = [["parent", "child", "quantity", "at_rebuild"], ["X-3", "X-2", 1, "keep"], ["X-2", "X-1", 2, "keep"]]
    assert load_sheets({**items(*rows, headings=head), "Structure": held}).stored
    assert Item.objects.get(part_number="X-1").get_as.get_as.part_number == "X-3"


def test_replacing_a_sheet_removes_what_it_does_not_name_and_says_so(shop):
    outcome = load_sheets({"Structure": SHOP["Structure"][:4] + SHOP["Structure"][5:]}, replaced=["structure"])
    assert outcome.stored
    assert outcome.sheets[0].removed == ("E-1 / CO-1 / cover",)
    assert not StructureLine.objects.filter(child__part_number="CO-1").exists()


def test_replacing_the_lots_counts_the_others_as_nothing(shop):
    outcome = load_sheets({"Lots": SHOP["Lots"][:2]}, replaced=["Lots"])
    assert outcome.sheets[0].removed == ("BA-1 / B-7 at A1: 3",)
    assert Balance.objects.get(lot__lot="B-7").quantity == 0
    call_command("check_ledger")


def test_replacing_what_is_with_jobs_takes_the_rest_back(shop):
    load_sheets({"Issued": ISSUED})
    outcome = load_sheets({"Issued": ISSUED[:2]}, replaced=["Issued"])
    assert len(outcome.sheets[0].removed) == 3
    assert [stock.state for stock in job_stock()] == ["reserved"]
    call_command("check_ledger")


def test_what_is_still_used_is_not_removed(shop):
    before = stored_rows()
    problem = only_problem(load_sheets({"Items": SHOP["Items"][:4]}, replaced=["Items"]))
    assert "some are still used, by" in problem.reason
    assert stored_rows() == before


def test_a_place_with_stock_in_it_is_not_removed_and_the_stock_is_named(shop):
    problem = only_problem(load_sheets({"Places": [SHOP["Places"][0], SHOP["Places"][2]]}, replaced=["Places"]))
    assert "of the rows that it does not name and that would be removed (1)" in problem.reason
    assert "stock of OR-014 L-1 at A1" in problem.reason
    assert "balance" not in problem.reason
    assert "first take away what uses them" in problem.remedy


@pytest.mark.parametrize(("name", "says"), [("Itms", "no sheet of this name"), ("Lots", "but no file holds it")])
def test_a_sheet_that_is_not_there_replaces_nothing(shop, name, says):
    before = stored_rows()
    problem = only_problem(load_sheets(items(("OR-014", "O-ring", "part", "each")), replaced=[name]))
    assert says in problem.reason
    assert stored_rows() == before


def test_sheets_of_several_files_name_each_other(db):
    files = [book_file({name: rows}, name=f"{name}.xlsx") for name, rows in SHOP.items()]
    assert load_files(files=files, by=None, at=AT).stored


def test_a_row_that_stands_in_two_files_is_a_problem(db):
    text = "part_number,description,kind,stock_unit\nX-1,thing,part,each\n"
    files = [text_file("items.csv", text), book_file(items(("X-1", "other", "part", "each")))]
    problem = only_problem(load_files(files=files, by=None, at=AT))
    assert "first in row 2 of items.csv" in problem.reason


@pytest.mark.parametrize("rows", [3, 30])
def test_the_number_of_statements_does_not_grow_with_the_rows(shop, rows, django_assert_max_num_queries):
    sheets = {
        **items(*[(f"N-{number}", "thing", "part", "each") for number in range(rows)]),
        "Structure": [
            SHOP["Structure"][0],
            *[["E-1", f"N-{number}", 1, None, "renew", None, "many"] for number in range(rows)],
        ],
        "Lots": [SHOP["Lots"][0], *[[f"N-{number}", "L", 5, "A1", None] for number in range(rows)]],
    }
    file = book_file(sheets)
    with django_assert_max_num_queries(110):
        assert load_files(files=[file], by=None, at=AT).stored


def test_the_demo_shop_is_without_a_problem_and_changes_nothing_the_second_time(db):
    files = [text_file(path.name, path.read_text(encoding="utf-8")) for path in sorted(FIXTURES.glob("*.csv"))]
    first = load_files(files=files, by=None, at=AT)
    assert first.stored, [problem.says for problem in first.problems]
    assert not load_files(files=files, by=None, at=AT).changes_something
