"""The desk at the door: what is expected, and what to know of a part before its delivery is written down."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q

from kits.catalog.amounts import Amount
from kits.catalog.days.words import least_life, span_of
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job
from kits.stock.models import Balance, Place
from kits.stock.words import Condition


@dataclass(frozen=True, slots=True)
class ExpectedRow:
    """One open order line; ``late`` says that its promise has passed."""

    pk: int
    order: str
    line: str
    supplier: str
    part_number: str
    item_kind: str
    what: str
    quantity: Amount
    promised_on: date
    late: bool


@dataclass(frozen=True, slots=True)
class DeskSheet:
    """What the clerk needs to know to receive a part: what is asked of its lots and where they go."""

    item: Item
    line: OrderLine | None
    still_to_come: Amount | None
    home: Place | None
    asked: tuple[str, ...]
    lies: tuple[tuple[str, str, Amount], ...]
    needs_date: bool
    customers: tuple[str, ...]

    @property
    def shows(self) -> tuple[object, ...]:
        """What stands before whoever takes a delivery in: the order line, and what is still to come on it."""
        return self.line and self.line.pk, self.still_to_come and self.still_to_come.millionths


def expected_rows(*, today: date, words: str = "") -> list[ExpectedRow]:
    """Open order lines whose order, part or supplier holds all the words, the longest promised first; one statement."""
    lines = OrderLine.objects.open().values_list(
        "pk",
        "order",
        "line",
        "supplier__supplier",
        "item__part_number",
        "item__kind",
        "item__description",
        "quantity",
        "item__stock_unit",
        "promised_on",
    )
    rows = [
        ExpectedRow(*row[:7], quantity=Amount.of(row[7], row[8]), promised_on=row[9], late=row[9] < today)
        for row in lines
    ]
    return [row for row in rows if all(fold(word) in _text(row) for word in words.split())]


def expected_counts(*, today: date) -> tuple[int, int]:
    """How many order lines are promised for today, and how many are overdue; one statement."""
    found = OrderLine.objects.open().aggregate(
        due=Count("pk", filter=Q(promised_on=today)), late=Count("pk", filter=Q(promised_on__lt=today))
    )
    return found["due"], found["late"]


def desk_sheet(item: Item, line: OrderLine | None) -> DeskSheet:
    """What to know of a part that comes in; three statements."""
    lots = (
        Balance.objects.on_shelf()
        .filter(lot__item=item, quantity__gt=0, condition=Condition.USABLE)
        .select_related("lot", "place")
        .order_by("lot__folded", "id")
    )
    return DeskSheet(
        item=item,
        line=line,
        still_to_come=Amount.of(line.quantity, item.stock_unit) if line else None,
        home=Place.objects.by_name(item.home_place) if item.home_place else None,
        asked=tuple(_asked(item)),
        lies=tuple(
            (one.lot.lot, one.place.place if one.place else "", Amount.of(one.quantity, item.stock_unit))
            for one in lots
        ),
        needs_date=item.shelf_life_months is not None,
        customers=tuple(sorted({name.strip() for name in Job.objects.values_list("customer", flat=True)} - {""})),
    )


def find_line(pk: int) -> OrderLine | None:
    """One order line with its part and supplier, or None."""
    return OrderLine.objects.select_related("item", "supplier").filter(pk=pk).first()


def _asked(item: Item) -> list[str]:
    months, least = item.shelf_life_months, least_life(item.min_life_at_receipt)
    return [
        *([f"Shelf life {span_of(months)}"] if months else []),
        *(["A cure date or a use-by date has to be on the bag"] if months else []),
        *([f"At least {least} of life left at receipt"] if least else []),
        *(["A certificate has to come with it"] if item.certificate_needed else []),
        *([f"Material {item.material}" + (f", {item.hardness}" if item.hardness else "")] if item.material else []),
    ]


def _text(row: ExpectedRow) -> str:
    return fold(f"{row.order} {row.line} {row.supplier} {row.part_number} {row.what}")
