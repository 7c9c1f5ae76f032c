"""The cheapest set over a whole list: as good as trying everything, charges, breaks, days and kits included."""

import itertools
import random
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from bom.buying.charges import ChargeRules
from bom.questions.bids.cheapest_set import cheapest_set
from bom.questions.bids.costs import lateness
from bom.questions.bids.program import SetProgram
from bom.questions.bids.values import UNKNOWN_LATE, Bid, Bidding, Delivery, PackPrice, Want, Whole
from bom.structure.calendar import ShopCalendar
from bom.values import ONE

CALENDAR = ShopCalendar()
SOON, NEED, LATER = date(2026, 3, 10), date(2026, 3, 17), date(2026, 3, 20)


def want(part, pieces, need_on=NEED, jobs=1):
    return Want(part, pieces * ONE, need_on, jobs)


def bid(supplier, part, *prices, pack=1, comes=SOON, **more):
    breaks = tuple(PackPrice(start, Decimal(price)) for start, price in prices or ((1, "1"),))
    deliveries = more.pop("deliveries", (Delivery(None, comes),))
    return Bid(f"{supplier} {part} {pack}", supplier, part, pack * ONE, breaks, deliveries, **more)


def cheapest(wants, bids, terms=None, *, wholes=(), shelf=None, **more):
    bidding = Bidding(tuple(wants), tuple(bids), terms or {}, tuple(wholes), shelf or {})
    return cheapest_set(bidding, CALENDAR, **more)


def chosen(found):
    return [(line.bid.supplier, line.bid.part_number, line.packs) for line in found.choice.lines]


def money(text):
    return Decimal(text)


# --- by hand


@pytest.mark.parametrize(("pieces", "packs", "total"), [(959, 959, "4795"), (961, 1000, "4800"), (1999, 2000, "9500")])
def test_a_published_discount_for_all_units(pieces, packs, total):
    # The quantity-discount example of operations textbooks: 5.00 below 1000, 4.80 to 1999, 4.75 from 2000 on.
    found = cheapest([want("P", pieces)], [bid("A", "P", (1, "5.00"), (1000, "4.80"), (2000, "4.75"))])
    assert (chosen(found), found.choice.total) == ([("A", "P", packs)], money(total))
    assert found.is_proved
    assert found.plain.total == Decimal("4.80" if pieces >= 1000 else "5.00") * pieces


def test_one_order_that_passes_its_minimum_beats_the_lowest_prices():
    # Line by line: P from A at 40 and Q from B at 30, each below its minimum of 60, so 70 + 15 + 15 = 100.
    # All from A: 40 + 32 = 72, above 60.
    wants = [want("P", 10), want("Q", 10)]
    bids = [bid("A", "P", (1, "4")), bid("A", "Q", (1, "3.20")), bid("B", "P", (1, "4.50")), bid("B", "Q", (1, "3"))]
    small = ChargeRules(money("60"), money("15"))
    found = cheapest(wants, bids, {"A": small, "B": small})
    assert found.plain.total == 100
    assert (chosen(found), found.choice.total) == ([("A", "P", 10), ("A", "Q", 10)], 72)


def test_a_minimum_without_a_charge_is_kept():
    found = cheapest(
        [want("P", 10)], [bid("A", "P", (1, "1")), bid("B", "P", (1, "9"))], {"A": ChargeRules(money("30"))}
    )
    assert (chosen(found), found.choice.total) == ([("A", "P", 30)], 30)
    assert found.plain.refused == ("A",)


def test_an_order_of_exactly_the_minimum_is_not_small():
    found = cheapest([want("P", 6)], [bid("A", "P", (1, "10"))], {"A": ChargeRules(money("60"), money("15"))})
    assert (found.choice.total, found.choice.suppliers[0].order.small_order) == (60, 0)


def test_certificates_are_charged_for_each_line_that_has_one():
    terms = {"A": ChargeRules(certificate=money("20")), "B": ChargeRules(certificate=money("5"))}
    bids = [bid("A", "P", (1, "1"), with_certificate=True), bid("B", "P", (1, "2"), with_certificate=True)]
    assert chosen(cheapest([want("P", 10)], bids, terms)) == [("B", "P", 10)]
    assert chosen(cheapest([want("P", 20)], bids, terms)) == [("A", "P", 20)]
    line = cheapest([want("P", 20)], bids, terms).choice.lines[0]
    assert (line.price, line.charges, line.landed) == (20, 20, 40)


def test_a_small_order_charge_falls_on_the_lines_by_value_to_the_cent():
    bids = [bid("A", part, (1, "1")) for part in "PQR"]
    found = cheapest([want(part, 1) for part in "PQR"], bids, {"A": ChargeRules(money("60"), money("10"))})
    assert [line.charges for line in found.choice.lines] == [money("3.33"), money("3.33"), money("3.34")]


def test_in_time_comes_before_cheap():
    bids = [bid("A", "P", (1, "1"), comes=LATER), bid("B", "P", (1, "9"))]
    assert chosen(cheapest([want("P", 1)], bids)) == [("B", "P", 1)]
    found = cheapest([want("P", 1)], bids[:1])
    assert (chosen(found), found.choice.late) == ([("A", "P", 1)], {"P": 3})
    found = cheapest([want("P", 1)], bids[:1], late_forbidden=True)
    assert (chosen(found), found.choice.missing) == ([], {"P": ONE})


def test_of_two_late_ones_the_one_that_fewer_jobs_wait_for_is_late():
    # Of each part A has only one in time, and takes no order above one pack in all, so that one part comes late from B.
    both = (Delivery(1, SOON),)
    wants = [want("P", 1, jobs=3), want("Q", 1, jobs=1)]
    bids = [
        bid("A", "P", (1, "60"), deliveries=both),
        bid("B", "P", (1, "1"), comes=LATER),
        bid("B", "Q", (1, "1"), comes=LATER),
    ]
    assert cheapest(wants, bids).choice.late == {"Q": 3}


def test_a_second_delivery_counts_where_it_is_needed():
    parts = (Delivery(4, SOON), Delivery(10, LATER))
    assert cheapest([want("P", 4)], [bid("A", "P", deliveries=parts)]).choice.late == {}
    found = cheapest([want("P", 5)], [bid("A", "P", deliveries=parts)])
    assert (found.choice.late, found.choice.lines[0].arrives_on) == ({"P": 3}, LATER)
    found = cheapest([want("P", 5)], [bid("A", "P", deliveries=parts), bid("B", "P", (1, "50"))])
    assert sorted(chosen(found)) == [("A", "P", 4), ("B", "P", 1)]


def test_what_nobody_has_enough_of_is_told():
    found = cheapest([want("P", 5), want("Q", 1)], [bid("A", "P", deliveries=(Delivery(3, SOON),))])
    assert (chosen(found), found.choice.missing) == ([("A", "P", 3)], {"P": 2 * ONE, "Q": ONE})


def test_a_delivery_on_a_day_nobody_knows_comes_after_all_others():
    bids = [bid("A", "P", (1, "1"), comes=None), bid("B", "P", (1, "9"), comes=LATER)]
    assert chosen(cheapest([want("P", 1)], bids)) == [("B", "P", 1)]
    assert cheapest([want("P", 1)], bids[:1]).choice.late == {"P": UNKNOWN_LATE}


KIT = Whole("K", {"P": 2 * ONE, "Q": ONE}, most_made=3, packing_days=1, may_open=True)


def test_a_kit_is_put_together_from_parts_that_cost_less():
    bids = [bid("A", "K", (1, "20")), bid("A", "P", (1, "2")), bid("A", "Q", (1, "3"))]
    found = cheapest([want("K", 3)], bids, wholes=[KIT])
    assert (found.choice.total, found.made, found.plain.total) == (21, {"K": 3}, 60)
    found = cheapest([want("K", 3)], bids, wholes=[KIT], shelf={"P": 5 * ONE})
    assert (found.choice.total, chosen(found)) == (11, [("A", "P", 1), ("A", "Q", 3)])


def test_a_kit_is_put_together_only_when_its_parts_come_in_time_to_pack_it():
    bids = [bid("A", "K", (1, "20")), bid("A", "P", (1, "2"), comes=NEED), bid("A", "Q", (1, "3"))]
    assert cheapest([want("K", 1)], bids, wholes=[KIT]).made == {}


def test_a_kit_that_costs_less_than_its_parts_is_taken_apart():
    bids = [bid("A", "K", (1, "5")), bid("A", "P", (1, "4")), bid("A", "Q", (1, "3"))]
    found = cheapest([want("P", 2), want("Q", 1)], bids, wholes=[KIT])
    assert (chosen(found), found.opened, found.choice.missing) == ([("A", "K", 1)], {"K": 1}, {})


def test_shelf_serves_only_what_is_put_together():
    found = cheapest([want("P", 2)], [bid("A", "P")], wholes=[KIT], shelf={"P": 5 * ONE})
    assert chosen(found) == [("A", "P", 2)]


def test_without_time_the_plain_choice_stands_and_says_so():
    rng = random.Random(5)
    found = cheapest_set(random_bidding(rng, parts=9, kits=False), CALENDAR, seconds=0)
    assert not found.is_proved
    assert found.choice == found.plain or found.gap is None or found.gap >= 0


def test_nothing_to_buy_costs_nothing():
    found = cheapest([], [])
    assert (found.choice.total, found.is_proved, found.gap) == (0, True, 0)


# --- against trying everything


def random_bidding(rng, parts, kits):
    names = [f"P{number}" for number in range(parts)]
    wants = [Want(name, rng.randint(1, 4) * ONE, rng.choice([None, NEED, SOON]), rng.randint(0, 2)) for name in names]
    bids, wholes, shelf = [], [], {}
    if kits:
        inside = {name: rng.randint(1, 2) * ONE for name in rng.sample(names, 2)}
        wholes = [Whole("K", inside, rng.randint(0, 1), rng.randint(0, 2), rng.random() < 0.7)]
        if wholes[0].most_made:
            wants.append(Want("K", ONE, rng.choice([NEED, LATER]), 1))
            shelf = {next(iter(inside)): rng.randint(0, 2) * ONE}
        names.append("K")
    for name in names:
        for supplier in rng.sample("AB", rng.choice([1, 1, 2]) if name != "K" else 1):
            prices = [(1, str(rng.randint(8, 40)))]
            if rng.random() < 0.4:
                prices.append((rng.randint(2, 3), str(rng.randint(6, 30))))
            comes = rng.choice([SOON, NEED, LATER, LATER + timedelta(7), None])
            deliveries = (Delivery(rng.choice([None, None, 2, 3]), comes),)
            if rng.random() < 0.3:
                deliveries = (Delivery(1, SOON), Delivery(rng.choice([None, 3]), LATER))
            bids.append(
                bid(
                    supplier,
                    name,
                    *prices,
                    pack=1 if name == "K" else rng.choice([1, 1, 2, 3]),
                    deliveries=deliveries,
                    minimum_packs=rng.choice([1, 1, 2]),
                    multiple_packs=rng.choice([1, 1, 2]),
                    with_certificate=rng.random() < 0.3,
                )
            )
    terms = {
        supplier: ChargeRules(
            rng.choice([None, Decimal(rng.randint(10, 45))]),
            rng.choice([None, Decimal(rng.randint(1, 30))]),
            rng.choice([None, Decimal(rng.randint(1, 20))]),
        )
        for supplier in "AB"
    }
    return Bidding(tuple(wants), tuple(bids), terms, tuple(wholes), shelf)


def price_of(bidding, taken):
    """What so many packs of each bid cost, straight from the words of the terms; None where a supplier refuses."""
    total = Decimal(0)
    for supplier in "AB":
        mine = [(one, packs) for one, packs in taken.items() if packs and one.supplier == supplier]
        terms, parts = bidding.terms[supplier], Decimal(0)
        for one, packs in mine:
            parts += packs * [price for start, price in one.prices if start <= packs][-1]
        total += parts + (terms.certificate or 0) * len({o.part_number for o, _ in mine if o.with_certificate})
        if mine and terms.order_minimum and parts < terms.order_minimum:
            if terms.small_order is None:
                return None
            total += terms.small_order
    return total


def day_of(one, packs):
    for up_to, day in one.deliveries:
        if up_to is None or packs <= up_to:
            return day
    raise AssertionError


def counts(bidding, one):
    last = one.deliveries[-1].up_to_packs
    yield 0
    for packs in range(one.minimum_packs, 10):
        if packs % one.multiple_packs == 0 and (last is None or packs <= last):
            yield packs


def slow_orders(bidding, late_forbidden):
    """For every choice of packs and of kits made and opened: what is missing (by share), how late, what it costs."""
    held = bidding.wholes[0] if bidding.wholes else None
    jobs = {one.part_number: max(1, one.jobs) for one in bidding.wants}
    need = {one.part_number: one.need_on for one in bidding.wants}
    for packs in itertools.product(*(counts(bidding, one) for one in bidding.bids)):
        taken = dict(zip(bidding.bids, packs, strict=True))
        cost = price_of(bidding, taken)
        if cost is None:
            continue
        days = {}
        for one, count in taken.items():
            if count:
                days.setdefault(one.part_number, []).append(day_of(one, count))
        for made, opened in itertools.product(
            range((held.most_made if held else 0) + 1), range(5 if held and held.may_open else 1)
        ):
            have = {}
            for one, count in taken.items():
                have[one.part_number] = have.get(one.part_number, 0) + count * one.pack_size
            if held:
                have["K"] = have.get("K", 0) + (made - opened) * ONE
                if have["K"] < 0:
                    continue
                if not made and opened and not any(taken[o] for o in bidding.bids if o.part_number == "K"):
                    continue
                wrong = False
                for part, each in held.inside.items():
                    into = max(0, made * each - bidding.shelf.get(part, 0))
                    have[part] = have.get(part, 0) - into
                    wrong |= have[part] < 0
                if wrong:
                    continue
            # Of each wanted part, how much comes out of opened kits is the least that is missing, or none at all.
            out = [part for part in (held.inside if held and opened else ()) if part in need]
            for chosen_out in itertools.product([False, True], repeat=len(out)):
                used = {part for part, is_used in zip(out, chosen_out, strict=True) if is_used}
                missing, late = 0.0, 0
                for one in bidding.wants:
                    part = one.part_number
                    there = have.get(part, 0) + (opened * held.inside[part] if part in used else 0)
                    missing += max(0, one.quantity - there) / one.quantity
                    worst = [lateness(one.need_on, day, CALENDAR) for day in days.get(part, ())]
                    if part in used:
                        worst += [lateness(one.need_on, day, CALENDAR) for day in days.get("K", ())]
                    if held and part == "K" and made:
                        for inner in held.inside:
                            for day in days.get(inner, ()):
                                packed = day and CALENDAR.forward(day, held.packing_days)
                                worst.append(lateness(one.need_on, packed, CALENDAR))
                    late += jobs[part] * max(worst, default=0)
                if late_forbidden:
                    if not late:
                        yield (round(missing, 9), cost)
                else:
                    yield (round(missing, 9), late, cost)


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("late_forbidden", [False, True])
def test_the_set_is_as_good_as_trying_everything(seed, late_forbidden):
    rng = random.Random(seed)
    kits = seed % 3 == 2
    bidding = random_bidding(rng, parts=rng.randint(1, 2) if not kits else 2, kits=kits)
    if len(bidding.bids) > 4:
        bidding = replace(bidding, bids=bidding.bids[:4])
    found = cheapest_set(bidding, CALENDAR, late_forbidden=late_forbidden)
    assert found.is_proved
    choice = found.choice
    assert price_of(bidding, {line.bid: line.packs for line in choice.lines}) == choice.total
    quantity = {one.part_number: one.quantity for one in bidding.wants}
    jobs = {one.part_number: max(1, one.jobs) for one in bidding.wants}
    missing = round(sum(open_one / quantity[part] for part, open_one in choice.missing.items()), 9)
    late = sum(days * jobs[part] for part, days in choice.late.items())
    ours = (missing, choice.total) if late_forbidden else (missing, late, choice.total)
    assert ours == min(slow_orders(bidding, late_forbidden))


def test_unlike_quantities_are_never_called_proved():
    huge = Bid("A P", "A", "P", 123_457_000_001, (PackPrice(1, Decimal(5)),), (Delivery(None, SOON),))
    bidding = Bidding((Want("P", 3 * 10**12 + 1, NEED),), (huge,))
    assert not SetProgram(bidding, CALENDAR, late_forbidden=False).is_exact
    found = cheapest_set(bidding, CALENDAR)
    assert (found.choice.missing, found.is_proved) == ({}, False)
