"""Every rule of the validators holds on random shops, and every one of them can fail.

Each spoiler damages one finished result in one way; the rule named beside it must notice, which had nothing to say
before.
"""

from copy import deepcopy
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from bom.plan import plan
from bom.supply.matching import OWN, PACKED, UNCOVERED
from bom.values import ONE, Issue
from tests.bom import validators
from tests.bom.results import Result, plan_of, result_of
from tests.bom.validators import breaches
from tests.demo_shop import demo_shop

SHOPS, PORTION = 300, 50


@pytest.mark.parametrize("first", range(0, SHOPS, PORTION))
def test_every_rule_holds_on_random_shops(first):
    for seed in range(first, first + PORTION):
        found = result_of(seed)
        for validator in validators.VALIDATORS:
            assert list(validator(found)) == [], f"seed {seed}, {validator.__name__}"


def test_every_rule_holds_on_larger_shops():
    for seed in range(20):
        assert breaches(plan_of(seed, "medium")) == [], f"seed {seed}"


def test_every_rule_holds_on_the_demo_shop():
    shop = demo_shop()
    assert breaches(plan(shop)) == []
    assert breaches(plan(replace(shop, as_of=shop.as_of + timedelta(days=30)))) == []


# --- spoiling what stands in the rows


NULL = "null"
"""What stands for null in ``change``, where None means that a row cannot be spoiled in this way."""


def change(name, column, to):
    """Change one column of the first row for which ``to`` gives something else."""

    def spoil(found):
        answer = deepcopy(found.answer)
        for row in answer[name]:
            new = to(row[column])
            if new is not None and (type(new), new) != (type(row[column]), row[column]):
                row[column] = None if new is NULL else new
                return found.plan, answer
        return None

    return spoil


def drop(name):
    def spoil(found):
        answer = deepcopy(found.answer)
        return (found.plan, answer) if answer[name] and answer[name].pop() else None

    return spoil


def turn_round(name):
    def spoil(found):
        rows = found.answer[name]
        turned = deepcopy(found.answer) | {name: rows[::-1]}
        return (found.plan, turned) if rows != rows[::-1] else None

    return spoil


def set_rows(name, to):
    def spoil(found):
        rows = to(found.answer[name])
        return None if rows is None else (found.plan, found.answer | {name: rows})

    return spoil


def free_everybody(found):
    jobs = [row["job"] for row in found.answer["jobs"]]
    ready = any(row["status"] == "ready" for row in found.answer["jobs"])
    return (found.plan, found.answer | {"frees": [{"part_number": "P9", "jobs": jobs}]}) if ready else None


def one_more(value):
    return None if value is None else value + 1


def more_of_a_part(parts):
    return parts | {next(iter(parts)): next(iter(parts.values())) + 1} if parts else None


def a_day_later(text):
    return text and text[:-2] + ("01" if text[-2:] != "01" else "02")


def only_if_none(value):
    return lambda old: value if old is None else None


# --- spoiling the plan itself


def with_draws(found, chosen, **columns):
    """Set columns of the draws, given as functions of the old column, in the first row chosen."""
    draws = found.plan.netting.draws
    rows = np.flatnonzero(chosen)
    if not rows.size:
        return None
    new = {}
    for name, to in columns.items():
        new[name] = getattr(draws, name).copy()
        new[name][rows[0]] = to(new[name][rows[0]])
    return replace(found.plan, netting=replace(found.plan.netting, draws=replace(draws, **new))), found.answer


def with_shop(found, **lists):
    return replace(found.plan, shop=replace(found.plan.shop, **lists)), found.answer


def from_lot(found):
    draws, supplies = found.plan.netting.draws, found.plan.supplies
    place = np.full(draws.supply.size, -1)
    if supplies.lot_place.size:
        place = np.where(draws.supply >= 0, supplies.lot_place[draws.supply], -1)
    return place


def from_order(found):
    draws, supplies = found.plan.netting.draws, found.plan.supplies
    if not supplies.order_place.size:
        return np.zeros(draws.supply.size, bool)
    return (draws.supply >= 0) & (supplies.order_place[draws.supply] >= 0)


def draw_one_less(found):
    return with_draws(found, found.plan.netting.draws.quantity > 1, quantity=lambda old: old - 1)


def draw_nothing(found):
    return with_draws(found, found.plan.netting.draws.quantity > 0, quantity=lambda _: 0)


def draw_more_than_lies_there(found):
    return with_draws(found, from_lot(found) >= 0, quantity=lambda old: old + 10**9)


def draw_more_than_is_ordered(found):
    return with_draws(found, from_order(found), quantity=lambda old: old + 10**9)


def leave_more(found):
    left = found.plan.supplies.left
    return (
        (replace(found.plan, supplies=replace(found.plan.supplies, left=left + 1)), found.answer) if left.size else None
    )


def change_the_lot(**fields):
    """Change the lot that serves the first piece served from one; fields are functions of lot and piece."""

    def spoil(found):
        for piece in found.pieces:
            for place, _ in piece.lots:
                lots = list(found.shop.lots)
                lots[place] = replace(lots[place], **{name: to(piece) for name, to in fields.items()})
                return with_shop(found, lots=tuple(lots))
        return None

    return spoil


def open_a_clean_packet(found):
    """The packet from which a clean job has clean parts was opened."""
    for piece in found.pieces:
        clean = piece.asker and piece.asker.job and piece.asker.job.cleanliness
        if clean != "normal" and clean == found.items[piece.part_number].cleanliness and piece.lots:
            lots = list(found.shop.lots)
            lots[piece.lots[0][0]] = replace(lots[piece.lots[0][0]], packet="resealed")
            return with_shop(found, lots=tuple(lots))
    return None


def forget_what_is_set_aside(found):
    rows = found.plan.netting.draws.supply == OWN
    return with_shop(found, issues=()) if rows.any() else None


def reserve_what_is_drawn(found):
    for piece in found.pieces:
        for place, _ in piece.lots:
            lot = found.shop.lots[place]
            total = sum(other.quantity for other in found.shop.lots if other.lot == lot.lot)
            issue = Issue("J-999", lot.part_number, lot.lot, total, "reserved")
            return with_shop(found, issues=(*found.shop.issues, issue))
    return None


def with_pieces(found, chosen, **columns):
    pieces = found.plan.netting.pieces
    rows = np.flatnonzero(chosen)
    if not rows.size:
        return None
    new = {}
    for name, to in columns.items():
        new[name] = getattr(pieces, name).copy()
        new[name][rows[0]] = to(new[name][rows[0]])
    return replace(found.plan, netting=replace(found.plan.netting, pieces=replace(pieces, **new))), found.answer


def ask_more_of_the_contents(found):
    return with_pieces(found, found.plan.netting.pieces.parent >= 0, quantity=lambda old: old + 1)


def ask_for_contents_after_the_kit(found):
    return with_pieces(found, found.plan.netting.pieces.parent >= 0, need_day=lambda old: old + 400)


def pack_what_is_bought(found):
    packed = {piece.part_number for piece in found.pieces if piece.packed}
    catalog = found.shop.catalog
    items = tuple(replace(item, source="buy") if item.part_number in packed else item for item in catalog.items)
    return with_shop(found, catalog=replace(catalog, items=items)) if packed else None


def buy_what_is_packed(found):
    pieces, draws = found.plan.netting.pieces, found.plan.netting.draws
    always = np.array([item.source in ("pack", "make") for item in found.plan.demand.structure.items], bool)
    return with_draws(found, (draws.supply == PACKED) & always[pieces.item[draws.piece]], supply=lambda _: UNCOVERED)


def pack_from_what_is_missing(found):
    """The contents of a kit that might have been bought are taken from nowhere."""
    pieces, draws = found.plan.netting.pieces, found.plan.netting.draws
    choice = np.array([item.source == "pack_else_buy" for item in found.plan.demand.structure.items], bool)
    way = pieces.way[draws.piece]
    return with_draws(found, (way >= 0) & choice[way], supply=lambda _: UNCOVERED)


def leave_a_lot_unused(found):
    """A piece from a lot goes without, and the lot has that much left."""
    supplies, draws = found.plan.supplies, found.plan.netting.draws
    rows = np.flatnonzero(from_lot(found) >= 0)
    if not rows.size:
        return None
    left, supply = supplies.left.copy(), draws.supply.copy()
    left[supply[rows[0]]] += draws.quantity[rows[0]]
    supply[rows[0]] = UNCOVERED
    netting = replace(found.plan.netting, draws=replace(draws, supply=supply))
    return replace(found.plan, netting=netting, supplies=replace(supplies, left=left)), found.answer


def take_from_the_sure_for_wear(found):
    """A sure piece goes without although planned wear holds a lot that it might have had."""
    pieces = {piece.number: piece for piece in found.pieces}
    held = {
        (piece.part_number, place) for piece in found.pieces if piece.wear for place, _ in piece.lots
    }  # fmt: skip
    draws, place = found.plan.netting.draws, from_lot(found)
    chosen = [
        lot >= 0 and not pieces[number].wear and (pieces[number].part_number, lot) in held
        for number, lot in zip(draws.piece.tolist(), place.tolist(), strict=True)
    ]
    return with_draws(found, np.array(chosen, bool), supply=lambda _: UNCOVERED)


def with_cover(found, to):
    for item, cover in found.plan.netting.covers.items():
        if (new := to(cover, found.plan.demand.structure.items[item])) is not None:
            covers = found.plan.netting.covers | {item: new}
            return replace(found.plan, netting=replace(found.plan.netting, covers=covers)), found.answer
    return None


def plan_below_nought(found):
    return with_cover(found, lambda cover, _: replace(cover, planned=(-ONE, *cover.planned[1:])))


def plan_more_than_is_looked_at(found):
    return with_cover(found, lambda cover, _: replace(cover, planned=(cover.positions + ONE,), days=cover.days[:1]))


def turn_the_days_round(found):
    return with_cover(found, lambda cover, _: replace(cover, days=cover.days[::-1]) if len(cover.days) > 1 else None)


def plan_one_less(found):
    def lower(cover, item):
        total = sum(cover.planned)
        tight = item.countable and total and cover.enough[total // ONE - 1] < item.how_sure_percent / 100 - 1e-6
        return replace(cover, planned=(total - ONE,), days=cover.days[:1]) if tight else None

    return with_cover(found, lower)


SPOILERS = {
    "rows_have_their_shape": {
        "a whole number as a float": change("demand", "total", float),
        "a number as text": change("demand", "sure", str),
        "a number below nought": change("buy", "net", lambda old: -old),
        "seven decimals": change("demand", "on_hand", lambda old: old + 0.1234567),
        "a date in another spelling": change("jobs", "parts_on", lambda old: old and old.replace("-", "/")),
        "an unknown status": change("jobs", "status", str.upper),
        "a number for a flag": change("jobs", "leans_on_overdue", int),
        "null where there is always something": change("buy", "packs", lambda _: NULL),
        "nothing where there is always something": change("expiring", "lot", lambda _: ""),
        "a chance above one": change("demand", "chance_enough", lambda old: None if old is None else 2),
        "a price with three decimals": change("buy", "price", lambda old: old and old + 0.001),
        "a part with nothing of it": change("kits", "covered", lambda old: old | {"Z-9": 0}),
        "an unknown reason": change("demand", "left_out", lambda old: old | {"lost": 1}),
        "a name twice": change("buy", "jobs", lambda old: old * 2 or None),
        "rows out of order": turn_round("demand"),
        "jobs out of order": turn_round("jobs"),
        "a key too many": lambda found: (found.plan, found.answer | {"notes": []}),
        "keys in another order": lambda found: (found.plan, dict(sorted(found.answer.items()))),
        "a column missing": set_rows("jobs", lambda rows: [{"job": row["job"]} for row in rows] or None),
    },
    "pieces_are_served_whole": {"one less drawn": draw_one_less, "nothing drawn": draw_nothing},
    "supply_gives_what_it_holds": {
        "more drawn than lies there": draw_more_than_lies_there,
        "more drawn than ordered": draw_more_than_is_ordered,
        "more left than there was": leave_more,
    },
    "lots_are_used_while_they_last": {
        "a lot that died": change_the_lot(last_use=lambda piece: piece.build - timedelta(days=1)),
        "a lot in quarantine": change_the_lot(condition=lambda _: "quarantine"),
        "a lot of another part": change_the_lot(part_number=lambda _: "B1"),
    },
    "owners_keep_their_lots": {"a lot of somebody else": change_the_lot(owner=lambda _: "Dry Dock")},
    "clean_work_takes_closed_packets": {"an opened packet of clean parts": open_a_clean_packet},
    "what_is_set_aside_stays_with_its_job": {
        "nothing set aside": forget_what_is_set_aside,
        "all of it reserved": reserve_what_is_drawn,
    },
    "contents_are_kits_times_contents": {
        "one too many inside": ask_more_of_the_contents,
        "asked after the kit": ask_for_contents_after_the_kit,
    },
    "packing_is_allowed": {
        "packed though it is bought": pack_what_is_bought,
        "packed from what is missing": pack_from_what_is_missing,
        "bought though it is packed": buy_what_is_packed,
    },
    "nothing_usable_is_left_where_something_lacks": {"a lot unused": leave_a_lot_unused},
    "sure_comes_before_wear_and_early_before_late": {"wear first": take_from_the_sure_for_wear},
    "demand_adds_up": {
        **{
            column: change("demand", column, one_more)
            for column in (
                *("sure", "passed_down", "planned_wear", "total", "on_hand", "on_order", "uncovered"),
                "uncovered_wear",
            )
        },
        "more spares than positions": change("demand", "spares", lambda old: old + 1000),
        "more expected than positions": change("demand", "expected", lambda old: old + 1000),
        "a chance of nothing": change("demand", "chance_enough", only_if_none(1)),
        "more left out": change("demand", "left_out", more_of_a_part),
        "a row missing": drop("demand"),
    },
    "covers_never_fall": {
        "below nought": plan_below_nought,
        "more than is looked at": plan_more_than_is_looked_at,
        "days turned round": turn_the_days_round,
        "one less than is sure": plan_one_less,
    },
    "kit_rows_add_up": {
        **{column: change("kits", column, more_of_a_part) for column in ("covered", "short", "spare", "surplus")},
        "one kit more": change("kits", "count", one_more),
    },
    "statuses_agree_with_pieces": {
        "ready, it says": change("jobs", "status", lambda _: "ready"),
        "short, it says": change("jobs", "status", lambda _: "short"),
        "late, it says": change("jobs", "status", lambda _: "late"),
        "another day": change("jobs", "parts_on", a_day_later),
        "a need that is late": change("other_needs", "status", lambda _: "late"),
        "a blocking part too many": change("jobs", "blocking_part", only_if_none("P1")),
        "an order day too many": change("jobs", "order_by", only_if_none("2026-03-04")),
        "leaning the other way": change("jobs", "leans_on_overdue", lambda old: not old),
        "nobody to buy for": change("buy", "jobs", lambda old: [] if old else None),
        "freed though it is ready": free_everybody,
    },
    "buy_rows_add_up": {
        **{
            column: change("buy", column, one_more)
            for column in ("short", "short_wear", "top_up", "net", "packs", "pack_size", "order_quantity", "surplus")
        },
        "a day later than late": change("buy", "days_late", one_more),
        "another price": change("buy", "price", one_more),
        "a supplier without an offer": change("buy", "supplier", only_if_none("Norrvik")),
        "no need date": change("buy", "need_on", lambda old: old and NULL),
        "advice without wear": change("buy", "wear_advice", only_if_none("only_if_found")),
        "nobody to buy for": change("buy", "jobs", lambda old: [] if old else None),
        "a row missing": set_rows("buy", lambda rows: rows[:0] if any(row["short"] for row in rows) else None),
    },
    "order_rows_agree_with_lines": {
        "one more to expedite": change("expedite", "quantity", one_more),
        "expedited for another": change("expedite", "jobs", lambda _: ["J-99"]),
        "needed another day": change("expedite", "need_on", a_day_later),
        "not expedited": drop("expedite"),
        "not chased": drop("chase"),
        "chased for another": change("chase", "jobs", lambda _: ["J-99"]),
        "an unknown line": change("chase", "order", lambda _: "PO-0"),
    },
    "pack_rows_agree_with_pieces": {
        "one more": change("pack", "quantity", one_more),
        "another day": change("pack", "need_on", a_day_later),
        "for another job": change("pack", "jobs", lambda _: ["J-99"]),
        "a row missing": drop("pack"),
    },
    "frees_are_ranked": {"turned round": turn_round("frees"), "nobody freed": change("frees", "jobs", lambda _: [])},
    "dying_lots_are_told": {
        "a row missing": drop("expiring"),
        "one more": change("expiring", "quantity", one_more),
        "more unused than there is": change("expiring", "unused", lambda old: old + 10**6),
    },
}
CASES = [(rule, name) for rule, spoilers in SPOILERS.items() for name in spoilers]


def test_every_rule_has_its_spoilers():
    assert set(SPOILERS) == {validator.__name__ for validator in validators.VALIDATORS}


@pytest.mark.parametrize(("rule", "name"), CASES)
def test_the_rule_notices(rule, name):
    """The first shop that can be spoiled in this way is refused by the rule."""
    for seed in range(100):
        spoiled = SPOILERS[rule][name](result_of(seed))
        if spoiled is not None:
            assert list(getattr(validators, rule)(Result(*spoiled))), f"seed {seed}"
            return
    raise AssertionError("no shop to spoil")
