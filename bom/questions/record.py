"""The time-phased record: what one item needs, has coming and should release, bucket by bucket, alone or in a chain.

Buckets are numbered from 1; an entry of bucket 1 stands first in its tuple. All quantities are millionths of the item's
stock unit. The balance of a bucket is the one before it, plus scheduled and planned receipts, less gross requirements.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from graphlib import CycleError, TopologicalSorter

from bom.errors import Fault, QuantityError, ShopError
from bom.values import ONE

Buckets = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class LotRule:
    """How net requirements are gathered into receipts; by itself lot-for-lot.

    Parameters
    ----------
    periods : buckets that one receipt supplies, beginning with the one that is short
    minimum : least quantity of a receipt
    multiple : a receipt is a multiple of this quantity; the minimum is applied first
    """

    periods: int = 1
    minimum: int = 0
    multiple: int = 1

    def __post_init__(self) -> None:
        if self.periods < 1 or self.multiple < 1 or self.minimum < 0:
            raise QuantityError(
                f"A lot rule of {self.periods} periods, minimum {self.minimum} and multiple {self.multiple} was given: "
                "periods and multiple must be 1 or more, the minimum 0 or more."
            )

    def size(self, wanted: int) -> int:
        """Return the receipt that covers what is wanted."""
        return -(-max(wanted, self.minimum) // self.multiple) * self.multiple


LOT_FOR_LOT = LotRule()


def fixed_quantity(quantity: int) -> LotRule:
    """Return the rule of receipts of one fixed quantity, as many of them as the bucket needs."""
    return LotRule(multiple=quantity)


def period_supply(periods: int) -> LotRule:
    """Return the rule of receipts that each supply so many buckets."""
    return LotRule(periods=periods)


@dataclass(frozen=True, slots=True)
class Holding:
    """What the shop holds and has coming of one item, and how it is replenished.

    ``scheduled`` are receipts already on order, one entry a bucket; buckets beyond its end have none.
    """

    on_hand: int = 0
    scheduled: Buckets = ()
    safety_stock: int = 0
    lead_buckets: int = 0
    lots: LotRule = field(default=LOT_FOR_LOT)


@dataclass(frozen=True, slots=True)
class Record:
    """One item's record; every tuple has one entry a bucket.

    ``unplanned`` is the balance if nothing is released; ``available`` counts planned receipts. ``past_due`` holds, as
    pairs of bucket of need and quantity, the receipts whose release lies before bucket 1.
    """

    gross: Buckets
    scheduled: Buckets
    unplanned: Buckets
    available: Buckets
    net: Buckets
    receipts: Buckets
    releases: Buckets
    past_due: tuple[tuple[int, int], ...]

    @property
    def asked(self) -> Buckets:
        """What the item's parts must be there for: the releases, with what is past due asked for in bucket 1."""
        if not self.past_due:
            return self.releases
        return (self.releases[0] + sum(quantity for _, quantity in self.past_due), *self.releases[1:])


def work_out_record(gross: Sequence[int], holding: Holding) -> Record:
    """Work out the record of one item.

    Parameters
    ----------
    gross : gross requirements, one entry a bucket
    holding : stock, orders and rules of the item

    Raises
    ------
    QuantityError
        If a quantity or the lead time is below zero, or receipts are scheduled after the last bucket.

    Examples
    --------
    >>> record = work_out_record((0, 20, 0, 25), Holding(on_hand=23, lead_buckets=2))
    >>> record.net, record.releases
    ((0, 0, 0, 22), (0, 22, 0, 0))
    """
    count = len(gross)
    _check(gross, holding)
    scheduled = tuple(holding.scheduled) + (0,) * (count - len(holding.scheduled))
    unplanned, available = [], []
    net, receipts = [0] * count, [0] * count
    idle = balance = holding.on_hand
    for bucket in range(count):
        idle += scheduled[bucket] - gross[bucket]
        net[bucket] = max(0, holding.safety_stock + gross[bucket] - scheduled[bucket] - balance)
        if net[bucket]:
            receipts[bucket] = holding.lots.size(_wanted(bucket, balance, gross, scheduled, holding))
        balance += scheduled[bucket] + receipts[bucket] - gross[bucket]
        unplanned.append(idle)
        available.append(balance)
    releases, past_due = _offset(receipts, holding.lead_buckets)
    return Record(
        tuple(gross), scheduled, tuple(unplanned), tuple(available), tuple(net), tuple(receipts), releases, past_due
    )


def work_out_chain(
    gross: Mapping[str, Sequence[int]],
    holdings: Mapping[str, Holding],
    lines: Iterable[tuple[str, str, int]],
    buckets: int,
) -> dict[str, Record]:
    """Work out the records of a product structure, each item after everything that asks for it.

    Parameters
    ----------
    gross : gross requirements from outside, by item, ``buckets`` entries each; items without any may be left out
    holdings : stock, orders and rules by item; an item left out has none
    lines : parent, child and the quantity of the child in one parent, in millionths
    buckets : number of buckets

    Returns
    -------
    the record of every item that is named, parents before their children

    Raises
    ------
    ShopError
        If the structure has a cycle.
    QuantityError
        If a parent's release is no whole number of pieces and so no exact quantity of the child, or as for one record.
    """
    lines = tuple(lines)
    asked: dict[str, list[int]] = defaultdict(lambda: [0] * buckets)
    for item, quantities in gross.items():
        if len(quantities) != buckets:
            raise QuantityError(f"The needs of {item} fill {len(quantities)} buckets: give all {buckets}.")
        asked[item] = list(quantities)
    below: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for parent, child, each in lines:
        below[parent].append((child, each))
    records = {}
    for item in _parents_first((*gross, *holdings), lines):
        records[item] = record = work_out_record(asked[item], holdings.get(item, Holding()))
        for child, each in below[item]:
            for bucket, quantity in enumerate(record.asked):
                asked[child][bucket] += _times(quantity, each, item, child)
    return records


def fill_buckets(
    pieces: Iterable[tuple[date, int]], first_on: date, bucket_days: int, buckets: int
) -> tuple[Buckets, int]:
    """Sum dated quantities into buckets of so many days: 1 for days, 7 for weeks.

    What lies before ``first_on`` belongs to bucket 1; what lies after the last bucket is returned as the second value.
    """
    filled, beyond = [0] * buckets, 0
    for on, quantity in pieces:
        bucket = max((on - first_on).days // bucket_days, 0)
        if bucket < buckets:
            filled[bucket] += quantity
        else:
            beyond += quantity
    return tuple(filled), beyond


def _wanted(bucket: int, balance: int, gross: Sequence[int], scheduled: Sequence[int], holding: Holding) -> int:
    """Return what must come in now so that no bucket of the period falls below the safety stock."""
    short, level = 0, balance
    for ahead in range(bucket, min(bucket + holding.lots.periods, len(gross))):
        level += scheduled[ahead] - gross[ahead]
        short = max(short, holding.safety_stock - level)
    return short


def _offset(receipts: Sequence[int], lead_buckets: int) -> tuple[Buckets, tuple[tuple[int, int], ...]]:
    count = len(receipts)
    releases = (*receipts[lead_buckets:], *(0,) * min(lead_buckets, count))
    late = tuple((bucket + 1, receipt) for bucket, receipt in enumerate(receipts[:lead_buckets]) if receipt)
    return releases, late


def _times(quantity: int, each: int, parent: str, child: str) -> int:
    product, rest = divmod(quantity * each, ONE)
    if rest:
        raise QuantityError(
            f"A release of {quantity} millionths of {parent} takes no whole millionth of {child}: "
            "release whole pieces, or state the line's quantity with fewer decimals."
        )
    return product


def _parents_first(named: Iterable[str], lines: Iterable[tuple[str, str, int]]) -> list[str]:
    sorter: TopologicalSorter[str] = TopologicalSorter(dict.fromkeys(named, ()))
    for parent, child, _ in lines:
        sorter.add(child, parent)
    try:
        return list(sorter.static_order())
    except CycleError as error:
        loop: list[str] = error.args[1]
        says = f"The structure runs in a circle, {' > '.join(loop)}: take out one of these lines."
        raise ShopError((Fault("Structure", (loop[0], loop[1]), "child", says),)) from None


def _check(gross: Sequence[int], holding: Holding) -> None:
    if len(holding.scheduled) > len(gross):
        raise QuantityError(
            f"Receipts are scheduled for {len(holding.scheduled)} buckets, needs for {len(gross)}: lengthen the needs."
        )
    least = min((*gross, *holding.scheduled, holding.on_hand, holding.safety_stock, holding.lead_buckets))
    if least < 0:
        raise QuantityError(f"A record was given the quantity or lead time {least}: each must be 0 or more.")
