"""What has to be bought: sure needs, top-ups of the safety stock, and wear, each a list with a total of its own."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from bom.answers.rows import everything, late_wear_rows
from bom.reading import Asker, ChosenOffer, PurchaseRow, Reading, ShelfChance, Wear
from bom.values import Item
from kits.catalog.amounts import Amount
from kits.catalog.days.words import words_for_day
from kits.catalog.formats.in_force import formats
from kits.planning.words.abroad import above, in_both
from kits.planning.words.item_names import ItemName
from kits.planning.words.workings import NeedCover
from kits.purchasing.rates.conversion import InBoth

NOTHING = Decimal(0)
MOST_WEAR_LINES = 30
CENT = Decimal("0.01")
ADVICE_SAYS = {
    "order": "Order: it has to be ordered before the pumps are opened",
    "decide_after_strip": "Decide after the strip-down",
    "only_if_found": "Only if found worn: ask first, it cannot be here in time (not in the total)",
    "covered_late": "Covered, but late: call about the orders",
    "covered": "Covered by the shelf and by orders",
}


@dataclass(frozen=True, slots=True)
class ForWhom:
    """Who asks for something: a job, which has a sheet of its own, or another need."""

    name: str
    is_job: bool


@dataclass(frozen=True, slots=True)
class ToBuy:
    """One thing to buy, in packs of the offer chosen. ``over`` is what the packs bring besides.

    ``lasting`` says whether that will be used while it may be, where the list tells it.

    ``abroad`` is the price of an offer in other money, which has no ``price``. ``cover`` is what serves the need of it,
    where the list tells that.
    """

    part_number: str
    what: str
    leads_to: str
    buy_as: str
    short: Amount
    short_here: Amount
    packs: int
    pack_size: Amount
    over: Amount
    supplier: str
    closed: str
    price: Decimal | None
    abroad: InBoth | None
    next_break: str
    need_on: date | None
    order_by: date | None
    days_late: int
    here_on: date | None
    jobs: tuple[ForWhom, ...]
    cover: NeedCover | None
    lasting: str = ""

    @property
    def balance(self) -> str:
        """How the shortage comes about in one line, where the list tells it."""
        return self.cover.says if self.cover else ""


@dataclass(frozen=True, slots=True)
class PricedList:
    """Lines to buy with their total; ``unpriced`` counts the lines without a price in the shop's money.

    ``abroad`` of these are offered in other money at a rate that is known, for ``abroad_total`` in the shop's.
    """

    rows: tuple[ToBuy, ...]
    total: Decimal
    unpriced: int
    abroad: int
    abroad_total: Decimal

    @classmethod
    def of(cls, rows: Sequence[ToBuy]) -> PricedList:
        """These lines with their totals."""
        homes = [row.abroad.home_price for row in rows if row.abroad and row.abroad.home_price is not None]
        unpriced = sum(row.price is None for row in rows)
        return cls(tuple(rows), total_of(row.price for row in rows), unpriced, len(homes), total_of(homes))


@dataclass(frozen=True, slots=True)
class WearRow:
    """A part that may be found worn: what is expected, what would cover it, and the chance that the shelf is enough.

    ``left`` is what the chance is worked out from: what the sure needs leave on lots that live long enough.
    ``sure_lacks`` is what of them the shelf does not serve, which leaves no chance. ``late`` tells of the orders that
    come after the day of need.
    """

    part_number: str
    what: str
    leads_to: str
    positions: Amount
    expected: str
    cover: Amount
    how_sure: str
    published: int | None
    on_hand: Amount
    on_order: Amount
    left: Amount
    sure_lacks: Amount
    chance: str
    late: str
    short: Amount
    packs: int
    pack_size: Amount
    supplier: str
    closed: str
    price: Decimal | None
    abroad: InBoth | None
    next_break: str
    order_by: date | None
    here_on: date | None
    advice: str
    balance: str

    @property
    def advice_says(self) -> str:
        """What to do about it."""
        return ADVICE_SAYS[self.advice]

    @property
    def says(self) -> str:
        """How the shortage comes about, and from whom it is to be had."""
        source = f"from {self.supplier}" + (f", {self.closed}" if self.closed else "") if self.supplier else ""
        lacks = f"the shelf lacks {self.sure_lacks.text} of the sure need" if self.sure_lacks else ""
        return "; ".join(filter(None, (self.balance, lacks, self.late, source)))


@dataclass(frozen=True, slots=True)
class WearList:
    """Wear with a total of its own, by what to do about it; ``ask_first`` cannot arrive in time and stands outside."""

    rows: tuple[WearRow, ...]
    parts: int
    covered: int
    weakest: str
    total: Decimal
    ask_first: Decimal
    unpriced: int


def money(price: Decimal | None) -> Decimal | None:
    """A price in cents."""
    return None if price is None else price.quantize(CENT)


def total_of(prices: Iterable[Decimal | None]) -> Decimal:
    """The sum of the prices that are known."""
    return sum((price for price in prices if price is not None), NOTHING).quantize(CENT)


def sure_purchase(reading: Reading, row: PurchaseRow) -> ChosenOffer:
    """The order for the sure need alone: the row of the plan where nothing else is on it, else a smaller one."""
    return row.purchase if row.net == row.short else reading.choose(row.part_number, row.short, row.need_on)


def sure_list(
    reading: Reading,
    shown: Collection[Asker],
    names: Mapping[str, ItemName],
    told: Mapping[str, NeedCover],
    parts: Collection[str] | None = None,
) -> PricedList:
    """What the sure needs of the shown jobs and other needs lack; the amounts are those of the whole shop."""
    here, missing = frozenset(shown), missing_by_part(reading, shown)
    rows = [
        to_buy(reading, row, sure_purchase(reading, row), row.short, names, missing, told.get(row.part_number))
        for row in reading.purchases
        if row.short and (parts is None or row.part_number in parts) and not here.isdisjoint(row.askers)
    ]
    return PricedList.of(rows)


def missing_by_part(reading: Reading, shown: Iterable[Asker]) -> dict[str, int]:
    """Millionths of each part that the shown jobs and other needs lack, on no order."""
    missing: Counter[str] = Counter()
    for asker in shown:
        for part, lacks in reading.shortfalls.get(asker, {}).items():
            missing[part] += lacks.missing
    return missing


def top_up_list(reading: Reading, names: Mapping[str, ItemName], parts: Collection[str] | None) -> PricedList:
    """Safety stocks that would be broken into, where no order for wear fills them up again."""
    rows = []
    for row in reading.purchases:
        if row.top_up and not row.short_wear and (parts is None or row.part_number in parts):
            extra = beyond_sure(reading, row)
            if extra.packs:
                rows.append(to_buy(reading, row, extra, row.top_up, names))
    return PricedList.of(rows)


def to_buy(
    reading: Reading,
    row: PurchaseRow,
    purchase: ChosenOffer,
    short: int,
    names: Mapping[str, ItemName],
    missing: Mapping[str, int] | None = None,
    cover: NeedCover | None = None,
) -> ToBuy:
    """One line to buy; ``missing`` is what those shown lack of each part."""
    name, part = names[row.part_number], row.part_number
    here = (missing or {}).get(part, 0)
    return ToBuy(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        buy_as=reading.items[part].get_as or "",
        short=name.amount(short),
        short_here=name.amount(here),
        packs=purchase.packs,
        pack_size=name.amount(purchase.pack_size),
        over=name.amount(purchase.order_quantity - short),
        supplier=purchase.supplier or "",
        closed=closed_says(purchase, reading.plan.shop.as_of),
        price=money(purchase.price),
        abroad=in_both(reading.plan, purchase.abroad),
        next_break=next_break_says(purchase),
        need_on=row.need_on,
        order_by=row.order_by,
        days_late=row.days_late or 0,
        here_on=purchase.arrives_on,
        jobs=for_whom(row.askers),
        cover=cover,
    )


def next_break_says(purchase: ChosenOffer) -> str:
    """What an order up to the next price break would cost, where that is less in all."""
    found = purchase.next_break
    return "" if found is None else f"{found.packs} packs would be {money(found.price)}, {money(found.saving)} less"


def closed_says(purchase: ChosenOffer, as_of: date) -> str:
    """When the supplier is closed, unless that is over."""
    first, last = purchase.closed or (None, None)
    if first is None or last is None or last < as_of:
        return ""
    if first == last:
        return f"closed on {words_for_day(first, as_of)}"
    return f"closed from {words_for_day(first, as_of)} to {words_for_day(last, as_of)}"


def for_whom(askers: Iterable[Asker]) -> tuple[ForWhom, ...]:
    """Jobs and other needs by name."""
    found = {asker.name: asker.is_job for asker in askers}
    return tuple(ForWhom(name, found[name]) for name in sorted(found))


def wear_parts(reading: Reading, shown: Collection[Asker]) -> tuple[str, ...]:
    """The parts of which positions are still open in the shown jobs, or that wear of such parts asks for."""
    bought = {row.part_number for row in reading.purchases if row.short_wear}
    return tuple(sorted(reading.worn_in(shown) | {part for part in bought if not reading.is_looked_at(part)}))


def wear_list(reading: Reading, parts: Iterable[str], names: Mapping[str, ItemName]) -> WearList:
    """Wear of these parts over all jobs of the shop: the short ones first, the weakest of them on top."""
    bought = {row.part_number: row for row in reading.purchases}
    found = []
    for part in parts:
        wear, row = reading.wear_of(part), bought.get(part)
        if (wear and wear.planned) or (row and row.short_wear):
            shelf = reading.shelf_chance(part)
            weakest = 2.0 if shelf is None or shelf.chance is None else shelf.chance
            found.append((not (row and row.short_wear), weakest, part, wear, shelf))
    found.sort(key=lambda entry: entry[:3])
    late = late_covers(reading)
    rows = [
        wear_row(reading, names[part], wear, bought.get(part), shelf, late.get(part, ""))
        for _, _, part, wear, shelf in found
    ]
    ordered = [row for row in rows if row.advice in ("order", "decide_after_strip")]
    return WearList(
        rows=tuple(sorted(rows, key=lambda row: list(ADVICE_SAYS).index(row.advice))),
        parts=len(rows),
        covered=sum(not row.short for row in rows),
        weakest=next((row.part_number for row in rows if row.short), ""),
        total=total_of(row.price for row in ordered),
        ask_first=total_of(row.price for row in rows if row.advice == "only_if_found"),
        unpriced=sum(row.price is None for row in ordered),
    )


def wear_row(
    reading: Reading,
    name: ItemName,
    wear: Wear | None,
    row: PurchaseRow | None,
    shelf: ShelfChance | None,
    late: str,
) -> WearRow:
    """One part that may be found worn."""
    part, planned = name.part_number, wear.planned if wear else 0
    short = row.short_wear if row else 0
    purchase = beyond_sure(reading, row) if row and short else None
    held, stock = reading.items[part], reading.stock_of(part)
    return WearRow(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        positions=name.amount(wear.positions if wear else 0),
        expected=formats().number(f"{wear.expected:.2f}".rstrip("0").rstrip(".")) if wear else "",
        cover=name.amount(planned),
        published=reading.published_wear.get(part),
        how_sure=f"{held.how_sure_percent:g} % sure" if held.countable else "expected use",
        on_hand=name.amount(stock.on_hand),
        on_order=name.amount(stock.on_order),
        left=name.amount(shelf.left if shelf else 0),
        sure_lacks=name.amount(shelf.sure_lacks if shelf else 0),
        chance=percent(shelf.chance if shelf else None),
        late=late,
        short=name.amount(short),
        packs=purchase.packs if purchase else 0,
        pack_size=name.amount(purchase.pack_size if purchase else 0),
        supplier=(purchase.supplier or "") if purchase else "",
        closed=closed_says(purchase, reading.plan.shop.as_of) if purchase else "",
        price=money(purchase.price) if purchase else None,
        abroad=in_both(reading.plan, purchase.abroad) if purchase else None,
        next_break=next_break_says(purchase) if purchase else "",
        order_by=row.order_by if row and short else None,
        here_on=purchase.arrives_on if purchase else None,
        advice=(row.wear_advice or "order") if row and short else "covered_late" if late else "covered",
        balance=wear_balance(held, name, planned, short),
    )


def late_covers(reading: Reading) -> dict[str, str]:
    """By part, which orders cover its wear after the day of need, and when they come."""
    as_of, told = reading.plan.shop.as_of, defaultdict(list)
    for row in late_wear_rows(reading.plan, everything(reading.plan)):
        on = words_for_day(date.fromisoformat(row["promised"]), as_of)
        told[row["part_number"]].append(f"{row['order']} on {on}")
    return {part: f"covered late by {' and '.join(orders)}" for part, orders in told.items()}


def above_sure(reading: Reading, row: PurchaseRow) -> tuple[int, Decimal | None, ChosenOffer]:
    """What wear (or a top-up above it) adds to the order for the sure need: packs, price, and the offer."""
    if not row.short:
        return row.purchase.packs, row.purchase.price, row.purchase
    sure = sure_purchase(reading, row)
    packs = row.purchase.packs - sure.packs
    both = row.purchase.price is not None and sure.price is not None
    price = row.purchase.price - sure.price if both and row.purchase.price and sure.price else None
    return packs, price, row.purchase


def beyond_sure(reading: Reading, row: PurchaseRow) -> ChosenOffer:
    """The same as an order of its own: its packs, and its price in whichever money."""
    packs, price, purchase = above_sure(reading, row)
    abroad = purchase.abroad
    if row.short and abroad:
        abroad = above(abroad, sure_purchase(reading, row).abroad)
    return replace(purchase, packs=packs, order_quantity=packs * purchase.pack_size, price=price, abroad=abroad)


def wear_balance(held: Item, name: ItemName, planned: int, short: int) -> str:
    """How the shortage of a wearing part comes about, in one line."""
    sure = f"{held.how_sure_percent:g} % sure" if held.countable else "what is expected"
    served = planned - short
    text = (
        f"{name.amount(planned).text or '0'} to be {sure}"
        if held.countable
        else f"{name.amount(planned).text} expected"
    )
    text += f" − {name.amount(served).text} from the shelf and orders after the sure needs" if served > 0 else ""
    return f"{text} = {name.amount(short).text + ' short' if short else 'nothing short'}"


def wear_lines(reading: Reading, name: ItemName) -> Iterator[str]:
    """What each job may ask of a wearing part: how many positions, and how many in 100 of them are renewed."""
    jobs = reading.wear_in_jobs(name.part_number)
    for wear in jobs[:MOST_WEAR_LINES]:
        parts = [
            f"{name.amount(quantity).text}, of which {round(float(chance) * 100, 1):g} in 100 are renewed"
            for quantity, chance in wear.looked_at
        ]
        spares = f"; the kits bring {name.amount(wear.spares).text} spare" if wear.spares else ""
        yield f"{wear.asker.name}: looked at {' + '.join(parts)}{spares}"
    if len(jobs) > MOST_WEAR_LINES:
        yield f"and {len(jobs) - MOST_WEAR_LINES} jobs that are built later"


def percent(chance: float | None) -> str:
    """A chance in whole per cent; never 0 or 100 unless it is."""
    if chance is None:
        return ""
    if 0 < chance < 0.01:
        return "< 1 %"
    if 0.99 < chance < 1:
        return "> 99 %"
    return f"{chance * 100:.0f} %"
