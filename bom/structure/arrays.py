"""The catalog as arrays: which parent holds which child, under which conditions, and in which order to go down.

Source of the low-level code: J. Orlicky, Material Requirements Planning (the lowest level at which a part is used).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar, cast

import numpy as np

from bom.errors import ShopError
from bom.structure.faults import AT_REBUILD, cycle_fault, list_faults
from bom.structure.holdings import for_one_parent
from bom.structure.keys import fold, natural_key
from bom.structure.tables import Bools, Floats, Ints, freeze, runs, spread
from bom.values import ONE, Catalog, Item, KitFit, Line, Offer, Options, ScopeSection

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Key = TypeVar("Key")
Row = TypeVar("Row")

CONTENT, OPEN, RENEW, INSPECT, KEEP = range(5)
ACTIONS = {word: number for number, word in enumerate(AT_REBUILD)}
GROUP_REACHES = ("assembly", "section", "pump")
CLEANLINESS = ("normal", "oxygen_clean", "lubricant_free")
FIRST_DAY, LAST_DAY = -(10**7), 10**7
NO_MARK = 10**7
FEW_LINES = 500
"""Up to here a sparse product costs more to start than to work out (measured)."""


def day_number(on: date) -> int:
    """Days since 1 January 1970.

    Parameters
    ----------
    on : the calendar date
    """
    return on.toordinal() - 719163


def as_date(day: int) -> date:
    """The calendar date of a day number.

    Parameters
    ----------
    day : day number
    """
    return date.fromordinal(int(day) + 719163)


@dataclass(frozen=True)
class LevelLines:
    """The lines below all items of one low-level code.

    ``parent`` and ``child`` hold each item once; ``held`` has a row for each child, a column for each parent and the
    quantities in millionths. The lines of child ``i`` are ``first[i]:first[i + 1]``: ``above`` the parent of each,
    ``each`` its quantity.
    """

    parent: Ints
    child: Ints
    held: csr_array
    above: Ints
    each: Ints
    first: Ints

    def __post_init__(self) -> None:
        freeze(self)
        for part in (self.held.data, self.held.indices, self.held.indptr):
            part.setflags(write=False)

    def below(self, total: Ints) -> Ints:
        """How much of each child the parents hold, of which ``total`` has so many millionths, shape (children,).

        Parameters
        ----------
        total : millionths of every item, shape (items,)
        """
        if self.each.size < FEW_LINES:
            return np.add.reduceat(total[self.above] // ONE * self.each, self.first)
        return cast(Ints, self.held @ (total[self.parent] // ONE))


class Memo:
    """What was worked out of a structure before, kept from one plan to the next: the one part of it that is written to.

    All of it follows from the structure, so that whoever finds it here gets what they would have worked out.

    Attributes
    ----------
    wrong_answers : what is wrong with the answers to options at the position of a line, by answers and line
    """

    def __init__(self) -> None:
        self.wrong_answers: dict[tuple[Options, int], tuple[str, ...]] = {}
        self._quotes: dict[int, dict[int, Any]] = {}

    def quotes_on(self, day: int) -> dict[int, Any]:
        """Return the quotes of each item that was read as of one day; those of other days are forgotten.

        Parameters
        ----------
        day : day number
        """
        kept = self._quotes.get(day)
        if kept is None:
            kept = {}
            self._quotes = {day: kept}
        return kept


class SerialBand(NamedTuple):
    """Where a serial number stands among the limits that lines name: right and left of those equal to it."""

    right: int
    left: int


@dataclass(frozen=True)
class Structure:
    """A compiled catalog. All arrays of lines run over ``lines``, sorted by parent, then order, then sheet order.

    ``first`` has one entry more than there are items: the lines of item ``i`` are ``first[i]:first[i + 1]``.
    ``quantity`` is in millionths for one parent. ``level`` is the low-level code of each item, ``steps`` the lines
    gathered by that of their parent, from the top down. ``holds`` says roughly how many millionths of everything
    together one millionth of each item holds.
    ``requirement`` points into ``requirements``, the distinct sets of options that lines and kits ask for.
    ``entered_kind`` points into ``entered_chances``, the distinct rates that were entered (the first: none).
    ``group_label`` numbers the distinct labels of lines that are renewed together, -1 for none; ``group_over`` points
    into ``GROUP_REACHES``.
    ``fits`` are those in force: a kit without contents, or one for an assembly without lines, is left out for now.
    ``item_class`` points into ``CLEANLINESS``; ``wetted_below`` says of each item whether a wetted line lies anywhere
    in it. ``option_place`` is, for a line with options, the first such line at the same position of the same parent;
    else -1.
    """

    catalog: Catalog
    items: tuple[Item, ...]
    index: dict[str, int]
    name_rank: Ints
    countable: Bools
    bench: Bools
    is_kit: Bools
    lines: tuple[Line, ...]
    parent: Ints
    child: Ints
    quantity: Ints
    action: Ints
    requirement: Ints
    option_place: Ints
    from_day: Ints
    to_day: Ints
    from_mark: Ints
    to_mark: Ints
    limited_by_serial: Bools
    conditional: Bools
    group_label: Ints
    group_over: Ints
    wetted: Bools
    item_class: Ints
    wetted_below: Bools
    entered_kind: Ints
    entered_chances: tuple[Fraction, ...]
    first: Ints
    level: Ints
    steps: tuple[LevelLines, ...]
    holds: Floats
    requirements: tuple[Options, ...]
    serial_marks: tuple[tuple[tuple[int, int, str], ...], ...]
    date_marks: tuple[int, ...]
    fits: tuple[KitFit, ...]
    fit_kit: Ints
    fit_requirement: Ints
    fit_first: Ints
    scopes: dict[tuple[str, str], tuple[ScopeSection, ...]]
    offers: dict[str, tuple[Offer, ...]]
    memo: Memo = field(default_factory=Memo, repr=False, compare=False)

    def __post_init__(self) -> None:
        freeze(self)

    def lines_of(self, item: int) -> range:
        """Numbers of the lines below one item.

        Parameters
        ----------
        item : number of the item
        """
        return range(int(self.first[item]), int(self.first[item + 1]))

    def serial_band(self, serial: str) -> SerialBand:
        """Where a serial stands among the limits that lines name; without a serial, after all of them.

        Parameters
        ----------
        serial : serial number, empty when not stated
        """
        if not serial.strip():
            return SerialBand(len(self.serial_marks), len(self.serial_marks) + 1)
        key = natural_key(serial)
        return SerialBand(bisect_right(self.serial_marks, key), bisect_left(self.serial_marks, key))

    def date_band(self, day: int) -> int:
        """Days with the same band meet the same date limits.

        Parameters
        ----------
        day : day number
        """
        return bisect_right(self.date_marks, day)

    def band_day(self, band: int) -> int:
        """A day of the band.

        Parameters
        ----------
        band : its number
        """
        if band:
            return self.date_marks[band - 1]
        return self.date_marks[0] - 1 if self.date_marks else 0

    def has_contents(self, item: int) -> bool:
        """Whether anything that is not a bench item stands in the list of this item.

        Parameters
        ----------
        item : number of the item
        """
        return any(not self.bench[self.child[line]] for line in self.lines_of(item))


def compile_structure(catalog: Catalog) -> Structure:
    """Check a catalog and turn it into arrays.

    Parameters
    ----------
    catalog : the lists

    Raises
    ------
    ShopError
        With every fault of the lists: unknown parts, cycles, quantities, whole-pump totals that leave a remainder.
    """
    items = catalog.items
    index = {item.part_number: number for number, item in enumerate(items)}
    if faults := tuple(list_faults(catalog, index)):
        raise ShopError(faults)
    lines = tuple(sorted(catalog.lines, key=lambda line: (index[line.parent], line.order)))
    parent = np.fromiter((index[line.parent] for line in lines), np.int64, len(lines))
    child = np.fromiter((index[line.child] for line in lines), np.int64, len(lines))
    first = np.searchsorted(parent, np.arange(len(items) + 1)).astype(np.int64)
    level = low_level_codes(len(items), parent, child)
    if level is None:
        raise ShopError((cycle_fault(items, first, child, lines),))
    lines = for_one_parent(catalog, lines, index, level.tolist())
    quantity = np.fromiter((line.quantity for line in lines), np.int64, len(lines))
    steps = _steps(level[parent], parent, child, quantity)
    requirements: dict[Options, int] = {(): 0}
    of_lines = _of_lines(lines, requirements)
    of_fits = _of_fits(catalog, index, requirements)
    return Structure(
        catalog=catalog,
        items=items,
        index=index,
        **_of_items(items),
        lines=lines,
        parent=parent,
        child=child,
        quantity=quantity,
        **of_lines,
        **_limits(lines),
        wetted_below=_wetted_below(level, parent, child, of_lines["wetted"]),
        first=first,
        level=level,
        steps=steps,
        holds=_holds(len(items), steps),
        requirements=tuple(requirements),
        **of_fits,
        scopes=_gathered(((row.pump, row.scope), row) for row in catalog.scopes),
        offers=_gathered((offer.part_number, offer) for offer in catalog.offers),
    )


def _of_items(items: Sequence[Item]) -> dict[str, Any]:
    """The columns of `Structure` that run over the items alone."""
    names = np.argsort(np.argsort(np.array([item.part_number for item in items]), kind="stable"), kind="stable")
    return {
        "name_rank": names.astype(np.int64),
        "countable": np.array([item.countable for item in items], bool),
        "bench": np.array([item.bench for item in items], bool),
        "is_kit": np.array([item.kind == "kit" for item in items], bool),
        "item_class": _integers(CLEANLINESS.index(item.cleanliness) for item in items),
    }


def _limits(lines: Sequence[Line]) -> dict[str, Any]:
    """The limits of lines by day and serial: their columns in `Structure`, and the marks that these point into."""
    marks = sorted({natural_key(text) for line in lines for text in (line.from_serial, line.to_serial) if text})
    mark_of = {key: number for number, key in enumerate(marks)}
    dates = {day_number(line.from_on) for line in lines if line.from_on}
    dates |= {day_number(line.to_on) + 1 for line in lines if line.to_on}
    by_serial = np.array([bool(line.from_serial or line.to_serial) for line in lines], bool)
    otherwise = np.array([bool(line.options or line.from_on or line.to_on) for line in lines], bool)
    return {
        "from_day": _integers((day_number(line.from_on) if line.from_on else FIRST_DAY) for line in lines),
        "to_day": _integers((day_number(line.to_on) if line.to_on else LAST_DAY) for line in lines),
        "from_mark": _integers((mark_of[natural_key(line.from_serial)] if line.from_serial else -1) for line in lines),
        "to_mark": _integers((mark_of[natural_key(line.to_serial)] if line.to_serial else NO_MARK) for line in lines),
        "limited_by_serial": by_serial,
        "conditional": by_serial | otherwise,
        "serial_marks": tuple(marks),
        "date_marks": tuple(sorted(dates)),
    }


def _gathered(rows: Iterable[tuple[Key, Row]]) -> dict[Key, tuple[Row, ...]]:
    """Rows by their key, both in the order in which they stand."""
    found: dict[Key, list[Row]] = defaultdict(list)
    for key, row in rows:
        found[key].append(row)
    return {key: tuple(of_key) for key, of_key in found.items()}


def _of_fits(catalog: Catalog, index: dict[str, int], requirements: dict[Options, int]) -> dict[str, Any]:
    """The columns of `Structure` that run over the fits whose kit and assembly hold something.

    By assembly, set, preferred first, kit. Sets of options that no line names are added to the ``requirements``.
    """
    holders = {line.parent for line in catalog.lines}
    whole = [fit for fit in catalog.kit_fits if {fit.kit, fit.fits} <= holders]
    fits = sorted(whole, key=lambda fit: (index[fit.fits], fit.set_name, not fit.preferred, fit.kit))
    assembly = _integers(index[fit.fits] for fit in fits)
    return {
        "fits": tuple(fits),
        "fit_kit": _integers(index[fit.kit] for fit in fits),
        "fit_requirement": _integers(requirements.setdefault(fit.options, len(requirements)) for fit in fits),
        "fit_first": np.searchsorted(assembly, np.arange(len(index) + 1)).astype(np.int64),
    }


def _of_lines(lines: Sequence[Line], requirements: dict[Options, int]) -> dict[str, Any]:
    """The columns of `Structure` that lines say themselves; sets of options and chances of wear stand once each."""
    chances: dict[Fraction | None, int] = {None: 0}
    kinds = _integers(chances.setdefault(line.renewals_per_100, len(chances)) for line in lines)
    return {
        "action": _integers(ACTIONS[line.at_rebuild] for line in lines),
        "requirement": _integers(requirements.setdefault(line.options, len(requirements)) for line in lines),
        "option_place": _option_places(lines),
        "wetted": np.array([line.wetted for line in lines], bool),
        "group_label": _group_labels(lines),
        "group_over": _integers(GROUP_REACHES.index(line.renew_together_over) for line in lines),
        "entered_kind": kinds,
        "entered_chances": tuple(Fraction(0) if rate is None else rate / 100 for rate in chances),
    }


def low_level_codes(count: int, parent: Ints, child: Ints) -> Ints | None:
    """The low-level code of each item: the longest way down to it, in steps. None when there is a cycle.

    Parameters
    ----------
    count : number of items
    parent, child : item numbers, one pair a line, shape (lines,)

    Returns
    -------
    int64 array of shape (count,), or None
    """
    level = np.zeros(count, np.int64)
    waiting = np.bincount(child, minlength=count)
    by_parent = np.argsort(parent, kind="stable")
    first = np.searchsorted(parent[by_parent], np.arange(count + 1))
    front = np.flatnonzero(waiting == 0)
    done, depth = 0, 0
    while front.size:
        level[front] = depth
        done += front.size
        reached = child[by_parent[spread(first[front], first[front + 1])]]
        np.subtract.at(waiting, reached, 1)
        touched = np.unique(reached)
        front = touched[waiting[touched] == 0]
        depth += 1
    return level if done == count else None


def _steps(level: Ints, parent: Ints, child: Ints, quantity: Ints) -> tuple[LevelLines, ...]:
    """Lines by the low-level code of their parent, from the top down."""
    from scipy.sparse import csr_array  # which takes a tenth of the start of a command that plans nothing

    order = np.argsort(level, kind="stable")
    found = []
    for begin, end in runs(level[order]):
        lines = order[begin:end]
        parents, column = np.unique(parent[lines], return_inverse=True)
        children, row = np.unique(child[lines], return_inverse=True)
        held = csr_array((quantity[lines], (row, column)), shape=(children.size, parents.size))
        found.append(LevelLines(parents, children, held, parents[held.indices], held.data, held.indptr[:-1]))
    return tuple(found)


def _holds(count: int, steps: Sequence[LevelLines]) -> Floats:
    holds = np.zeros(count)
    for step in reversed(steps):
        holds[step.parent] = (step.held.T @ (1.0 + holds[step.child])) / ONE
    return holds


def _wetted_below(level: Ints, parent: Ints, child: Ints, wetted: Bools) -> Bools:
    """For each item, whether a wetted line lies anywhere below it."""
    found = np.zeros(level.size, bool)
    for depth in range(int(level.max(initial=0)), -1, -1):
        here = level[parent] == depth
        found[parent[here & (wetted | found[child])]] = True
    return found


def _option_places(lines: Sequence[Line]) -> Ints:
    first: dict[tuple[str, str], int] = {}
    return _integers(
        first.setdefault((line.parent, fold(line.position)), number) if line.options else -1
        for number, line in enumerate(lines)
    )


def _group_labels(lines: Sequence[Line]) -> Ints:
    numbers: dict[str, int] = {"": -1}
    return _integers(numbers.setdefault(fold(line.renew_together), len(numbers) - 1) for line in lines)


def _integers(numbers: Iterable[int]) -> Ints:
    return np.fromiter(numbers, np.int64)
