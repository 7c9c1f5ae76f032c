"""What frees most jobs of one sheet: single parts, and pairs that free more together than apart."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.questions.feasible import Freeing, FreeingPurchase, Release
from kits.catalog.day_words import words_for_day
from kits.planning.lists.buy_lists import Asker, money
from kits.planning.words.item_names import ItemName
from kits.planning.words.row_figures import RowFigures
from kits.planning.words.why_words import Said


@dataclass(frozen=True, slots=True)
class FreeingPart:
    """A part that holds jobs, and what is to be done about it."""

    part_number: str
    what: str
    leads_to: str
    to_do: str


@dataclass(frozen=True, slots=True)
class Frees:
    """One part, or two together, and the jobs of the sheet that wait for nothing else.

    ``in_time`` of them can still be built on their day; ``price`` is that of all that is to be bought of the parts.
    """

    parts: tuple[FreeingPart, ...]
    jobs: tuple[Asker, ...]
    in_time: int
    price: Decimal | None
    figures: tuple[Said, ...]


def releases_for(freeing: Freeing, shown: Iterable[str]) -> list[Release]:
    """The rows that free a job of the sheet, most jobs first; a pair only where some job needs both of it."""
    here = set(shown)
    singles = [row for row in freeing.singles if here.intersection(row.jobs)]
    pairs = [row for row in freeing.pairs if here.intersection(row.only_together)]
    singles.sort(key=lambda row: (-len(here.intersection(row.jobs)), row.price or Decimal(0), row.part_numbers))
    return singles + pairs


def freeing_numbers(releases: Iterable[Release]) -> Iterator[str]:
    """The parts whose names are needed."""
    for row in releases:
        yield from row.part_numbers


def frees_rows(
    releases: Iterable[Release],
    shown: Iterable[str],
    names: Mapping[str, ItemName],
    worked_out: RowFigures,
    as_of: date,
) -> tuple[Frees, ...]:
    """The rows as they are shown, with the jobs of the sheet only."""
    here = set(shown)
    return tuple(
        Frees(
            parts=tuple(freeing_part(purchase, names[purchase.part_number], as_of) for purchase in row.purchases),
            jobs=tuple(Asker(job, is_job=True) for job in row.jobs if job in here),
            in_time=len(here.intersection(row.in_time)),
            price=money(row.price),
            figures=worked_out.of("frees", *row.part_numbers) if len(row.part_numbers) == 1 else (),
        )
        for row in releases
    )


def freeing_part(purchase: FreeingPurchase, name: ItemName, as_of: date) -> FreeingPart:
    """One part and what is to be done about it."""
    return FreeingPart(name.part_number, name.what, name.leads_to, to_do_says(purchase, name, as_of))


def to_do_says(purchase: FreeingPurchase, name: ItemName, as_of: date) -> str:
    """Buy, hurry or pack, and when a purchase of today would be here."""
    here = f"here on {words_for_day(purchase.here_on, as_of)} if ordered today" if purchase.here_on else ""
    if purchase.means == "buy":
        return f"buy {name.amount(purchase.order_quantity).text}, {here or 'lead time not known'}"
    if purchase.means == "pack":
        return "pack it sooner"
    return f"hurry its order; a new one would be {here}" if here else "hurry its order"
