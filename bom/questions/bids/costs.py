"""What a choice of packs costs, to the cent: prices, and the charges of each supplier as they fall on the lines."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from bom.buying.charges import NOTHING, ChargeRules, order_total, to_cent
from bom.questions.bids.values import UNKNOWN_LATE, Bid, Bidding, Choice, ChosenPacks, SupplierCosts, Want
from bom.structure.calendar import ShopCalendar


def days_late(want: Want, bid: Bid, packs: int, calendar: ShopCalendar) -> int:
    """Working days by which so many packs of a bid come after the day of need.

    Parameters
    ----------
    want : what is to be bought
    bid : who offers it
    packs : how many packs
    calendar : the working days
    """
    return lateness(want.need_on, bid.arrives_on(packs), calendar)


def lateness(need_on: date | None, day: date | None, calendar: ShopCalendar) -> int:
    """Working days from a day of need to a later delivery; what comes on a day nobody knows comes after all others.

    Parameters
    ----------
    need_on : the day of need, None where there is none
    day : the day of the delivery, None when not known
    calendar : the working days
    """
    if need_on is None or (day is not None and day <= need_on):
        return 0
    return UNKNOWN_LATE if day is None else max(1, calendar.between(need_on, day))


def bid_value(bid: Bid, packs: int) -> Decimal:
    """The price of a line to the cent, half a cent upwards.

    Parameters
    ----------
    bid : who offers it
    packs : how many packs
    """
    return to_cent(packs * bid.price_for(packs))


def costs_of(taken: Mapping[Bid, int], terms: Mapping[str, ChargeRules]) -> tuple[SupplierCosts, ...]:
    """What each supplier's part costs, by name; packs of one part from two bids are one line for its certificate.

    Parameters
    ----------
    taken : packs of each bid
    terms : what suppliers charge besides
    """
    found = []
    for supplier in sorted({bid.supplier for bid, packs in taken.items() if packs}):
        rules = terms.get(supplier, ChargeRules())
        lines = [(bid, packs) for bid, packs in taken.items() if packs and bid.supplier == supplier]
        certified = len({bid.part_number for bid, _ in lines if bid.with_certificate})
        order = order_total([bid_value(bid, packs) for bid, packs in lines], certified, rules)
        found.append(SupplierCosts(supplier, order, order.below_minimum and rules.small_order is None))
    return tuple(found)


def lines_of(
    taken: Mapping[Bid, int], suppliers: tuple[SupplierCosts, ...], terms: Mapping[str, ChargeRules]
) -> tuple[ChosenPacks, ...]:
    """The lines with the charges that fall on them: a certificate on its own, a small order by value, to the cent.

    Parameters
    ----------
    taken : packs of each bid
    suppliers : what each supplier's part costs
    terms : what suppliers charge besides
    """
    found = []
    for costs in suppliers:
        mine = sorted(
            ((bid, packs) for bid, packs in taken.items() if packs and bid.supplier == costs.supplier),
            key=lambda pair: (pair[0].part_number, pair[0].name),
        )
        rules, order, certified = terms.get(costs.supplier, ChargeRules()), costs.order, set()
        left = order.small_order
        for place, (bid, packs) in enumerate(mine):
            price = bid_value(bid, packs)
            share = left
            if place < len(mine) - 1:
                part = price / order.goods if order.goods else Decimal(1) / len(mine)
                share = min(left, to_cent(order.small_order * part))
            left -= share
            if bid.with_certificate and bid.part_number not in certified:
                certified.add(bid.part_number)
                share += to_cent(rules.certificate or NOTHING)
            found.append(ChosenPacks(bid, packs, price, share, bid.arrives_on(packs)))
    return tuple(sorted(found, key=lambda line: (line.bid.part_number, line.bid.supplier, line.bid.name)))


def choice_of(
    bidding: Bidding, taken: Mapping[Bid, int], late: Mapping[str, int], missing: Mapping[str, int]
) -> Choice:
    """A choice with everything that it costs.

    Parameters
    ----------
    bidding : what it is made from
    taken : packs of each bid
    late : working days late, by part
    missing : millionths that nothing covers, by part
    """
    suppliers = costs_of(taken, bidding.terms)
    return Choice(lines_of(taken, suppliers, bidding.terms), suppliers, dict(late), dict(missing))


def plain_choice(bidding: Bidding, calendar: ShopCalendar) -> Choice:
    """Each part by itself from one supplier: in time first, then the earliest, then the lowest price of the packs.

    That is how somebody chooses who goes down the list line by line; charges fall as they fall.

    Parameters
    ----------
    bidding : what it is made from
    calendar : the working days
    """
    taken: dict[Bid, int] = defaultdict(int)
    late, missing = {}, {}
    for want in bidding.wants:
        ranked = []
        for bid in bidding.bids:
            packs = bid.packs_for(want.quantity) if bid.part_number == want.part_number else None
            if packs is not None:
                after = days_late(want, bid, packs, calendar)
                ranked.append((after, bid_value(bid, packs), bid.supplier, bid.name, bid, packs))
        if not ranked:
            missing[want.part_number] = want.quantity
            continue
        after, *_, bid, packs = min(ranked, key=lambda row: row[:4])
        taken[bid] = packs
        if after:
            late[want.part_number] = after
    return choice_of(bidding, taken, late, missing)
