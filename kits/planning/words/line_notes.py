"""What the bench has to know of a structure line: which way round, and the note of the line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bom.values import Line
from kits.catalog.models import StructureLine
from kits.catalog.options import parse_options


@dataclass(frozen=True, slots=True)
class LineNote:
    """What one line says to the bench."""

    orientation: str = ""
    bench_note: str = ""

    @property
    def says(self) -> str:
        """Both in one."""
        return "; ".join(filter(None, (self.orientation, self.bench_note)))


LineNotes = Mapping[tuple[object, ...], LineNote]
"""Notes under the natural key of their structure line."""


def read_line_notes(parents: Iterable[str]) -> LineNotes:
    """The notes of all lines of these parents; one statement."""
    rows = StructureLine.objects.filter(parent__part_number__in=parents).values_list(
        "parent__part_number",
        "child__part_number",
        "position",
        "option",
        "from_on",
        "from_serial",
        "orientation",
        "bench_note",
    )
    return {
        (parent, child, position, parse_options(option), from_on, from_serial): LineNote(*notes)
        for parent, child, position, option, from_on, from_serial, *notes in rows
    }


def note_of(notes: LineNotes, line: Line) -> LineNote:
    """What one line says to the bench."""
    key = (line.parent, line.child, line.position, line.options, line.from_on, line.from_serial)
    return notes.get(key, LineNote())


def line_note(notes: LineNotes, line: Line) -> str:
    """The note of one line, or nothing."""
    return note_of(notes, line).says
