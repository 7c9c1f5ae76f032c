"""What has to be bought, and of whom, with its days as days."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.buying.order_size import Abroad, NextBreak, Purchase, known_day
from bom.plan import Plan
from bom.reading.askers import Asker
from bom.structure.cure import Cure


@dataclass(frozen=True, slots=True)
class ChosenOffer:
    """What to order of one item, and from whom: ``price`` is the total; None where nothing is known in our money.

    ``abroad`` is the total of an offer in other money. Quantities in millionths, lead time in working days while the
    supplier is open. ``closed`` are the first and the last day on which the supplier is not.
    """

    packs: int
    pack_size: int
    order_quantity: int
    supplier: str | None
    supplier_part_number: str | None
    price: Decimal | None
    lead_days: int | None
    closed: tuple[date, date] | None
    arrives_on: date | None
    next_break: NextBreak | None
    abroad: Abroad | None


@dataclass(frozen=True, slots=True)
class PurchaseRow:
    """One thing to buy. Quantities in millionths, days None when unknown or when nothing applies.

    ``minimum_met`` is False where no lot can have the minimum life at receipt that the item asks for.
    """

    part_number: str
    short: int
    short_wear: int
    top_up: int
    net: int
    purchase: ChosenOffer
    need_on: date | None
    order_by: date | None
    days_late: int | None
    wear_advice: str | None
    askers: tuple[Asker, ...]
    oldest_cure: Cure | None
    minimum_met: bool


def purchases_of(plan: Plan, askers: tuple[Asker, ...]) -> Iterator[PurchaseRow]:
    """The purchase list, by part number.

    Parameters
    ----------
    plan : the finished plan
    askers : jobs and other needs in the order of serving
    """
    for row in plan.buy:
        yield PurchaseRow(
            part_number=plan.demand.structure.items[row.item].part_number,
            short=row.short,
            short_wear=row.short_wear,
            top_up=row.top_up,
            net=row.net,
            purchase=chosen(row.purchase),
            need_on=known_day(row.need_on),
            order_by=known_day(row.order_by),
            days_late=row.days_late,
            wear_advice=row.wear_advice,
            askers=tuple(askers[number] for number in row.jobs),
            oldest_cure=row.oldest_cure,
            minimum_met=row.minimum_met,
        )


def chosen(purchase: Purchase) -> ChosenOffer:
    """A purchase of the core as it is read.

    Parameters
    ----------
    purchase : of the plan
    """
    return ChosenOffer(
        packs=purchase.packs,
        pack_size=purchase.pack_size,
        order_quantity=purchase.order_quantity,
        supplier=purchase.supplier,
        supplier_part_number=purchase.supplier_part_number,
        price=purchase.price,
        lead_days=purchase.lead_days,
        closed=purchase.lead.closed if purchase.lead else None,
        arrives_on=known_day(purchase.arrives_on),
        next_break=purchase.next_break,
        abroad=purchase.abroad,
    )
