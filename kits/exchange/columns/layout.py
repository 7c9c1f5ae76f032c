"""Columns and sheets as values: everything that reads, writes or explains a sheet follows its layout.

``reads`` names how a cell is read:

======================  =====================================================================================
text                    free text, kept as it stands
mark                    a text that names something (lot, job, serial, place): never a number or a date
part                    a part number: a mark that is looked up among the items
parts_list              several marks with ``;`` between
word                    one of ``words``
yes_no                  yes or no
whole                   a whole number, ``least`` or more
quantity                a number above zero in the unit beside it, or in the item's stock unit
stock                   a number, zero or more, in the item's stock unit
rate                    a number between 0 and 100
money                   a price
day                     a calendar date
use_by                  a calendar date, or a month, which means its last day
setting                 text, number or date, kept as text
lead                    working days, or weeks as ``14 w``
unit                    a unit of measure
options                 ``name=value`` with ``;`` between
life                    years, or the word ``unlimited``
least_life              ``75 %`` or ``24 m``
cure                    ``4Q20``, ``2020-Q4`` or a date
======================  =====================================================================================
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cache


# One object for each column and sheet: they are compared, and kept in dictionaries, by identity.
@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One column of a sheet: its heading, how its cells are read, what a blank means.

    ``names`` is the kind of thing whose name stands in its cells, such as a place; ``within`` the column that such a
    name belongs to, such as the part of a lot. ``brings`` is the kind of thing that its rows are the names of. A part
    number that stands here ``is_a`` kit, assembly or pump, and if ``inside``, it lies in something else.
    """

    name: str
    reads: str = "text"
    required: bool = False
    default: str = ""
    key: bool = False
    words: tuple[str, ...] = ()
    least: int = 0
    most: int = 1_000_000
    longest: int = 200
    also: tuple[str, ...] = ()
    names: str = ""
    within: str = "part_number"
    brings: str = ""
    is_a: str = ""
    inside: bool = False
    may_be_unknown: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """One sheet: its name, what one of its rows is called, its columns, and an example row.

    ``also`` are other names of the sheet, ``pasted`` the order in which cells are read that come without headings,
    ``notes`` what its columns mean, ``unit_of`` the column of the item in whose unit its quantities are, and
    ``others_lean_on_it`` says that rows of other sheets are guesswork while one of its own is in doubt.
    """

    name: str
    row_is: str
    columns: tuple[Column, ...]
    also: tuple[str, ...] = ()
    key_order: tuple[str, ...] = ()
    pasted: tuple[str, ...] = ()
    example: Mapping[str, str | int | date] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)
    unit_of: str = "part_number"
    others_lean_on_it: bool = False

    @property
    def key(self) -> tuple[Column, ...]:
        """The columns that tell one row from another, in the order in which they are named."""
        return _key_of(self)

    def column(self, name: str) -> Column:
        """The column of that heading."""
        return next(column for column in self.columns if column.name == name)


@cache
def _key_of(layout: Layout) -> tuple[Column, ...]:
    if layout.key_order:
        return tuple(layout.column(name) for name in layout.key_order)
    return tuple(column for column in layout.columns if column.key)


def fold_heading(text: object) -> str:
    """A heading without case, spaces, underscores, dashes and points, as headings and sheet names are compared."""
    return "".join(mark for mark in str(text or "").casefold() if mark.isalnum())


@cache
def headings_of(layout: Layout) -> dict[str, Column]:
    """Folded heading -> column; an older spelling never hides a present heading."""
    found: dict[str, Column] = {}
    for column in layout.columns:
        for spelling in column.also:
            found.setdefault(fold_heading(spelling), column)
    found.update({fold_heading(column.name): column for column in layout.columns})
    return found
