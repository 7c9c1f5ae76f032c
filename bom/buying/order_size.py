"""What to buy: whole packs from the offer that is in time and cheapest, with all-units price breaks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from bom.buying.leads import NEVER, Lead, LeadDays
from bom.structure.arrays import Structure, as_date, day_number
from bom.structure.calendar import ShopCalendar
from bom.values import ONE, Offer


def known_day(number: int | None) -> date | None:
    """Return the date of a day number; None where it is not known.

    Parameters
    ----------
    number : day number, None or ``NEVER`` when not known
    """
    return None if number is None or number >= NEVER else as_date(number)


class Abroad(NamedTuple):
    """A price in money that is not the shop's, and the name of that currency."""

    price: Decimal
    currency: str


class PriceBreak(NamedTuple):
    """The price of a pack from so many packs on; None when it is not known in our money, ``abroad`` if in other."""

    from_packs: int
    price: Decimal | None
    abroad: Abroad | None = None


@dataclass(frozen=True, slots=True)
class PackOffer:
    """One supplier's number and pack size with its price breaks, lowest first. Quantities in millionths.

    ``lead`` is the offer's lead time and the transit days, or the item's lead time; None when neither is known. A price
    in another currency is None: its total is not in our money.
    """

    supplier: str
    supplier_part_number: str
    pack_size: int
    minimum_packs: int
    multiple_packs: int
    lead: Lead | None
    breaks: tuple[PriceBreak, ...]
    expired: bool

    def packs_for(self, net: int) -> int:
        """Whole packs that hold ``net``, not below the minimum, up to a multiple.

        Parameters
        ----------
        net : millionths that are needed
        """
        packs = max(-(-net // self.pack_size), self.minimum_packs)
        return -(-packs // self.multiple_packs) * self.multiple_packs

    def price_for(self, packs: int) -> Decimal | None:
        """Total for ``packs``: all units at the price of the highest break that they reach.

        Parameters
        ----------
        packs : how many packs
        """
        price = self._reached(packs).price
        return None if price is None else price * packs

    def price_abroad(self, packs: int) -> Abroad | None:
        """The same total where it is in other money than the shop's; None where it is in ours or not known.

        Parameters
        ----------
        packs : how many packs
        """
        abroad = self._reached(packs).abroad
        return None if abroad is None else Abroad(abroad.price * packs, abroad.currency)

    def _reached(self, packs: int) -> PriceBreak:
        reached = self.breaks[0]
        for higher in self.breaks[1:]:
            if higher.from_packs <= packs:
                reached = higher
        return reached


@dataclass(frozen=True, slots=True)
class NextBreak:
    """An order up to the next price break that costs less in all: its packs, its total and what that saves."""

    packs: int
    price: Decimal
    saving: Decimal


@dataclass(frozen=True, slots=True)
class Purchase:
    """What to order of one item, and from whom; days are day numbers, None when unknown.

    ``price`` is the total in the shop's money, ``abroad`` that of an offer in other money, which has no ``price``.
    """

    packs: int
    pack_size: int
    order_quantity: int
    supplier: str | None
    supplier_part_number: str | None
    price: Decimal | None
    lead: Lead | None
    arrives_on: int | None
    next_break: NextBreak | None = None
    abroad: Abroad | None = None

    @property
    def lead_days(self) -> int | None:
        """All working days of the lead time, where the supplier does not close; None when unknown."""
        return None if self.lead is None else self.lead.total


class _Sorting(NamedTuple):
    doubtful: bool
    late: bool
    arrival_if_late: int
    total: Decimal
    supplier: str
    supplier_part_number: str
    pack_size: int


class OfferBook:
    """The offers of a catalog, gathered by item; an item got as part of another is offered as that other."""

    def __init__(self, structure: Structure, calendar: ShopCalendar, as_of: int) -> None:
        self.structure, self.as_of = structure, as_of
        self.leads = LeadDays(calendar, as_of)
        self._quotes: dict[int, tuple[PackOffer, ...]] = structure.memo.quotes_on(as_of)

    def quotes(self, item: int) -> tuple[PackOffer, ...]:
        """Every quote for one item, in packs of the item itself; each item is read once.

        Parameters
        ----------
        item : number of the item
        """
        found = self._quotes.get(item)
        if found is None:
            found = self._quotes[item] = self._read(item)
        return found

    def _read(self, item: int) -> tuple[PackOffer, ...]:
        held = self.structure.items[item]
        bought, inside = held, ONE
        if held.get_as is not None and held.source in ("in_kit_only", "in_assembly_only"):
            bought = self.structure.items[self.structure.index[held.get_as]]
            inside = self._inside(held.get_as, item)
        rows: dict[tuple[str, str, int], list[Offer]] = defaultdict(list)
        for offer in self.structure.offers.get(bought.part_number, ()):
            rows[offer.supplier, offer.supplier_part_number, offer.pack_size].append(offer)
        found = tuple(
            self._quote(sorted(group, key=lambda offer: offer.price_from_packs), bought.lead_days, inside)
            for group in rows.values()
        )
        without_offer = None if bought.lead_days is None else Lead(bought.lead_days)
        return found or (PackOffer("", "", inside, 1, 1, without_offer, (PriceBreak(1, None),), False),)

    def choose(self, item: int, net: int, need_day: int | None) -> Purchase:
        """The purchase of ``net`` millionths: in time first, then the earliest, then the lowest total, then by name.

        Parameters
        ----------
        item : number of the item
        net : millionths that are needed
        need_day : day number by which it has to be here; None when it is all the same
        """
        quotes = self.quotes(item)
        best = quotes[0] if len(quotes) == 1 else min(quotes, key=lambda quote: self._sorting(quote, net, need_day))
        packs = best.packs_for(net)
        price = best.price_for(packs)
        return Purchase(
            packs=packs,
            pack_size=best.pack_size,
            order_quantity=packs * best.pack_size,
            supplier=best.supplier or None,
            supplier_part_number=best.supplier_part_number or None,
            price=price,
            lead=best.lead,
            arrives_on=self.leads.arrival(best.lead),
            next_break=_next_break(best, packs, price),
            abroad=best.price_abroad(packs),
        )

    def ranked(self, item: int, net: int, need_day: int | None) -> tuple[PackOffer, ...]:
        """Every quote for one item in the order in which they are taken, the one that is chosen first.

        Parameters
        ----------
        item : number of the item
        net : millionths that are needed
        need_day : day number by which it has to be here; None when it is all the same
        """
        return tuple(sorted(self.quotes(item), key=lambda quote: self._sorting(quote, net, need_day)))

    def _inside(self, get_as: str, item: int) -> int:
        structure = self.structure
        lines = structure.lines_of(structure.index[get_as])
        return sum(int(structure.quantity[line]) for line in lines if structure.child[line] == item) or ONE

    def _quote(self, group: Sequence[Offer], lead_days: int | None, inside: int) -> PackOffer:
        lowest = group[0]
        days, transit = (lead_days, 0) if lowest.lead_days is None else (lowest.lead_days, lowest.transit_days)
        closed = lowest.closed_from and lowest.closed_to and (lowest.closed_from, lowest.closed_to)
        return PackOffer(
            supplier=lowest.supplier,
            supplier_part_number=lowest.supplier_part_number,
            pack_size=lowest.pack_size * inside // ONE,
            minimum_packs=lowest.minimum_packs,
            multiple_packs=lowest.multiple_packs,
            lead=None if days is None else _lead(days, transit, closed or None),
            breaks=tuple(_break(offer) for offer in group),
            expired=lowest.valid_to is not None and day_number(lowest.valid_to) < self.as_of,
        )

    def _sorting(self, quote: PackOffer, net: int, need_day: int | None) -> _Sorting:
        arrival = self.leads.arrival(quote.lead)
        day = NEVER if arrival is None else arrival
        late = need_day is not None and day > need_day
        total = quote.price_for(quote.packs_for(net))
        return _Sorting(
            doubtful=quote.expired or total is None,
            late=late,
            arrival_if_late=day if late else 0,
            total=Decimal("Infinity") if total is None else total,
            supplier=quote.supplier,
            supplier_part_number=quote.supplier_part_number,
            pack_size=quote.pack_size,
        )


@lru_cache(maxsize=4096)
def _lead(days: int, transit: int, closed: tuple[date, date] | None) -> Lead:
    """Equal lead times as one, so that they are told apart without looking into them."""
    return Lead(days, transit, closed)


def _break(offer: Offer) -> PriceBreak:
    price, currency = offer.price_per_pack, offer.foreign_currency
    abroad = Abroad(price, currency) if currency and price is not None else None
    return PriceBreak(offer.price_from_packs, None if currency else price, abroad)


def _next_break(quote: PackOffer, packs: int, price: Decimal | None) -> NextBreak | None:
    """The order up to the next price break, where it costs less than so many packs; None where it does not."""
    if price is None or quote.breaks[-1].from_packs <= packs:
        return None
    higher = next(step.from_packs for step in quote.breaks if step.from_packs > packs)
    more = quote.packs_for(higher * quote.pack_size)
    total = quote.price_for(more)
    return None if total is None or total >= price else NextBreak(more, total, price - total)
