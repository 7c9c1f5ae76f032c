"""The plan as plain rows: keys that stay, whole numbers as such, and filters that only hide."""

from datetime import date

import pytest

from bom.answers.rows import as_json, number
from bom.plan import plan
from bom.values import ONE, Issue, Item, KitFit, OtherNeed
from tests.bom.json_shape import SHAPE
from tests.bom.small_shops import (
    answer,
    demand_of,
    holds,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    offer,
    opens,
    order,
    renew,
    row_of,
)
from tests.bom.validators import breaches


def test_a_shop_without_anything_has_every_list_and_each_is_empty():
    found = answer(make_shop([renew("PUMP", "ring")], jobs=[]))
    assert found == {"as_of": "2026-03-04", "staging_days": 1, **{name: [] for name in SHAPE}}
    assert list(found) == ["as_of", "staging_days", *SHAPE]


def whole_shop():
    """Something in every list: two jobs in two batches, one kit to pack, one to buy, late and overdue orders."""
    lines = [
        opens("PUMP", "end", 2), renew("end", "ring", 2), renew("end", "cup"), inspect("end", "ball", 50, 2),
        holds("K", "ring", 2), holds("K", "shim"), opens("PUMP", "drive"), renew("drive", "seal", to_serial="H3"),
        renew("drive", "seat"), renew("drive", "plug"), renew("drive", "head"), holds("head", "core"),
    ]  # fmt: skip
    head = Item("head", "assembly", source="make", lead_days=1)
    return make_shop(
        lines,
        items=[kit(source="pack_else_buy", lead_days=1), head],
        fits=[KitFit("K", "end")],
        sections=(("end", 2), ("drive", 1)),
        offers=[offer("cup", "2.50", pack=5), offer("core", "7.00", lead_days=2)],
        jobs=[job("J-1", batch="Spring"), job("J-2", march(19), batch="Easter")],
        lots=[
            lot("ring", 4),
            lot("shim", 9),
            lot("ball", 1, last_use=march(13)),
            lot("core", 1),
            lot("cup", 3),
            lot("plug", 1),
        ],
        orders=[order("seat", 1, march(2)), order("seat", 5, march(16), "PO-2"), order("plug", 9, march(20), "PO-3")],
        needs=[OtherNeed("sale", "ring", ONE, march(12)), OtherNeed("van", "tag", ONE, march(30))],
    )


def test_every_list_is_filled_and_keeps_its_rules():
    found = plan(whole_shop())
    rows = as_json(found)
    assert breaches(found) == []
    assert {name: bool(rows[name]) for name in SHAPE} == dict.fromkeys(SHAPE, True)


def test_whole_numbers_are_integers():
    assert [(number(millionths), type(number(millionths))) for millionths in (3 * ONE, 0, ONE // 2, 1)] == [
        (3, int), (0, int), (0.5, float), (0.000001, float),
    ]  # fmt: skip


def test_nothing_stands_in_a_dictionary_with_nought():
    found = answer(whole_shop())
    for row in found["kits"]:
        assert all(quantity for name in ("covered", "short", "spare", "surplus") for quantity in row[name].values())
    assert all(quantity for row in found["demand"] for quantity in row["left_out"].values())


def test_expected_pieces_are_rounded_to_six_decimals():
    assert demand_of(make_shop([inspect("PUMP", "ball", "100/3")]), "ball")["expected"] == 0.333333


def test_an_item_that_is_only_looked_at_has_a_row():
    assert demand_of(make_shop([inspect("PUMP", "ball", 0)]), "ball")["total"] == 0


def test_an_item_that_nobody_asks_for_has_none():
    shop = make_shop([renew("PUMP", "ring")], lots=[lot("cup", 5)])
    assert [row["part_number"] for row in answer(shop)["demand"]] == ["ring"]


def test_orders_stand_by_part_order_and_line_as_people_count():
    orders = [
        order("ring", 1, march(2), "PO-10", "2"), order("ring", 1, march(2), "PO-9", "10"),
        order("ring", 1, march(2), "PO-9", "9"), order("cup", 1, march(2), "PO-11"),
    ]  # fmt: skip
    found = answer(make_shop([renew("PUMP", "ring"), renew("PUMP", "cup")], orders=orders))
    assert [(row["order"], row["line"]) for row in found["chase"]] == [
        ("PO-11", "1"), ("PO-9", "9"), ("PO-9", "10"), ("PO-10", "2"),
    ]  # fmt: skip


def test_a_quantity_set_aside_for_others_stands_with_its_reason():
    jobs = [job("J-1"), job("J-2", stage="held")]
    issues = [Issue("J-2", "ring", "L", ONE, "reserved")]
    shop = make_shop([renew("PUMP", "ring")], jobs=jobs, lots=[lot("ring", 3), lot("ring", 2, "Q", packet="loose")],
                     issues=issues)  # fmt: skip
    assert demand_of(shop, "ring")["left_out"] == {"resealed": 2, "reserved": 1}


# --- what is shown


def shown(**more):
    return answer(whole_shop(), **more)


def names(rows, key):
    return [row[key] for row in rows]


def test_a_batch_shows_its_jobs_alone():
    found = shown(batch="Spring")
    assert names(found["jobs"], "job") == ["J-1"]
    assert set(names(found["kits"], "job")) == {"J-1"}
    assert {flag["job"] for flag in found["flags"]} <= {None, "J-1"}
    assert found["other_needs"] == []


def test_a_batch_is_found_in_any_spelling():
    assert shown(batch=" spring ") == shown(batch="Spring")


def test_an_unknown_batch_shows_no_jobs():
    found = shown(batch="Autumn")
    hidden = ("jobs", "other_needs", "demand", "kits", "buy", "expedite", "pack", "frees")
    assert {name: found[name] for name in hidden} == {name: [] for name in hidden}


def test_through_shows_builds_up_to_and_on_that_day():
    assert names(shown(through=march(12))["jobs"], "job") == ["J-1"]
    assert names(shown(through=march(18))["jobs"], "job") == ["J-1"]
    assert names(shown(through=march(19))["jobs"], "job") == ["J-1", "J-2"]
    assert names(shown(through=march(12))["other_needs"], "need") == ["sale"]
    assert names(shown(batch="Easter", through=march(18))["jobs"], "job") == []


def test_overdue_lines_and_dying_lots_are_shown_whatever_is_chosen():
    everything, chosen = shown(), shown(batch="Autumn")
    assert (chosen["chase"], chosen["expiring"]) == (everything["chase"], everything["expiring"])
    assert chosen["chase"]
    assert chosen["expiring"]


def test_rows_are_those_of_the_whole_plan():
    """What is shown of a batch was matched with all jobs: its rows are the same."""
    everything = shown()
    for name, key in (("jobs", "job"), ("demand", "part_number"), ("buy", "part_number"), ("pack", "kit")):
        chosen = shown(batch="Easter")[name]
        assert chosen
        assert chosen == [row_of(everything[name], row[key], key) for row in chosen]


def test_items_that_no_shown_job_touches_are_hidden():
    """The tag is asked for by the van alone."""
    assert "tag" in names(shown()["demand"], "part_number")
    assert "tag" not in names(shown(batch="Spring")["demand"], "part_number")


def test_what_a_shown_need_lacks_is_shown_with_it():
    """A need that is shown by its day brings its own rows; a later one brings none, nor does any beside a batch."""
    sale = OtherNeed("sale", "tag", 2 * ONE, march(10))
    shop = make_shop([renew("PUMP", "ring")], items=[Item("tag", lead_days=3)], needs=[sale])
    assert names(answer(shop, through=march(10))["buy"], "part_number") == ["tag"]
    assert names(answer(shop, through=march(10))["demand"], "part_number") == ["tag"]
    assert answer(shop, through=march(9))["buy"] == []
    assert names(answer(shop, batch="Spring", through=march(10))["buy"], "part_number") == []


def test_items_only_looked_at_are_shown_with_their_job():
    assert "ball" in names(shown(batch="Easter")["demand"], "part_number")


@pytest.mark.parametrize("through", [date(2026, 3, 1), march(12), march(31)])
def test_a_date_alone_hides_no_list(through):
    assert list(shown(through=through)) == list(shown())
