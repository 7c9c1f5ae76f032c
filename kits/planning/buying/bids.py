"""What suppliers offer for what is to be ordered: quotes that were accepted, and where wanted what stands on record."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.buying.charges import ChargeRules
from bom.plan import Plan
from bom.questions.bids.values import Bid, Bidding, Delivery, PackPrice
from bom.questions.bids.wants import BuyingList, Waiting, buying_list, day_if_ordered_today
from bom.reading import Reading
from kits.catalog.days.words import in_full
from kits.catalog.models import Item
from kits.planning.queries import reading_of
from kits.purchasing.models import Supplier, SupplierQuote
from kits.purchasing.rates.queries import read_rates

ANSWERED, ON_RECORD = "answered", "record"
"""Whose bids are compared: of suppliers who answered alone, or also what others have offered before."""


@dataclass(frozen=True, slots=True)
class QuotedPart:
    """One quote of a bid: how many packs on which day, as far as it says so."""

    pk: int
    packs: int | None
    promised_on: date | None


@dataclass(frozen=True, slots=True)
class BidSource:
    """Where a bid comes from: its quotes and their reply, or an offer on record; what is to be known of it besides.

    ``own_prices`` are in the supplier's money, of which ``currency`` is the name where that is not the shop's.
    """

    supplier_part_number: str
    own_prices: tuple[PackPrice, ...]
    currency: str = ""
    quotes: tuple[QuotedPart, ...] = ()
    reply: int | None = None
    valid_to: date | None = None
    alternative: str = ""
    note: str = ""

    def price_for(self, packs: int) -> Decimal:
        """What one pack costs in an order of so many, in the supplier's money."""
        return [step.price for step in self.own_prices if step.from_packs <= packs or step == self.own_prices[0]][-1]


@dataclass(frozen=True, slots=True)
class NoBid:
    """A supplier who offers nothing, or nothing that can be compared, and why."""

    part_number: str
    supplier: str
    says: str


@dataclass(frozen=True, slots=True)
class Bids:
    """Everything that is compared: the bidding, where each bid comes from, who waits, and what is left out."""

    bidding: Bidding
    sources: Mapping[str, BidSource]
    waiting: Mapping[str, tuple[Waiting, ...]]
    left_out: tuple[NoBid, ...]


def read_bids(plan: Plan, whose: str) -> Bids:
    """What is to be ordered, and who bids for it; six statements."""
    listed = buying_list(plan)
    return _BidReader(plan, listed).read(whose)


class _BidReader:
    """Gathers the bids for what a plan has to buy."""

    def __init__(self, plan: Plan, listed: BuyingList) -> None:
        self.plan, self.listed = plan, listed
        self.reading: Reading = reading_of(plan)
        self.rates = read_rates(plan.shop.as_of)
        self.suppliers = {supplier.supplier: supplier for supplier in Supplier.objects.all()}
        self.parts = {want.part_number for want in listed.wants}
        self.parts |= {part for whole in listed.wholes for part in (whole.whole, *whole.inside)}
        certified = Item.objects.filter(part_number__in=self.parts, certificate_needed=True)
        self.certified = set(certified.values_list("part_number", flat=True))
        self.bids: list[Bid] = []
        self.sources: dict[str, BidSource] = {}
        self.left_out: list[NoBid] = []
        self.heard: set[tuple[str, str]] = set()

    def read(self, whose: str) -> Bids:
        """The bids of quotes, then those on record of whoever has not answered."""
        for (part, supplier), quotes in sorted(self._latest_quotes().items()):
            self._add_quotes(part, supplier, quotes)
        if whose == ON_RECORD:
            for part in sorted(self.parts):
                self._add_record(part)
        terms = {name: self._terms(supplier) for name, supplier in self.suppliers.items()}
        listed = self.listed
        bidding = Bidding(listed.wants, tuple(self.bids), terms, listed.wholes, listed.shelf)
        return Bids(bidding, self.sources, listed.waiting, tuple(self.left_out))

    def _latest_quotes(self) -> dict[tuple[str, str], list[SupplierQuote]]:
        """The quotes of each supplier's last word on each part, those apart that were ordered or dropped."""
        found: dict[tuple[str, str], list[SupplierQuote]] = defaultdict(list)
        quotes = SupplierQuote.objects.undecided().filter(item__part_number__in=self.parts)
        quotes = quotes.select_related("item", "supplier", "reply_line").prefetch_related("breaks").order_by("pk")
        for quote in quotes:
            words = found[quote.item.part_number, quote.supplier.supplier]
            if words and words[-1].reply_line.reply_id != quote.reply_line.reply_id:
                words.clear()
            words.append(quote)
        return found

    def _add_quotes(self, part: str, supplier: str, quotes: Sequence[SupplierQuote]) -> None:
        """One bid out of the quotes of one reply, which may be deliveries in parts."""
        self.heard.add((part, supplier))
        last = quotes[-1]
        if last.refused:
            self._leave_out(part, supplier, f"does not bid, said on {in_full(last.quoted_on)}")
            return
        priced = [quote for quote in quotes if quote.price_per_pack is not None]
        if not priced:
            self._leave_out(part, supplier, "gave no price")
            return
        first = priced[0]
        mine = [quote for quote in quotes if quote.pack_size == first.pack_size]
        if first.valid_to_on is not None and first.valid_to_on < self.plan.shop.as_of:
            self._leave_out(part, supplier, f"the price lapsed on {in_full(first.valid_to_on)}")
            return
        prices = [(1, first.price_per_pack), *((row.from_packs, row.price_per_pack) for row in first.breaks.all())]
        own = tuple(PackPrice(start, price) for start, price in prices if price is not None)
        steps = self._at_home(part, supplier, first.currency, own)
        if steps is None:
            return
        record = next((q for q in self.reading.quotes(part) if q.supplier == supplier), None)
        by_lead = None if record is None else day_if_ordered_today(self.plan, record)
        like = record if record is not None and record.pack_size == first.pack_size else None
        bid = Bid(
            name=f"quote {first.pk}",
            supplier=supplier,
            part_number=part,
            pack_size=first.pack_size,
            prices=steps,
            deliveries=self._deliveries(part, mine, by_lead),
            minimum_packs=1 if like is None else like.minimum_packs,
            multiple_packs=1 if like is None else like.multiple_packs,
            with_certificate=part in self.certified,
        )
        number = record.supplier_part_number if record is not None else ""
        source = BidSource(
            number,
            own,
            "" if self.rates.is_home(first.currency) else first.currency,
            tuple(map(_quoted_part, sorted(mine, key=lambda quote: quote.promised_on or date.max))),
            first.reply_line.reply_id,
            first.valid_to_on,
            next((quote.alternative for quote in mine if quote.alternative), ""),
            next((quote.note for quote in mine if quote.note), ""),
        )
        self._add(bid, source)

    def _deliveries(self, part: str, quotes: Sequence[SupplierQuote], by_lead: date | None) -> tuple[Delivery, ...]:
        """The days of the parts of a delivery. Who quotes all that is wanted may be asked for more on his last day."""
        wanted = next((want.quantity for want in self.listed.wants if want.part_number == part), 0)
        found, packs = [], 0
        dated = [quote for quote in quotes if quote.quantity is not None]
        for quote in sorted(dated, key=lambda quote: quote.promised_on or date.max):
            packs += (quote.quantity or 0) // quote.pack_size
            found.append(Delivery(packs, quote.promised_on or by_lead))
        if not found:
            return (Delivery(None, by_lead),)
        if packs * quotes[0].pack_size >= wanted:
            found[-1] = Delivery(None, found[-1].arrives_on)
        return tuple(one for one in found if one.up_to_packs != 0)

    def _add_record(self, part: str) -> None:
        """Offers on record of those who have not answered for this part."""
        for quote in self.reading.quotes(part):
            if not quote.supplier or (part, quote.supplier) in self.heard:
                continue
            if quote.expired:
                self._leave_out(part, quote.supplier, "the offer on record has lapsed")
                continue
            abroad = next((step.abroad.currency for step in quote.breaks if step.abroad), "")
            told = [(step.from_packs, step.abroad.price if step.abroad else step.price) for step in quote.breaks]
            own = tuple(PackPrice(start, price) for start, price in told if price is not None)
            if not own or len(own) != len(told):
                self._leave_out(part, quote.supplier, "no price on record")
                continue
            prices = self._at_home(part, quote.supplier, abroad, own)
            if prices is None:
                continue
            bid = Bid(
                name=f"offer {quote.supplier} {quote.supplier_part_number} {quote.pack_size} {part}",
                supplier=quote.supplier,
                part_number=part,
                pack_size=quote.pack_size,
                prices=prices,
                deliveries=(Delivery(None, day_if_ordered_today(self.plan, quote)),),
                minimum_packs=quote.minimum_packs,
                multiple_packs=quote.multiple_packs,
                with_certificate=part in self.certified,
            )
            self._add(bid, BidSource(quote.supplier_part_number, own, abroad))

    def _at_home(
        self, part: str, supplier: str, currency: str, prices: Sequence[PackPrice]
    ) -> tuple[PackPrice, ...] | None:
        """Prices in the shop's money; None, and said so, where no rate serves, so that they cannot be compared."""
        found = [(start, self.rates.in_home(price, currency)) for start, price in prices]
        if any(price is None for _, price in found):
            self._leave_out(part, supplier, f"not compared: no rate for {currency}")
            return None
        return tuple(PackPrice(start, price) for start, price in found if price is not None)

    def _terms(self, supplier: Supplier) -> ChargeRules:
        """What a supplier charges, in the shop's money."""

        def at_home(charge: Decimal | None) -> Decimal | None:
            return None if charge is None else self.rates.in_home(charge, supplier.currency)

        return ChargeRules(
            at_home(supplier.order_minimum_value),
            at_home(supplier.small_order_charge),
            at_home(supplier.certificate_charge),
        )

    def _add(self, bid: Bid, source: BidSource) -> None:
        self.bids.append(bid)
        self.sources[bid.name] = source

    def _leave_out(self, part: str, supplier: str, says: str) -> None:
        if any(want.part_number == part for want in self.listed.wants):
            self.left_out.append(NoBid(part, supplier, says))


def _quoted_part(quote: SupplierQuote) -> QuotedPart:
    packs = None if quote.quantity is None else quote.quantity // quote.pack_size
    return QuotedPart(quote.pk, packs, quote.promised_on)
