"""Where in a list of what holds what the headings stand, and which column says what."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from kits.exchange.columns.catalog_layouts import STRUCTURE
from kits.exchange.columns.layout import fold_heading, headings_of
from kits.exchange.files.raw_sheets import is_blank

Row = Sequence[str]

LEVEL, OUTLINE, NUMBER, NAME, QUANTITY, UNIT, GROUP = ("level", "outline", "child", "name", "quantity", "unit", "group")

_ROLES: dict[str, tuple[str, ...]] = {
    LEVEL: ("level", "lvl", "lev", "depth", "indent", "indentlevel", "bomlevel", "structurelevel", "hierarchy", "tier"),
    OUTLINE: (
        "outline",
        "itemno",
        "itemnumber",
        "findno",
        "findnumber",
        "wbs",
        "posno",
        "lineno",
        "index",
        "sno",
        "srno",
    ),
    NUMBER: (
        "child",
        "partnumber",
        "partno",
        "partnum",
        "pn",
        "part",
        "parts",
        "component",
        "componentnumber",
        "partcode",
        "partid",
        "itemcode",
        "code",
        "articlenumber",
        "articleno",
        "article",
        "sku",
        "number",
        "drawingnumber",
        "drawingno",
        "drawing",
        "reference",
        "id",
    ),
    NAME: (
        "name",
        "partname",
        "componentname",
        "itemname",
        "shortname",
        "title",
        "designation",
        "nomenclature",
        "description",
        "desc",
        "partdescription",
        "whatitis",
        "longname",
        "text",
    ),
    QUANTITY: ("quantity", "qty", "count", "amount", "quant", "qnty", "pieces", "pcs", "required", "noof", "noreqd"),
    UNIT: ("unit", "uom", "um", "units", "unitofmeasure"),
    GROUP: (
        "parent",
        "parentpart",
        "assembly",
        "assy",
        "subassembly",
        "subassy",
        "section",
        "module",
        "group",
        "system",
        "for",
        "usedin",
        "usedon",
    ),
}
_ROLE_OF = {heading: role for role, headings in _ROLES.items() for heading in headings}
_NUMBERS_OR_NAMES = frozenset({"item", "items", "no", "nr", "pos", "ref", ""})
"""Headings under which lines are numbered in one list and named in another: their cells decide."""
_NOT_READ = frozenset({"parent", "child", "quantity", "unit", "source", "order", "pump", "quantity_is_for"})
"""Columns of Structure that have a role of their own here, or mean something else in lists of other people."""
_SPREAD = re.compile(r"(?:level|lvl|lev|l)\d{1,2}")
_NUMBERED = re.compile(r"\d{1,4}(?:\.\d{1,4})*\.?")
_AMOUNT = re.compile(r"[x×]?\s*\d+(?:[.,]\d+)?\s*(?:[x×]|pcs?|pieces?|off|ea|each)?\.?", re.IGNORECASE)
_LOOKED_AT = 40
_MOST_MEANINGS = 3


@dataclass(slots=True)
class Columns:
    """Which column says what; ``spread`` are columns of which the first filled one tells the depth.

    ``start`` is the first row of the list itself, ``title`` the row above its headings if that holds a single text.
    """

    places: dict[str, int] = field(default_factory=dict)
    groups: tuple[int, ...] = ()
    spread: tuple[int, ...] = ()
    unread: tuple[str, ...] = ()
    headings: int = -1
    title: int = -1

    @property
    def start(self) -> int:
        """The first row below the headings; 0 without them."""
        return self.headings + 1

    def text(self, row: Row, role: str) -> str:
        """What a row says under one role."""
        return cell_at(row, self.places[role]).strip() if role in self.places else ""


def cell_at(row: Row, place: int) -> str:
    """A cell, blank where the row is too short."""
    return row[place] if 0 <= place < len(row) else ""


def filled_cells(row: Row) -> list[str]:
    """The cells of a row that hold something."""
    return [cell.strip() for cell in row if not is_blank(cell)]


def looks_numbered(cells: Sequence[str]) -> bool:
    """Whether nearly all of some cells are numbers such as 3 or 1.2.1."""
    return bool(cells) and sum(bool(_NUMBERED.fullmatch(cell)) for cell in cells) >= 0.8 * len(cells)


def looks_counted(cells: Sequence[str]) -> bool:
    """Whether nearly all of some cells are amounts such as 4 or 2 pcs."""
    return bool(cells) and sum(bool(_AMOUNT.fullmatch(cell)) for cell in cells) >= 0.8 * len(cells)


def find_columns(rows: Sequence[Row]) -> Columns:
    """Find the headings and what they mean; without any, the places are left to the shape of the list."""
    scores = [_score(row) for row in rows[:_LOOKED_AT]]
    best = max(scores, default=0)
    if best < 2:
        return Columns()
    place = scores.index(best)
    above = [number for number in range(place) if filled_cells(rows[number])]
    title = above[-1] if above and len(filled_cells(rows[above[-1]])) == 1 else -1
    return _named(rows[place], rows[place + 1 :], place, title)


def repeats_headings(row: Row, headings: Row) -> bool:
    """Whether a row among the lines is the row of headings over again."""
    own = {fold_heading(cell) for cell in filled_cells(headings)}
    cells = [fold_heading(cell) for cell in filled_cells(row)]
    return len(cells) >= 2 and sum(cell in own for cell in cells) * 2 > len(cells)


def _score(row: Row) -> int:
    cells = filled_cells(row)
    known = sum(bool(_role_of(cell)) for cell in cells if len(cell) <= 40)
    return known if 3 * known >= len(cells) else 0


def _role_of(heading: str) -> str:
    folded = fold_heading(heading)
    if folded in _ROLE_OF:
        return _ROLE_OF[folded]
    if (folded in _NUMBERS_OR_NAMES and (folded or heading.strip() == "#")) or _SPREAD.fullmatch(folded):
        return OUTLINE
    if "qty" in folded or "quantity" in folded or folded.startswith("req"):
        return QUANTITY
    known = headings_of(STRUCTURE)
    return known[folded].name if folded in known and known[folded].name not in _NOT_READ else ""


def _named(headings: Row, body: Sequence[Row], place: int, title: int) -> Columns:
    """The columns by their headings; where two claim one role the more usual heading has it."""
    claims: dict[str, list[tuple[int, int]]] = defaultdict(list)
    spread: list[int] = []
    groups: list[int] = []
    for number, heading in enumerate(headings):
        folded, cells = fold_heading(heading), [cell for row in body if (cell := cell_at(row, number).strip())]
        role = _role_of(heading) if heading.strip() else ""
        if not role or not cells:
            continue
        if _SPREAD.fullmatch(folded):
            spread.append(number)
        elif role == OUTLINE and folded in _NUMBERS_OR_NAMES and not looks_numbered(cells):
            claims[NAME if folded.startswith("item") else NUMBER].append((len(_ROLES[NAME]), number))
        elif role == GROUP:
            groups.append(number)
        else:
            claims[role].append((_rank(role, folded), number))
    chosen = {role: min(found)[1] for role, found in claims.items()}
    if NUMBER in chosen and NAME not in chosen and len(claims[NUMBER]) > 1:
        chosen[NAME] = sorted(claims[NUMBER])[1][1]
    if NUMBER in chosen and NAME in chosen and _says_nothing(body, chosen[NUMBER], chosen[NAME]):
        del chosen[NUMBER]
    used = {*chosen.values(), *groups, *spread}
    unread = tuple(cell.strip() for number, cell in enumerate(headings) if number not in used and not is_blank(cell))
    return Columns(chosen, tuple(groups), tuple(spread) if len(spread) > 1 else (), unread, place, title)


def _rank(role: str, folded: str) -> int:
    usual = _ROLES.get(role, ())
    return usual.index(folded) if folded in usual else len(usual)


def _says_nothing(body: Sequence[Row], number: int, name: int) -> bool:
    """Whether what stands under the number is a kind of part, such as PRINTED, and not its number."""
    names: dict[str, set[str]] = defaultdict(set)
    for row in body:
        if (text := cell_at(row, number).strip()) and (called := cell_at(row, name).strip()):
            names[text].add(called)
    return any(len(meant) > _MOST_MEANINGS for meant in names.values())


def columns_without_headings(rows: Sequence[Row], first: int) -> dict[str, int]:
    """Behind a depth or outline number in columns before ``first``: the number, what it is, how many, in which unit."""
    places = {NUMBER: first}
    width = max((len(row) for row in rows), default=0)
    rest = list(range(first + 1, width))
    cells = {number: [cell for row in rows if (cell := cell_at(row, number).strip())] for number in rest}
    counted = [number for number in rest if looks_counted(cells[number])]
    if counted:
        places[QUANTITY] = counted[0]
    elif rest:
        places[QUANTITY] = rest[0]
    named = [number for number in rest if number != places.get(QUANTITY) and cells[number] and number < first + 3]
    if named and counted:
        places[NAME] = named[0]
    return places


def texts_at(rows: Sequence[Row], place: int) -> Iterator[str]:
    """The filled cells of one column, as they stand."""
    return (cell for row in rows if not is_blank(cell := cell_at(row, place)))
