"""What helps where a part is short: the other numbers it goes by, and what may stand in for it and lies free."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from bom.plan import Plan
from bom.reading import Reading
from kits.catalog.amounts import Amount
from kits.catalog.models import Item, OtherNumber, Substitute
from kits.catalog.words import Direction
from kits.planning.queries import reading_of
from kits.purchasing.ends.queries import ends

ONE_WAY_SAYS = "one way only"


def short_part_notes(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Return, for each part that is to be bought, its other numbers, its end and its substitutes; three statements."""
    reading = reading_of(plan)
    short = [row.part_number for row in reading.purchases]
    notes: dict[str, list[str]] = defaultdict(list)
    numbers: dict[str, list[str]] = defaultdict(list)
    for part, number in OtherNumber.objects.filter(item__part_number__in=short).values_list(
        "item__part_number", "number"
    ):
        numbers[part].append(number)
    for part, known in numbers.items():
        notes[part].append(f"also known as {', '.join(known)}")
    for part, end in ends(short).items():
        notes[part].append(end.says(plan.shop.as_of))
    for part, says in _substitutes(reading, set(short)):
        notes[part].append(says)
    return {part: tuple(says) for part, says in notes.items()}


def _substitutes(reading: Reading, short: set[str]) -> Iterator[tuple[str, str]]:
    """What may stand in for a short part; a one-way substitute never the other way round."""
    for row in Substitute.objects.select_related("item", "substitute").order_by("pk"):
        if row.item.part_number in short:
            yield row.item.part_number, _says(reading, row.substitute, row)
        if row.direction == Direction.BOTH and row.substitute.part_number in short:
            yield row.substitute.part_number, _says(reading, row.item, row)


def _says(reading: Reading, other: Item, row: Substitute) -> str:
    free = Amount.of(reading.unclaimed(other.part_number), other.stock_unit)
    here = f"{free.text} free here" if free else "none here is free"
    ways = f", {ONE_WAY_SAYS}" if row.direction == Direction.ONE_WAY else ""
    note = f" ({row.note})" if row.note else ""
    return f"{other.part_number} may stand in{ways}{note}: {here}"
