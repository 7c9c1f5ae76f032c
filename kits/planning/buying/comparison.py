"""Quotes compared: the cheapest set over the whole list beside the plain choice, and part by part who offers what."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.buying.charges import ChargeRules, order_total
from bom.plan import Plan
from bom.questions.bids.cheapest_set import cheapest_set
from bom.questions.bids.costs import costs_of as costs_by_supplier
from bom.questions.bids.costs import days_late, lines_of
from bom.questions.bids.values import Bid, CheapestSet, Choice, ChosenPacks, Want
from kits.catalog.amounts import Amount, price_text
from kits.catalog.caching.progress import report
from kits.catalog.days.words import in_full
from kits.catalog.models import Item
from kits.planning.buying.bids import Bids, BidSource, NoBid, QuotedPart, read_bids
from kits.planning.buying.pace import over_of, over_says, paces
from kits.planning.keeping.begun import Begun
from kits.planning.queries import begun_beside
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.states import plural
from kits.purchasing.models import Supplier
from kits.purchasing.orders.writes import DraftLine

SECONDS = 5.0
CENT = Decimal("0.01")
LEAST_LATE, NONE_LATE = "least", "none"


@dataclass(frozen=True, slots=True)
class SetLine:
    """One line of the cheapest set: what to order of whom. ``name`` tells it from the others in a form."""

    name: str
    part_number: str
    what: str
    leads_to: str
    supplier: str
    supplier_part_number: str
    packs: int
    pack_size: Amount
    pack_millionths: int
    quantity: Amount
    price_per_pack: Decimal
    price_says: str
    own_price: Decimal
    currency: str
    price: Decimal
    charges: Decimal
    landed: Decimal
    arrives_on: date | None
    need_on: date | None
    late: int
    late_jobs: tuple[str, ...]
    over: str
    source: str
    quotes: tuple[QuotedPart, ...]
    reply: int | None


@dataclass(frozen=True, slots=True)
class CostRow:
    """What one supplier's part costs, in the cheapest set and line by line."""

    supplier: str
    lines: int
    parts: Decimal
    small_order: Decimal
    certificates: Decimal
    total: Decimal
    plain_total: Decimal | None


@dataclass(frozen=True, slots=True)
class BidRow:
    """One bid for a part, or a supplier who makes none; ``chosen`` says that the cheapest set takes of it."""

    part_number: str
    what: str
    leads_to: str
    wanted: Amount
    need_on: date | None
    supplier: str
    packs: int | None
    pack_size: Amount | None
    price_per_pack: Decimal | None
    price_says: str
    price: Decimal | None
    charges: Decimal | None
    landed: Decimal | None
    landed_each: str
    arrives_on: date | None
    late: int | None
    late_jobs: tuple[str, ...]
    over: str
    says: str
    reply: int | None
    chosen: bool


@dataclass(frozen=True, slots=True)
class QuoteComparison:
    """The cheapest set with its costs, everything that was compared, and what is to be known of it."""

    says: str
    follows: tuple[str, ...]
    lines: tuple[SetLine, ...]
    costs: tuple[CostRow, ...]
    total: Decimal
    plain_total: Decimal
    saved: Decimal
    bids: tuple[BidRow, ...]
    wanted: int
    answered: int


def begin_comparison(
    plan: Plan, whose: str, late: str, *, patience: float | None = None, latest: bool = False
) -> Begun[QuoteComparison]:
    """What everybody offers for what is to be ordered, as far as it is worked out; once for each plan."""
    name = f"quotes compared, {whose}, {late}"
    return begun_beside(plan, name, lambda: _Comparing(plan, whose, late).done(), patience=patience, latest=latest)


class _Comparing:
    """Puts a comparison together."""

    def __init__(self, plan: Plan, whose: str, late: str) -> None:
        self.plan, self.today = plan, plan.shop.as_of
        report("Reading what everybody offers")
        self.bids: Bids = read_bids(plan, whose)
        report(f"Looking for the cheapest set, {SECONDS:g} seconds at most for each step")
        self.found: CheapestSet = cheapest_set(
            self.bids.bidding, plan.calendar, late_forbidden=late == NONE_LATE, seconds=SECONDS
        )
        self.wants: dict[str, Want] = {want.part_number: want for want in self.bids.bidding.wants}
        numbers = {*self.wants, *(bid.part_number for bid in self.bids.bidding.bids)}
        self.names: dict[str, ItemName] = item_names(numbers)
        self.paces = paces(self.wants, self.today)
        self.late_forbidden = late == NONE_LATE

    def done(self) -> QuoteComparison:
        """All of it."""
        choice, plain = self.found.choice, self.found.plain
        says, saved = self._says()
        return QuoteComparison(
            says=says,
            follows=tuple(self._follows()),
            lines=self._lines(choice),
            costs=self._costs(choice, plain),
            total=choice.total,
            plain_total=plain.total,
            saved=saved,
            bids=self._rows(),
            wanted=len(self.wants),
            answered=len({bid.part_number for bid in self.bids.bidding.bids} & self.wants.keys()),
        )

    def _says(self) -> tuple[str, Decimal]:
        """The sentence that answers: what the set costs, and what it saves against choosing line by line."""
        choice, plain = self.found.choice, self.found.plain
        if not choice.lines:
            return "No bid can be compared.", Decimal(0)
        saved = plain.total - choice.total
        costs = f"The cheapest set costs {price_text(choice.total.quantize(CENT))}, charges included"
        alike = choice.missing == plain.missing and choice.late == plain.late
        if plain.refused or not alike:
            return f"{costs}.", Decimal(0)
        if saved <= 0:
            return f"{costs}: the lowest price line by line is the cheapest set as well.", Decimal(0)
        return f"{costs}: {price_text(saved.quantize(CENT))} less than the lowest price line by line.", saved

    def _follows(self) -> list[str]:
        """What is to be known besides."""
        found, choice, plain = self.found, self.found.choice, self.found.plain
        told = []
        if not found.is_proved and choice.lines:
            gap = "how much is not known" if found.gap is None else f"at most {price_text(found.gap)}"
            told.append(f"The search was cut off after its time: a better set might save, {gap}.")
        if plain.refused:
            told.append(f"Line by line, {' and '.join(plain.refused)} would not take the order: below the minimum.")
        elif (choice.missing, choice.late) != (plain.missing, plain.late) and choice.lines:
            told.append(
                f"Line by line it would cost {price_text(plain.total.quantize(CENT))}, with "
                f"{plural(len(plain.missing), 'part')} without a bid and {len(plain.late)} late."
            )
        if choice.late:
            told.append(f"Late in any case: {', '.join(sorted(choice.late))}.")
        if choice.missing:
            why = "without a bid, or without one in time" if self.late_forbidden else "without a bid that is enough"
            told.append(f"{len(choice.missing)} of {plural(len(self.wants), 'part')} {why}.")
        told += [f"Put together here: {count} × {kit}." for kit, count in sorted(found.made.items())]
        told += [f"Bought to be taken apart: {count} × {kit}." for kit, count in sorted(found.opened.items())]
        return told

    def _lines(self, choice: Choice) -> tuple[SetLine, ...]:
        over = self._over_of_set(choice)
        return tuple(self._line(line, over) for line in choice.lines)

    def _line(self, line: ChosenPacks, over: Mapping[str, str]) -> SetLine:
        bid, name = line.bid, self.names[line.bid.part_number]
        source, want = self.bids.sources[bid.name], self.wants.get(bid.part_number)
        return SetLine(
            name=bid.name,
            part_number=bid.part_number,
            what=name.what,
            leads_to=name.leads_to,
            supplier=bid.supplier,
            supplier_part_number=source.supplier_part_number,
            packs=line.packs,
            pack_size=name.amount(bid.pack_size),
            pack_millionths=bid.pack_size,
            quantity=name.amount(bid.pack_size * line.packs),
            price_per_pack=bid.price_for(line.packs),
            price_says=price_text(bid.price_for(line.packs)),
            own_price=source.price_for(line.packs),
            currency=source.currency,
            price=line.price,
            charges=line.charges,
            landed=line.landed,
            arrives_on=line.arrives_on,
            need_on=None if want is None else want.need_on,
            late=0 if want is None else days_late(want, bid, line.packs, self.plan.calendar),
            late_jobs=self._late_jobs(bid.part_number, line.arrives_on),
            over=over.get(bid.part_number, ""),
            source=_source_says(source),
            quotes=source.quotes,
            reply=source.reply,
        )

    def _over_of_set(self, choice: Choice) -> dict[str, str]:
        """What the packs of the set bring beyond the need and the kits that are put together, part by part."""
        have: dict[str, int] = defaultdict(int)
        last: dict[str, date | None] = {}
        for line in choice.lines:
            have[line.bid.part_number] += line.packs * line.bid.pack_size
            last[line.bid.part_number] = line.arrives_on
        for part, quantity in self._into_kits().items():
            have[part] -= max(0, quantity - self.bids.bidding.shelf.get(part, 0))
        return {
            part: self._over(self.wants[part], quantity, last[part])
            for part, quantity in have.items()
            if part in self.wants and part in last and part not in self.found.opened
        }

    def _into_kits(self) -> dict[str, int]:
        """What goes into kits that the set puts together, by part."""
        into: dict[str, int] = defaultdict(int)
        for held in self.bids.bidding.wholes:
            for part, each in held.inside.items():
                into[part] += each * self.found.made.get(held.whole, 0)
        return into

    def _over(self, want: Want, quantity: int, arrives_on: date | None) -> str:
        """What so many bring beyond the need, and whether it will be used while it may be."""
        pace, beyond = self.paces[want.part_number], max(0, quantity - want.quantity)
        return over_says(pace, over_of(pace, beyond, arrives_on, want.need_on, self.today), self.today)

    def _costs(self, choice: Choice, plain: Choice) -> tuple[CostRow, ...]:
        by_line = {one.supplier: one.order for one in plain.suppliers}
        ours = {one.supplier: one.order for one in choice.suppliers}
        counts = Counter(line.bid.supplier for line in choice.lines)
        nothing, rows = order_total([], 0, ChargeRules()), []
        for name in sorted({*ours, *by_line}):
            order, plain_total = ours.get(name, nothing), by_line[name].total if name in by_line else None
            charges = order.small_order, order.certificates
            rows.append(CostRow(name, counts[name], order.goods, *charges, order.total, plain_total))
        return tuple(rows)

    def _rows(self) -> tuple[BidRow, ...]:
        """Each bid for each part, the cheapest at our door on top, then those who make none.

        The charges of a supplier are spread as if he got every line that he bids for.
        """
        shares = self._shares()
        rows = []
        takes = {line.bid.name for line in self.found.choice.lines}
        for part, want in self.wants.items():
            mine = [bid for bid in self.bids.bidding.bids if bid.part_number == part]
            made = [self._row(want, bid, shares, bid.name in takes) for bid in mine]
            rows += sorted(made, key=lambda row: (row.landed is None, row.landed or 0, row.supplier))
            rows += [self._silent(want, one) for one in self.bids.left_out if one.part_number == part]
            if not mine and not any(one.part_number == part for one in self.bids.left_out):
                rows.append(self._silent(want, NoBid(part, "", "nobody has answered")))
        return tuple(rows)

    def _shares(self) -> dict[str, ChosenPacks]:
        """What each bid costs in an order of everything that its supplier bids for."""
        taken: dict[Bid, int] = {}
        for bid in self.bids.bidding.bids:
            want = self.wants.get(bid.part_number)
            packs = None if want is None else bid.packs_for(want.quantity)
            if packs is not None:
                taken[bid] = packs
        terms = self.bids.bidding.terms
        return {line.bid.name: line for line in lines_of(taken, costs_by_supplier(taken, terms), terms)}

    def _row(self, want: Want, bid: Bid, shares: Mapping[str, ChosenPacks], chosen: bool) -> BidRow:
        name, source = self.names[want.part_number], self.bids.sources[bid.name]
        line = shares.get(bid.name)
        most = bid.deliveries[-1].up_to_packs
        packs = line.packs if line is not None else most
        arrives_on = bid.arrives_on(packs or 1)
        each = None
        if line is not None:
            each = line.landed * 10**6 / (line.packs * bid.pack_size)
        says = [_source_says(source)]
        if source.currency:
            says.append(f"{price_text(source.price_for(packs or 1))} {source.currency} a pack")
        if line is None:
            says.append("not enough for all that is wanted")
        if source.valid_to is not None:
            says.append(f"holds until {in_full(source.valid_to)}")
        if source.alternative:
            says.append(f"offered as {source.alternative}")
        return BidRow(
            part_number=want.part_number,
            what=name.what,
            leads_to=name.leads_to,
            wanted=name.amount(want.quantity),
            need_on=want.need_on,
            supplier=bid.supplier,
            packs=packs,
            pack_size=name.amount(bid.pack_size),
            price_per_pack=bid.price_for(packs or 1),
            price_says=price_text(bid.price_for(packs or 1)),
            price=None if line is None else line.price,
            charges=None if line is None else line.charges,
            landed=None if line is None else line.landed,
            landed_each="" if each is None else price_text(each.quantize(CENT if each >= 1 else Decimal("0.0001"))),
            arrives_on=arrives_on,
            late=days_late(want, bid, packs or 1, self.plan.calendar),
            late_jobs=self._late_jobs(want.part_number, arrives_on),
            over="" if packs is None else self._over(want, packs * bid.pack_size, arrives_on),
            says="; ".join(says),
            reply=source.reply,
            chosen=chosen,
        )

    def _silent(self, want: Want, who: NoBid) -> BidRow:
        name = self.names[want.part_number]
        return BidRow(
            part_number=want.part_number,
            what=name.what,
            leads_to=name.leads_to,
            wanted=name.amount(want.quantity),
            need_on=want.need_on,
            supplier=who.supplier,
            packs=None,
            pack_size=None,
            price_per_pack=None,
            price_says="",
            price=None,
            charges=None,
            landed=None,
            landed_each="",
            arrives_on=None,
            late=None,
            late_jobs=(),
            over="",
            says=who.says,
            reply=None,
            chosen=False,
        )

    def _late_jobs(self, part: str, arrives_on: date | None) -> tuple[str, ...]:
        """The jobs whose day of need comes before a delivery."""
        waiting = self.bids.waiting.get(part, ())
        return tuple(one.name for one in waiting if arrives_on is None or one.need_on < arrives_on)


def _source_says(source: BidSource) -> str:
    return "quoted" if source.quotes else "on record"


def chosen_lines(comparison: QuoteComparison, names: Collection[str], today: date) -> list[DraftLine]:
    """What was chosen of the cheapest set, as lines to draft orders from; deliveries in parts are a line each."""
    taken = [line for line in comparison.lines if line.name in names]
    items = {item.part_number: item for item in Item.objects.filter(part_number__in={one.part_number for one in taken})}
    suppliers = {one.supplier: one for one in Supplier.objects.filter(supplier__in={line.supplier for line in taken})}
    return [
        DraftLine(
            supplier=suppliers[line.supplier],
            item=items[line.part_number],
            packs=packs,
            pack_size=line.pack_millionths,
            wanted_on=max(today, day or line.arrives_on or line.need_on or today),
            price_per_pack=line.own_price,
            currency=line.currency,
            supplier_part_number=line.supplier_part_number,
            quote_id=quote,
        )
        for line in taken
        for packs, day, quote in _parts_of(line)
    ]


def _parts_of(line: SetLine) -> list[tuple[int, date | None, int | None]]:
    """The packs of a line by delivery, with the quote that each follows; the last takes what is left."""
    left = line.packs
    found: list[tuple[int, date | None, int | None]] = []
    for place, quote in enumerate(line.quotes, start=1):
        packs = left if quote.packs is None or place == len(line.quotes) else min(left, quote.packs)
        if packs:
            found.append((packs, quote.promised_on, quote.pk))
        left -= packs
    return found or [(line.packs, line.arrives_on, None)]
