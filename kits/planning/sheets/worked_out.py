"""How one line of a sheet comes about: worked out when somebody opens the line, not before."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.reading import Reading
from kits.planning.lists.buy_lists import wear_lines
from kits.planning.queries import reading_of
from kits.planning.words.figure_heads import worked_figure
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.row_figures import FIGURES, row_figures, rows_of_part
from kits.planning.words.why_words import Said, job_figures, part_figures
from kits.planning.words.workings import Working, working

OF_ORDERS = frozenset({"expedite", "late_wear", "chase"})


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """What stands behind one line: who asks for how much, lines of text, one figure, or figures that open further.

    ``name`` is the part that it is about; a job has none.
    """

    as_of: date
    title: str
    name: ItemName | None
    working: Working | None = None
    lines: tuple[str, ...] = ()
    figure: Said | None = None
    figures: tuple[Said, ...] = ()


def worked_out(plan: Plan, what: str, row: tuple[str, ...], *, batch: str = "", job: str = "") -> WorkedOut | None:
    """What stands behind one line of a sheet, or None if the plan has no such line; one statement.

    ``what`` is needs, wear, part or figure (of a part), job, or a list of `row_figures`; ``row`` names the line as
    `bom.explain.Number` does, of a figure with its table and column after the part. Where a ``batch`` or a ``job`` is
    named, what it asks stands first.
    """
    reading, as_of = reading_of(plan), plan.shop.as_of
    if what == "job":
        return WorkedOut(as_of, row[0], None, figures=job_figures(plan, row[0])) if row[0] in reading.jobs else None
    part = part_of(reading, what, row)
    if part is None:
        return None
    name = item_names([part])[part]
    title, unit = ", ".join(filter(None, row)), name.amount(0).unit
    if what == "needs":
        shown = (reading.jobs[job],) if job in reading.jobs else reading.jobs_of_batch(batch) if batch else ()
        return WorkedOut(as_of, title, name, working=working(reading, name, frozenset(shown)))
    if what == "wear":
        return WorkedOut(as_of, title, name, lines=tuple(worn_lines(reading, name)))
    if what == "figure":
        said = worked_figure(plan, part, row[1], row[2], unit)
        return WorkedOut(as_of, f"{part}: {said.label}", name, figure=said) if said else None
    if what == "part":
        figures = (*part_figures(plan, part, unit), *rows_of_part(plan, part, unit))
        return WorkedOut(as_of, title, name, figures=figures) if figures else None
    figures = row_figures(plan, what, row, unit)
    return WorkedOut(as_of, title, name, figures=figures) if figures else None


def part_of(reading: Reading, what: str, row: tuple[str, ...]) -> str | None:
    """The part that a line is about; None where there is no such line."""
    if what in OF_ORDERS:
        lines = reading.plan.shop.orders
        return next((line.part_number for line in lines if (line.order, line.line) == row), None)
    long = {"expiring": 2, "figure": 3}.get(what, 1)
    known = what in ("needs", "wear", "part", "figure") or what in FIGURES
    return row[0] if known and len(row) == long and row[0] in reading.lists else None


def worn_lines(reading: Reading, name: ItemName) -> Iterator[str]:
    """What each job may ask of a wearing part, and what a published table would plan for it."""
    lines = tuple(wear_lines(reading, name))
    yield from lines or ("Asked for by parts that are packed or made here.",)
    published = reading.published_wear.get(name.part_number)
    if published:
        yield (
            f"Beside it: a table of “quantity per 100 overhauls” would plan {published} for as many positions, "
            "rounded half up."
        )
