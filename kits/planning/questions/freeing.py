"""What frees most jobs of one sheet: a part, an overdue order, what lies there already; and pairs of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.plan import Plan
from bom.questions.feasible import Freeing, Release, ToDo
from kits.catalog.days.words import words_for_day
from kits.planning.lists.buy_lists import ForWhom, money
from kits.planning.queries import reading_of
from kits.planning.questions.proposals import Raw
from kits.planning.words.item_names import ItemName

WAYS_SAY = {
    "pack": "pack it sooner",
    "loose": "use the loose pieces: see the proposals",
    "from_kit": "take it out of a kit: see the proposals",
    "pack_when": "pack it when its pieces come: see the proposals",
    "put_together": "put it together instead of buying it: see kit or loose",
    "from_bought_kit": "take it out of a kit that is bought to be opened: see kit or loose",
}


@dataclass(frozen=True, slots=True)
class FreeingPart:
    """A part that holds jobs, or an overdue ``order`` with the parts that they await, and what is to be done about it.

    ``part_number`` is empty where it is an order.
    """

    part_number: str
    order: str
    what: str
    leads_to: str
    to_do: str


@dataclass(frozen=True, slots=True)
class Frees:
    """One thing, or two together, and the jobs of the sheet that wait for nothing else.

    ``in_time`` of them can still be built on their day; ``price`` is that of all that is to be bought of the parts.
    ``alone`` is the part, where it is one part by itself.
    """

    parts: tuple[FreeingPart, ...]
    jobs: tuple[ForWhom, ...]
    in_time: int
    price: Decimal | None
    alone: str


def instead_of_buying(raw: Raw, plan: Plan) -> dict[tuple[str, str], str]:
    """By job and part, the proposal by which the job can have the part without the purchase that the plan lists."""
    found: dict[tuple[str, str], str] = {}
    if raw.mix:
        not_ordered = {order.part_number for order in raw.mix.orders if not order.packs}
        from_kits = not_ordered.intersection(part for kit in raw.mix.opened for part, _ in kit.parts)
        found |= {(asker.name, part): "from_bought_kit" for asker in reading_of(plan).askers for part in from_kits}
    found |= {(row.job, row.part_number): "from_kit" for row in raw.taken}
    found |= {(row.job, row.kit): "pack_when" for row in raw.packed}
    found |= {(row.job, row.kit): "loose" for row in raw.loose}
    if raw.mix:
        found |= {(job, row.kit): "put_together" for row in raw.mix.put_together for job in row.jobs}
    return found


def releases_for(freeing: Freeing, shown: Iterable[str]) -> list[Release]:
    """The rows that free a job of the sheet, most jobs first; a pair only where some job needs both of it."""
    here = set(shown)
    singles = [row for row in freeing.singles if here.intersection(row.jobs)]
    pairs = [row for row in freeing.pairs if here.intersection(row.only_together)]
    for rows in (singles, pairs):
        rows.sort(key=lambda row: -len(here.intersection(row.jobs)))
    return singles + pairs


def freeing_numbers(releases: Iterable[Release]) -> Iterator[str]:
    """The parts whose names are needed."""
    for row in releases:
        yield from row.part_numbers


def frees_rows(
    releases: Iterable[Release],
    shown: Iterable[str],
    names: Mapping[str, ItemName],
    as_of: date,
) -> tuple[Frees, ...]:
    """The rows as they are shown, with the jobs of the sheet only."""
    here = set(shown)
    return tuple(
        Frees(
            parts=tuple(freeing_part(one, names, as_of) for one in row.to_do),
            jobs=tuple(ForWhom(job, is_job=True) for job in row.jobs if job in here),
            in_time=len(here.intersection(row.in_time)),
            price=money(row.price),
            alone=row.to_do[0].name if is_one_part(row) else "",
        )
        for row in releases
    )


def is_one_part(row: Release) -> bool:
    """Whether it is a part by itself, whose figure is that of the plan's own row."""
    return len(row.holds) == 1 and not row.holds[0].is_order


def freeing_part(to_do: ToDo, names: Mapping[str, ItemName], as_of: date) -> FreeingPart:
    """One thing and what is to be done about it."""
    if to_do.means == "chase":
        parts = ", ".join(f"{part} {names[part].what}".strip() for part in to_do.parts)
        return FreeingPart("", to_do.name, parts, "", to_do_says(to_do, None, as_of))
    name = names[to_do.name]
    return FreeingPart(name.part_number, "", name.what, name.leads_to, to_do_says(to_do, name, as_of))


def to_do_says(to_do: ToDo, name: ItemName | None, as_of: date) -> str:
    """Buy, hurry, chase or pack, and when a purchase of today would be here; or what can be done without one."""
    here = f"here on {words_for_day(to_do.here_on, as_of)} if ordered today" if to_do.here_on else ""
    if to_do.means == "buy" and name is not None:
        hurry = "; expedite the order that comes late, too" if to_do.hurry_too else ""
        return f"buy {name.amount(to_do.order_quantity).text}, {here or 'lead time not known'}{hurry}"
    if to_do.means == "hurry":
        return f"expedite its order; a new one would be {here}" if here else "expedite its order"
    if to_do.means == "chase":
        by = f", needed by {words_for_day(to_do.need_on, as_of)}" if to_do.need_on else ""
        return f"call about it{by}" + (f"; a new order would be {here}" if here else "")
    return WAYS_SAY[to_do.means]
