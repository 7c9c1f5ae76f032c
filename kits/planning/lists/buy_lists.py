"""What has to be bought: sure needs, top-ups of the safety stock, and wear, each a list with a total of its own."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from bom.answers.rows import everything, late_wear_rows
from bom.answers.shelf_chance import ShelfChance, shelf_chance
from bom.buying.order_size import Purchase
from bom.buying.purchases import BuyRow
from bom.questions.wear_outlook import published_rounding
from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.day_words import words_for_day
from kits.planning.lists.plan_reading import PlanReading, day_of
from kits.planning.words.item_names import ItemName
from kits.planning.words.workings import Working

NOTHING = Decimal(0)
MOST_WEAR_LINES = 30
CENT = Decimal("0.01")
ADVICE_SAYS = {
    "order": "Order: it has to be ordered before the pumps are opened",
    "decide_after_strip": "Decide after the strip-down",
    "only_if_found": "Only if found worn: ask first, it cannot be here in time (not in the total)",
    "covered_late": "Covered, but late: ring about the orders",
    "covered": "Covered by the shelf and by orders",
}


@dataclass(frozen=True, slots=True)
class Asker:
    """Who asks for something: a job, which has a sheet of its own, or another need."""

    name: str
    is_job: bool


@dataclass(frozen=True, slots=True)
class ToBuy:
    """One thing to buy, in packs of the offer chosen. ``over`` is what the packs bring besides."""

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
    next_break: str
    need_on: date | None
    order_by: date | None
    days_late: int
    here_on: date | None
    jobs: tuple[Asker, ...]
    working: Working | None


@dataclass(frozen=True, slots=True)
class BuyList:
    """Lines to buy with their total; ``unpriced`` counts the lines that no offer gives a price for."""

    rows: tuple[ToBuy, ...]
    total: Decimal
    unpriced: int


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
    next_break: str
    order_by: date | None
    here_on: date | None
    advice: str
    balance: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WearGroup:
    """Rows with the same advice."""

    advice: str
    says: str
    rows: tuple[WearRow, ...]


@dataclass(frozen=True, slots=True)
class WearList:
    """Wear with a total of its own; ``ask_first`` is what cannot arrive in time and stands outside the total."""

    groups: tuple[WearGroup, ...]
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


def sure_purchase(reading: PlanReading, row: BuyRow) -> Purchase:
    """The order for the sure need alone: the row of the plan where nothing else is on it, else a smaller one."""
    return row.purchase if row.net == row.short else reading.plan.book.choose(row.item, row.short, row.need_on)


def sure_list(
    reading: PlanReading,
    shown: Collection[int],
    names: Mapping[str, ItemName],
    workings: Mapping[int, Working],
    items: Collection[int] | None = None,
) -> BuyList:
    """What the sure needs of the shown jobs and other needs lack; the amounts are those of the whole shop."""
    rows = [
        to_buy(reading, row, sure_purchase(reading, row), row.short, shown, names, workings.get(row.item))
        for row in reading.plan.buy
        if row.short and not set(row.jobs).isdisjoint(shown) and (items is None or row.item in items)
    ]
    return BuyList(tuple(rows), total_of(row.price for row in rows), sum(row.price is None for row in rows))


def top_up_list(reading: PlanReading, names: Mapping[str, ItemName], items: Collection[int] | None) -> BuyList:
    """Safety stocks that would be broken into, where no order for wear fills them up again."""
    rows = []
    for row in reading.plan.buy:
        if row.top_up and not row.short_wear and (items is None or row.item in items):
            packs, price, purchase = above_sure(reading, row)
            if packs:
                extra = replace(purchase, packs=packs, order_quantity=packs * purchase.pack_size, price=price)
                rows.append(to_buy(reading, row, extra, row.top_up, (), names, None))
    return BuyList(tuple(rows), total_of(row.price for row in rows), sum(row.price is None for row in rows))


def to_buy(
    reading: PlanReading,
    row: BuyRow,
    purchase: Purchase,
    short: int,
    shown: Collection[int],
    names: Mapping[str, ItemName],
    working: Working | None,
) -> ToBuy:
    """One line to buy."""
    name = names[reading.part_number(row.item)]
    here = sum(shortfalls[row.item].missing for n in shown if row.item in (shortfalls := reading.shortfalls.get(n, {})))
    get_as = reading.structure.items[row.item].get_as
    return ToBuy(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        buy_as=get_as or "",
        short=name.amount(short),
        short_here=name.amount(here),
        packs=purchase.packs,
        pack_size=name.amount(purchase.pack_size),
        over=name.amount(purchase.order_quantity - short),
        supplier=purchase.supplier or "",
        closed=closed_says(purchase, reading.plan.shop.as_of),
        price=money(purchase.price),
        next_break=next_break_says(purchase),
        need_on=day_of(row.need_on),
        order_by=day_of(row.order_by),
        days_late=row.days_late or 0,
        here_on=day_of(purchase.arrives_on),
        jobs=askers_named(reading, row.jobs),
        working=working,
    )


def next_break_says(purchase: Purchase) -> str:
    """What an order up to the next price break would cost, where that is less in all."""
    found = purchase.next_break
    return "" if found is None else f"{found.packs} packs would be {money(found.price)}, {money(found.saving)} less"


def closed_says(purchase: Purchase, as_of: date) -> str:
    """When the supplier is closed, unless that is over."""
    first, last = (purchase.lead and purchase.lead.closed) or (None, None)
    if first is None or last is None or last < as_of:
        return ""
    if first == last:
        return f"closed on {words_for_day(first, as_of)}"
    return f"closed from {words_for_day(first, as_of)} to {words_for_day(last, as_of)}"


def askers_named(reading: PlanReading, numbers: Iterable[int]) -> tuple[Asker, ...]:
    """Jobs and other needs by name."""
    found = {reading.askers[n].name: reading.askers[n].job is not None for n in numbers}
    return tuple(Asker(name, found[name]) for name in sorted(found))


def wear_items(reading: PlanReading, shown: Collection[int]) -> tuple[int, ...]:
    """The items of which positions are still open in the shown jobs, or that wear of such items asks for."""
    own = {item for item, jobs in reading.plan.demand.wear.items() if any(wear.job in shown for wear in jobs)}
    bought = {row.item for row in reading.plan.buy if row.short_wear and row.item not in reading.plan.demand.wear}
    return tuple(sorted(own | bought, key=lambda item: reading.part_number(item)))


def wear_list(reading: PlanReading, items: Iterable[int], names: Mapping[str, ItemName]) -> WearList:
    """Wear of these items over all jobs of the shop: the short ones first, the weakest of them on top."""
    bought = {row.item: row for row in reading.plan.buy}
    found, published = [], published_rounding(reading.plan)
    for item in items:
        planned = sum(reading.plan.netting.covers[item].planned) if item in reading.plan.netting.covers else 0
        row = bought.get(item)
        if planned or (row and row.short_wear):
            shelf = shelf_chance(reading.plan, item)
            weakest = 2.0 if shelf is None or shelf.chance is None else shelf.chance
            found.append((not (row and row.short_wear), weakest, item, planned, shelf))
    found.sort(key=lambda entry: (entry[0], entry[1], reading.part_number(entry[2])))
    late = late_covers(reading)
    rows = [
        wear_row(reading, item, planned, names, bought.get(item), shelf, published.get(item), late.get(item, ""))
        for _, _, item, planned, shelf in found
    ]
    ordered = [row for row in rows if row.advice in ("order", "decide_after_strip")]
    return WearList(
        groups=tuple(
            WearGroup(advice, says, tuple(of_group))
            for advice, says in ADVICE_SAYS.items()
            if (of_group := [row for row in rows if row.advice == advice])
        ),
        parts=len(rows),
        covered=sum(not row.short for row in rows),
        weakest=next((row.part_number for row in rows if row.short), ""),
        total=total_of(row.price for row in ordered),
        ask_first=total_of(row.price for row in rows if row.advice == "only_if_found"),
        unpriced=sum(row.price is None for row in ordered),
    )


def wear_row(
    reading: PlanReading,
    item: int,
    planned: int,
    names: Mapping[str, ItemName],
    row: BuyRow | None,
    shelf: ShelfChance | None,
    published: int | None,
    late: str,
) -> WearRow:
    """One part that may be found worn."""
    name = names[reading.part_number(item)]
    cover = reading.plan.netting.covers.get(item)
    short = row.short_wear if row else 0
    packs, price, purchase = above_sure(reading, row) if row and short else (0, None, None)
    held = reading.structure.items[item]
    return WearRow(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        positions=name.amount(cover.positions if cover else 0),
        expected=f"{cover.expected:.2f}".rstrip("0").rstrip(".") if cover else "",
        cover=name.amount(planned),
        published=published,
        how_sure=f"{held.how_sure_percent:g} % sure" if held.countable else "expected use",
        on_hand=name.amount(reading.plan.supplies.on_hand[item]),
        on_order=name.amount(reading.plan.supplies.on_order[item]),
        left=name.amount(shelf.left if shelf else 0),
        sure_lacks=name.amount(shelf.sure_lacks if shelf else 0),
        chance=percent(shelf.chance if shelf else None),
        late=late,
        short=name.amount(short),
        packs=packs,
        pack_size=name.amount(purchase.pack_size if purchase else 0),
        supplier=(purchase.supplier or "") if purchase else "",
        closed=closed_says(purchase, reading.plan.shop.as_of) if purchase else "",
        price=money(price),
        next_break=next_break_says(purchase) if purchase else "",
        order_by=day_of(row.order_by) if row and short else None,
        here_on=day_of(purchase.arrives_on) if purchase else None,
        advice=(row.wear_advice or "order") if row and short else "covered_late" if late else "covered",
        balance=wear_balance(reading, item, name, planned, short),
        lines=tuple(wear_lines(reading, item, name)),
    )


def late_covers(reading: PlanReading) -> dict[int, str]:
    """By item, which orders cover its wear after the day of need, and when they come."""
    as_of, told = reading.plan.shop.as_of, defaultdict(list)
    for row in late_wear_rows(reading.plan, everything(reading.plan)):
        on = words_for_day(date.fromisoformat(row["promised"]), as_of)
        told[reading.structure.index[row["part_number"]]].append(f"{row['order']} on {on}")
    return {item: f"covered late by {' and '.join(orders)}" for item, orders in told.items()}


def above_sure(reading: PlanReading, row: BuyRow) -> tuple[int, Decimal | None, Purchase]:
    """What wear (or a top-up above it) adds to the order for the sure need: packs, price, and the offer."""
    if not row.short:
        return row.purchase.packs, row.purchase.price, row.purchase
    sure = sure_purchase(reading, row)
    packs = row.purchase.packs - sure.packs
    both = row.purchase.price is not None and sure.price is not None
    price = row.purchase.price - sure.price if both and row.purchase.price and sure.price else None
    return packs, price, row.purchase


def wear_balance(reading: PlanReading, item: int, name: ItemName, planned: int, short: int) -> str:
    """How the shortage of a wearing part comes about, in one line."""
    held = reading.structure.items[item]
    sure = f"{held.how_sure_percent:g} % sure" if held.countable else "what is expected"
    served = planned - short
    text = (
        f"{name.amount(planned).text or '0'} to be {sure}"
        if held.countable
        else f"{name.amount(planned).text} expected"
    )
    text += f" − {name.amount(served).text} from the shelf and orders after the sure needs" if served > 0 else ""
    return f"{text} = {name.amount(short).text + ' short' if short else 'nothing short'}"


def wear_lines(reading: PlanReading, item: int, name: ItemName) -> Iterator[str]:
    """What each job may ask of a wearing part: how many positions, and how many in 100 of them are renewed."""
    countable = reading.structure.items[item].countable
    jobs = sorted(reading.plan.demand.wear.get(item, ()), key=lambda wear: (wear.day, wear.job))
    for wear in jobs[:MOST_WEAR_LINES]:
        parts = [
            f"{name.amount(chance.count * chance.weight * (ONE if countable else 1)).text}, of which "
            f"{round(float(chance.p) * 100, 1):g} in 100 are renewed"
            for chance in wear.chances
        ]
        spares = (
            f"; the kits bring {wear.spares if countable else name.amount(wear.spares).text} spare"
            if wear.spares
            else ""
        )
        yield f"{reading.askers[wear.job].name}: looked at {' + '.join(parts)}{spares}"
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
