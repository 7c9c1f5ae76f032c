"""The lines of the shortage workbook: one for each thing to buy, what is sure apart from what wear may ask for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from bom.explain import PositionGroups, paths_of
from bom.plan import Plan
from bom.reading import ChosenOffer, NextBreak, PurchaseRow, Reading
from bom.structure.units import from_millionths
from kits.catalog.models import Item, Substitute
from kits.planning.lists.buy_lists import above_sure, sure_purchase
from kits.planning.queries import reading_of
from kits.planning.words.why_words import lines_of, part_figures
from kits.planning.words.workings import LEFT_OUT_SAYS

DEEPEST, INDENT = 2, "    "
SURE, TOP_UP, WEAR = "sure", "top-up", "wear"
ADVICE_WORDS = {
    None: "order",
    "decide_after_strip": "decide after the strip-down",
    "only_if_found": "only if found worn: ask first",
}
ASK_FIRST = ADVICE_WORDS["only_if_found"]


@dataclass(frozen=True, slots=True)
class ShortageLine:
    """One thing to buy. Quantities in the stock unit; ``extension`` is the price of the whole line."""

    key: str
    why: str
    buy_as: str
    item: Item
    substitutes: str
    row: dict[str, Any]
    demand: dict[str, Any]
    left_out: str
    left_for_wear: Decimal | None
    chance_enough: float | None
    promises: str
    short: Decimal
    need_on: date | None
    packs: int
    pack_size: Decimal
    minimum_packs: int
    multiple_packs: int
    surplus: Decimal
    supplier: str
    supplier_part_number: str
    price_per_pack: Decimal | None
    extension: Decimal | None
    next_break: NextBreak | None
    lead_days: int | None
    order_by: date | None
    days_late: int
    here_on: date | None
    oldest_cure: str
    advice: str


def say_whose(plan: Plan, answer: dict[str, Any]) -> str:
    """Whose the amounts and totals are, where only some jobs are shown: lines to buy serve the whole shop."""
    return ", for all jobs of the shop" if len(answer["jobs"]) < len(reading_of(plan).jobs) else ""


def shortage_lines(plan: Plan, answer: dict[str, Any], supplier: str | None = None) -> list[ShortageLine]:
    """The lines of the shown part of a plan: sure needs first, then top-ups, then wear, each by part number."""
    reading = reading_of(plan)
    shown = {row["part_number"]: row for row in answer["buy"]}
    bought = [row for row in reading.purchases if row.part_number in shown]
    facts = _Facts(reading, answer, shown)
    lines = [
        *(facts.line(row, SURE, row.short, *_sure(reading, row)) for row in bought if row.short),
        *(
            facts.line(row, TOP_UP, row.top_up, *above_sure(reading, row))
            for row in bought
            if row.top_up and not row.short_wear
        ),
        *(facts.line(row, WEAR, row.short_wear, *above_sure(reading, row)) for row in bought if row.short_wear),
    ]
    return [line for line in lines if supplier is None or line.supplier == supplier]


def _sure(reading: Reading, row: PurchaseRow) -> tuple[int, Decimal | None, ChosenOffer]:
    purchase = sure_purchase(reading, row)
    return purchase.packs, purchase.price, purchase


class _Facts:
    """What the lines say of their items, read once for all of them."""

    def __init__(self, reading: Reading, answer: dict[str, Any], shown: Mapping[str, dict[str, Any]]) -> None:
        self._reading = reading
        self._shown = shown
        self._demand = {row["part_number"]: row for row in answer["demand"]}
        self._items = {
            item.part_number: item for item in Item.objects.filter(part_number__in=shown).select_related("get_as")
        }
        self._substitutes = _substitutes(shown)
        self._promises: dict[str, list[str]] = {}
        for line in sorted(reading.plan.shop.orders, key=lambda line: line.promised):
            text = f"{from_millionths(line.quantity)} on {line.order} line {line.line}, {line.promised.isoformat()}"
            self._promises.setdefault(line.part_number, []).append(text)

    def line(
        self, row: PurchaseRow, why: str, short: int, packs: int, price: Decimal | None, purchase: ChosenOffer
    ) -> ShortageLine:
        """One line; ``packs`` and ``price`` are those of this line alone."""
        number, item = row.part_number, self._items[row.part_number]
        quote = next(
            quote
            for quote in self._reading.quotes(number)
            if (quote.supplier or None, quote.supplier_part_number or None, quote.pack_size)
            == (purchase.supplier, purchase.supplier_part_number, purchase.pack_size)
        )
        surplus, shelf = packs * purchase.pack_size - short, self._reading.shelf_chance(number)
        return ShortageLine(
            key=f"{number} / {why}",
            why=why,
            buy_as=f"in {item.get_as.part_number}" if item.get_as else item.kind,
            item=item,
            substitutes=self._substitutes.get(number, ""),
            row=self._shown[number],
            demand=self._demand.get(number) or self._without_demand(number),
            left_out=self._left_out(number),
            left_for_wear=None if shelf is None or why != WEAR else from_millionths(shelf.left),
            chance_enough=None if shelf is None or why != WEAR else shelf.chance,
            promises="; ".join(self._promises.get(number, ())),
            short=from_millionths(short),
            need_on=row.need_on if why != TOP_UP else None,
            packs=packs,
            pack_size=from_millionths(purchase.pack_size),
            minimum_packs=quote.minimum_packs,
            multiple_packs=quote.multiple_packs,
            surplus=from_millionths(max(0, surplus)),
            supplier=purchase.supplier or "",
            supplier_part_number=purchase.supplier_part_number or "",
            price_per_pack=None if price is None or not packs else (price / packs).quantize(Decimal("0.0001")),
            extension=None if price is None else price.quantize(Decimal("0.01")),
            next_break=purchase.next_break,
            lead_days=purchase.lead_days,
            order_by=row.order_by if why != TOP_UP else None,
            days_late=(row.days_late or 0) if why != TOP_UP else 0,
            here_on=purchase.arrives_on,
            oldest_cure="" if row.oldest_cure is None else str(row.oldest_cure),
            advice=ADVICE_WORDS[row.wear_advice] if why == WEAR else "order",
        )

    def _without_demand(self, number: str) -> dict[str, Any]:
        stock = self._reading.stock_of(number)
        return {
            "sure": 0,
            "passed_down": 0,
            "planned_wear": 0,
            "on_hand": from_millionths(stock.on_hand),
            "on_order": from_millionths(stock.on_order),
        }

    def _left_out(self, number: str) -> str:
        left_out: dict[str, Any] = self._demand.get(number, {}).get("left_out", {})
        return "; ".join(f"{quantity} {LEFT_OUT_SAYS[reason]}" for reason, quantity in left_out.items())


def _substitutes(numbers: Mapping[str, object]) -> dict[str, str]:
    """By part number, what may stand in for it, and who approved it."""
    found: dict[str, list[str]] = {}
    rows = Substitute.objects.values_list(
        "item__part_number", "substitute__part_number", "direction", "approved_by"
    ).order_by("pk")
    for number, substitute, direction, approved_by in rows:
        approved = f" (approved by {approved_by})" if approved_by else " (not approved yet)"
        for own, other in ((number, substitute), (substitute, number))[: 2 if direction == "both" else 1]:
            if own in numbers:
                found.setdefault(own, []).append(f"{other}{approved}")
    return {number: "; ".join(texts) for number, texts in found.items()}


def path_rows(
    plan: Plan, part_numbers: list[str], jobs: set[str]
) -> Iterator[tuple[str, str, str, str, str, str, Decimal]]:
    """How the need of each part comes about, one row for each way through a job."""
    for number, rows in paths_of(plan, part_numbers).items():
        for row in rows:
            if not row.job or row.job in jobs:
                quantity = from_millionths(row.quantity)
                yield number, row.job, row.section, row.at_rebuild, row.kit or "", row.says, quantity


def figure_rows(plan: Plan, part_numbers: list[str]) -> Iterator[tuple[str, str, str, Decimal | None]]:
    """Every figure of each part, taken apart: part, figure, how it comes about, and the amount where it is one."""
    groups = PositionGroups(plan)
    for number in part_numbers:
        for figure in part_figures(plan, number, groups=groups, deepest=DEEPEST):
            for depth, said in lines_of(figure, DEEPEST):
                says = f"{said.label}: {said.figure}{f' {said.sum}' if said.sum else ''}"
                amount = None if said.millionths is None else from_millionths(said.millionths)
                yield number, figure.label, f"{INDENT * depth}{says}", amount


def promised_day(text: str | None) -> date | None:
    """An ISO text as a day."""
    return date.fromisoformat(text) if text else None
