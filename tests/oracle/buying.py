"""Which offer, how many packs, by when."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.values import ONE
from tests.oracle.kits import ceil_divide

LATEST = date.max


@dataclass
class Lead:
    """Days of the supplier, days in transit, and from when to when he is closed, or None."""

    days: int
    transit: int = 0
    closed: tuple | None = None

    def of_supplier(self, calendar):
        return calendar.closed(*self.closed) if self.closed else calendar

    def forward(self, calendar, today: date) -> date:
        return calendar.forward(self.of_supplier(calendar).forward(today, self.days), self.transit)

    def backward(self, calendar, need: date) -> date:
        return self.of_supplier(calendar).backward(calendar.backward(need, self.transit), self.days)


@dataclass
class Choice:
    """The offer chosen for a quantity; ``pack_size`` in millionths of the item that is short."""

    supplier: str | None
    pack_size: int
    packs: int
    price: Decimal | None
    lead: Lead | None
    next_break: dict | None = None


def lead_of(days: int | None, transit: int = 0, closed: tuple | None = None) -> Lead | None:
    return None if days is None else Lead(days, transit, closed)


def lead_of_offer(offer, item) -> Lead | None:
    closed = (offer.closed_from, offer.closed_to) if offer.closed_from else None
    if offer.lead_days is None:
        return lead_of(item.lead_days, 0, closed)
    return Lead(offer.lead_days, offer.transit_days, closed)


def packs_for(quantity: int, pack_size: int, minimum: int, multiple: int) -> int:
    packs = max(ceil_divide(quantity, pack_size), minimum)
    return ceil_divide(packs, multiple) * multiple


def choose_offer(shop, structure, calendar, part_number: str, quantity: int, need_on: date | None) -> Choice:
    """The best of the offers for this much by this day; for a piece got in something else, the offers for that."""
    item = structure.items[part_number]
    bought = structure.items[item.get_as] if item.get_as else item
    inside = structure.pieces_inside(bought.part_number, part_number) if item.get_as else ONE
    ranked = []
    for rows in offers_of(structure, bought.part_number):
        choice, is_good = weigh(shop, rows, bought, inside, quantity)
        arrives = LATEST if choice.lead is None else choice.lead.forward(calendar, shop.as_of)
        total = choice.price if choice.price is not None else Decimal("Infinity")
        ranked.append((not is_good, arrives, total, rows[0], choice))
    if not ranked:
        return Choice(None, inside, packs_for(quantity, inside, 1, 1), None, lead_of(bought.lead_days))
    candidates = [row for row in ranked if not row[0]] or ranked
    if need_on is not None:
        in_time = [row for row in candidates if row[1] <= need_on]
        earliest = min(row[1] for row in candidates)
        candidates = in_time or [row for row in candidates if row[1] == earliest]
    return min(candidates, key=lambda row: (row[2], row[3].supplier, row[3].supplier_part_number, row[3].pack_size))[4]


def offers_of(structure, part_number: str) -> list:
    """Rows that differ only in their price break stand together, the lowest break first."""
    offers = {}
    for row in structure.catalog.offers:
        if row.part_number == part_number:
            offers.setdefault((row.supplier, row.supplier_part_number, row.pack_size), []).append(row)
    return [sorted(rows, key=lambda row: row.price_from_packs) for rows in offers.values()]


def weigh(shop, rows, bought, inside: int, quantity: int) -> tuple[Choice, bool]:
    lowest = rows[0]
    pack_size = lowest.pack_size * inside // ONE
    packs = packs_for(quantity, pack_size, lowest.minimum_packs, lowest.multiple_packs)
    price = total_of(rows, packs)
    lead = lead_of_offer(lowest, bought)
    expired = lowest.valid_to is not None and lowest.valid_to < shop.as_of
    choice = Choice(lowest.supplier, pack_size, packs, price, lead)
    higher = [row.price_from_packs for row in rows if row.price_from_packs > packs]
    if higher and price is not None:
        more = ceil_divide(min(higher), lowest.multiple_packs) * lowest.multiple_packs
        total = total_of(rows, more)
        if total is not None and total < price:
            choice.next_break = {"packs": more, "price": total, "saving": price - total}
    return choice, price is not None and not expired


def total_of(rows, packs: int) -> Decimal | None:
    """All units at the price of the highest break that so many packs reach."""
    reached = [row for row in rows if row.price_from_packs <= packs]
    row = reached[-1] if reached else rows[0]
    return None if row.price_per_pack is None or row.foreign_currency else row.price_per_pack * packs
