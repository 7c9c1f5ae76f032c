"""The time-phased record: what one item needs, has coming and should release, bucket by bucket.

Buckets are numbered from 1; an entry of bucket 1 stands first in its tuple. All quantities are millionths of the item's
stock unit. The balance of a bucket is the one before it, plus scheduled and planned receipts, less gross requirements.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from bom.errors import QuantityError

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
        """Return the receipt that covers what is wanted.

        Parameters
        ----------
        wanted : quantity that is short
        """
        return -(-max(wanted, self.minimum) // self.multiple) * self.multiple


LOT_FOR_LOT = LotRule()


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


def _check(gross: Sequence[int], holding: Holding) -> None:
    if len(holding.scheduled) > len(gross):
        raise QuantityError(
            f"Receipts are scheduled for {len(holding.scheduled)} buckets, needs for {len(gross)}: lengthen the needs."
        )
    least = min((*gross, *holding.scheduled, holding.on_hand, holding.safety_stock, holding.lead_buckets))
    if least < 0:
        raise QuantityError(f"A record was given the quantity or lead time {least}: each must be 0 or more.")
