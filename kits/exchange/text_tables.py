"""Plain-text tables for the screen of a command."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any


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


def day_text(iso: str | None) -> str:
    """A day as people write it: ``9 Mar 2026``."""
    if not iso:
        return ""
    day = date.fromisoformat(iso)
    return f"{day.day} {day:%b %Y}"


_STATUS_WORDS = {"ready": "ready", "waiting": "waiting", "late": "late", "short": "short"}


def jobs_table(answer: dict[str, Any]) -> str:
    """The jobs with their status and what holds them."""
    rows = [
        (
            row["job"],
            _STATUS_WORDS[row["status"]],
            day_text(row["parts_on"]),
            row["days_late"],
            row["blocking_part"],
            day_text(row["order_by"]),
            "waits on an overdue order" if row["leans_on_overdue"] else "",
        )
        for row in answer["jobs"]
    ]
    headings = ("job", "status", "parts here on", "days late", "held by", "order by", "")
    return text_table(headings, rows, right=(3,)) if rows else "No job asks for parts."


def shortages_table(answer: dict[str, Any]) -> str:
    """What is to be bought, what is sure first; then what only wear may ask for."""
    sure = [row for row in answer["buy"] if row["short"] or row["top_up"]]
    wear = [row for row in answer["buy"] if not (row["short"] or row["top_up"])]
    headings = ("part", "short", "order", "packs", "supplier", "price", "needed on", "order by", "jobs")
    blocks = []
    for title, rows in (("Sure, and top-ups", sure), ("Only if found worn", wear)):
        if rows:
            lines = [
                (
                    row["part_number"],
                    row["short"] or row["short_wear"] or row["top_up"],
                    row["order_quantity"],
                    f"{row['packs']} x {row['pack_size']}",
                    row["supplier"],
                    "" if row["price"] is None else f"{row['price']:.2f}",
                    day_text(row["need_on"]),
                    day_text(row["order_by"]),
                    ", ".join(row["jobs"][:3]) + (f" and {len(row['jobs']) - 3} more" if len(row["jobs"]) > 3 else ""),
                )
                for row in rows
            ]
            total = sum(row["price"] or 0 for row in rows)
            blocks.append(f"{title}\n{text_table(headings, lines, right=(1, 2, 5))}\nTotal {total:.2f}")
    return "\n\n".join(blocks) if blocks else "Nothing is short."


def summary_line(answer: dict[str, Any]) -> str:
    """How many jobs stand how, in one sentence."""
    counts = {word: sum(row["status"] == word for row in answer["jobs"]) for word in _STATUS_WORDS}
    leaning = sum(row["leans_on_overdue"] for row in answer["jobs"])
    text = f"{len(answer['jobs'])} jobs as of {day_text(answer['as_of'])}: "
    text += ", ".join(f"{count} {word}" for word, count in counts.items())
    return f"{text}. {leaning} of them wait on an overdue order." if leaning else f"{text}."
