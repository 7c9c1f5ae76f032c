"""Plain-text tables for the screen of a command."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from bom.plan import Plan
from kits.catalog.days.words import in_full
from kits.exchange.workbooks.shortage_lines import ASK_FIRST, SURE, TOP_UP, WEAR, ShortageLine
from kits.planning.queries import reading_of
from kits.planning.words.states import plural


def text_table(headings: Sequence[str], rows: Iterable[Sequence[object]], right: Iterable[int] = ()) -> str:
    """Columns side by side under their headings; the columns in ``right`` are set to the right."""
    texts = [[_text(value) for value in row] for row in rows]
    widths = [max(len(row[place]) for row in [list(headings), *texts]) for place in range(len(headings))]
    to_right = set(right)
    lines = [_line(headings, widths, to_right), "  ".join("-" * width for width in widths)]
    return "\n".join([*lines, *(_line(row, widths, to_right) for row in texts)])


def _line(row: Sequence[str], widths: Sequence[int], right: set[int]) -> str:
    cells = (
        text.rjust(width) if place in right else text.ljust(width)
        for place, (text, width) in enumerate(zip(row, widths, strict=True))
    )
    return "  ".join(cells).rstrip()


def _text(value: object) -> str:
    if value is None or value == 0:
        return ""
    return f"{value:.2f}" if isinstance(value, float) and value != round(value, 2) else str(value)


def day_text(day: date | str | None) -> str:
    """A day as people write it: ``9 Mar 2026``."""
    if not day:
        return ""
    day = date.fromisoformat(day) if isinstance(day, str) else day
    return in_full(day)


STATES = ("ready", "waiting", "late", "short")


def jobs_table(plan: Plan, answer: dict[str, Any]) -> str:
    """The jobs with their status and what holds them; a job that leans on a broken promise names the order."""
    orders = {asker.name: orders for asker, orders in reading_of(plan).overdue_orders.items()}
    rows = [
        (
            row["job"],
            row["status"],
            day_text(row["parts_on"]),
            row["days_late"],
            row["blocking_part"],
            day_text(row["order_by"]),
            f"if {' and '.join(orders.get(row['job'], ('an overdue order',)))} comes"
            if row["leans_on_overdue"]
            else "",
        )
        for row in answer["jobs"]
    ]
    headings = ("job", "status", "parts here on", "days late", "held by", "order by", "")
    return text_table(headings, rows, right=(3,)) if rows else "No job asks for parts."


def shortages_table(lines: Sequence[ShortageLine], whose: str = "") -> str:
    """What is to be bought: sure needs, top-ups, and wear, each with a total of its own; ``whose`` it is in words."""
    groups = (
        ("Sure needs", [line for line in lines if line.why == SURE]),
        ("Top-ups of safety stocks", [line for line in lines if line.why == TOP_UP]),
        (
            "Wear, to be ordered or decided after the strip-down",
            [line for line in lines if _is_wear(line, ask_first=False)],
        ),
        ("Wear, only if found: ask first, in no total", [line for line in lines if _is_wear(line, ask_first=True)]),
    )
    blocks = [_shortage_block(f"{title}{whose}", group) for title, group in groups if group]
    return "\n\n".join(blocks) if blocks else "Nothing is short."


def _is_wear(line: ShortageLine, *, ask_first: bool) -> bool:
    return line.why == WEAR and (line.advice == ASK_FIRST) == ask_first


def _shortage_block(title: str, lines: Sequence[ShortageLine]) -> str:
    rows = [
        (
            line.item.part_number,
            line.short,
            f"{line.packs} x {line.pack_size}",
            line.supplier,
            "" if line.extension is None else f"{line.extension:.2f}",
            day_text(line.need_on),
            day_text(line.order_by),
            _few(line.row["jobs"]) if line.why == SURE else "",
        )
        for line in lines
    ]
    total = sum((line.extension for line in lines if line.extension is not None), Decimal(0))
    headings = (
        "part",
        "short",
        "packs",
        "supplier",
        "price",
        "needed on",
        "order by",
        "jobs" if lines[0].why == SURE else "",
    )
    return f"{title}: {total:.2f}\n\n{text_table(headings, rows, right=(1, 4))}"


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def summary_line(answer: dict[str, Any]) -> str:
    """How many jobs stand how, in one sentence."""
    counts = {word: sum(row["status"] == word for row in answer["jobs"]) for word in STATES}
    leaning = sum(row["leans_on_overdue"] for row in answer["jobs"])
    text = f"{plural(len(answer['jobs']), 'job')} as of {day_text(answer['as_of'])}: "
    text += ", ".join(f"{count} {word}" for word, count in counts.items())
    depend = "depends" if leaning == 1 else "depend"
    return f"{text}. {leaning} of them {depend} on a broken promise." if leaning else f"{text}."
