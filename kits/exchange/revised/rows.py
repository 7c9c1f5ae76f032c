"""Lists that are changed from a build day or a serial on: laid out as rows of their sheets, and checked as any list is.

A line is never written over: it ends the day before, or with the last serial before, and another begins. Where no rule
of a list can say more, nothing more is said: a number that is used up first may stand in, one way, for the new one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, timedelta
from typing import Any

from bom.reading import serial_order
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.fields import quantity_text
from kits.catalog.folding import fold
from kits.catalog.models import Item, StructureLine
from kits.catalog.words import AtRebuild, Direction, ItemKind
from kits.exchange.columns.catalog_layouts import ITEMS, STRUCTURE, SUBSTITUTES
from kits.exchange.columns.layout import Layout
from kits.exchange.columns.sheet_text import SheetRows, text_name, write_text
from kits.exchange.columns.values import CellValue
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.sheets.stores.lookups import Lookups
from kits.exchange.sheets.stores.tables import ItemStore, StructureStore

Cells = dict[str, CellValue]


@dataclass(frozen=True, slots=True)
class Since:
    """From when a change counts: for pumps built on a day or later, or from a serial; ``last_serial`` is of before."""

    on: date | None = None
    serial: str = ""
    last_serial: str = ""

    @property
    def is_in_order(self) -> bool:
        """Whether the last serial of before comes before the first."""
        return serial_order(self.last_serial) < serial_order(self.serial)

    @property
    def says(self) -> str:
        """From when, as the end of a sentence."""
        if self.serial:
            return f"from serial {self.serial} on"
        return f"for pumps built on {in_full(self.on)} or later" if self.on else ""


@dataclass(frozen=True, slots=True)
class Beside:
    """One place of a list, before and after; an empty side has nothing there."""

    holder: str
    position: str
    before: str
    after: str


@dataclass(slots=True)
class ListRevision:
    """Rows of the sheets that a change of the lists touches, and both lists side by side."""

    since: Since
    items: list[Cells] = field(default_factory=list)
    lines: list[Cells] = field(default_factory=list)
    substitutes: list[Cells] = field(default_factory=list)
    beside: list[Beside] = field(default_factory=list)
    lookups: Lookups = field(default_factory=Lookups)

    def files(self) -> list[SheetFile]:
        """The sheets as text files; refuse a change that changes nothing."""
        if not self.lines:
            raise Refusal("Nothing changes by it: say what the list holds from then on.")
        sheets = ((ITEMS, self.items), (STRUCTURE, self.lines), (SUBSTITUTES, self.substitutes))
        return [_file(layout, rows) for layout, rows in sheets if rows]

    def both_sides(self) -> list[dict[str, str]]:
        """Both lists side by side, as plain values."""
        return [asdict(one) for one in self.beside]

    def cells_of(self, row: StructureLine | Item) -> Cells:
        """A row as its sheet has it."""
        store = ItemStore(self.lookups) if isinstance(row, Item) else StructureStore(self.lookups)
        return {name: one.cell(row) for name, one in store.fields.items()}


def lines_in_force(lines: Iterable[StructureLine], since: Since, today: date) -> list[StructureLine]:
    """Those of some lines that hold when a change begins; one that only begins later stays as it is."""
    on = since.on or today
    found = [
        line
        for line in lines
        if (line.from_on is None or line.from_on <= on) and (line.to_on is None or line.to_on >= on)
    ]
    if not since.serial:
        return found
    key = serial_order(since.serial)
    return [
        line
        for line in found
        if (not line.from_serial or serial_order(line.from_serial) < key)
        and (not line.to_serial or serial_order(line.to_serial) >= key)
    ]


def change_quantity(
    *,
    parent: Item,
    part: Item,
    position: str,
    quantity: int,
    at_rebuild: str,
    since: Since,
    stated_in: str,
    today: date,
) -> ListRevision:
    """An assembly holds so much of a part at a position from then on: of one that is there, or as a new line."""
    revision = ListRevision(since)
    stored = parent.lines.select_related("child", "parent").filter(child=part)
    held = [line for line in lines_in_force(stored, since, today) if fold(line.position) == fold(position)]
    if not held:
        _begin(revision, _new_line(parent, part, position, quantity, at_rebuild), stated_in)
        return revision
    _refuse_opened(held)
    for line in held:
        if line.quantity != quantity:
            _go_on(revision, line, stated_in, quantity=quantity)
    return revision


def replace_part(
    *,
    old: Item,
    new: str,
    description: str,
    lines: Sequence[StructureLine],
    since: Since,
    used_up: bool,
    approved_by: str,
    stated_in: str,
) -> ListRevision:
    """Another number stands in the place of an old one from then on; what is left of the old may be used up there.

    A new number that nobody has yet is made an item like the old one, without its maker's number and cost. The old one
    is kept in stock no longer.
    """
    if fold(new) == old.folded:
        raise Refusal(f"{new} is the old number: write the new one.")
    _refuse_opened(lines)
    revision, known = ListRevision(since), Item.objects.by_number(new)
    number = known.part_number if known else new
    stays = {"minimum": None, "maximum": None, "safety_stock": 0}
    if known is None:
        own = {"part_number": new, "maker_number": "", "other_numbers": "", "unit_cost": None}
        revision.items.append(revision.cells_of(old) | own | ({"description": description} if description else {}))
    elif known.stock_unit != old.stock_unit:
        raise Refusal(
            f"{known} is kept in {known.stock_unit} and {old} in {old.stock_unit}: one cannot replace the other."
        )
    if old.safety_stock or old.minimum is not None or old.maximum is not None:
        revision.items.append(revision.cells_of(old) | stays)
    for line in lines:
        _go_on(revision, line, stated_in, child=number)
    if used_up:
        revision.substitutes.append(
            {
                "part_number": number,
                "substitute": old.part_number,
                "direction": Direction.ONE_WAY.value,
                "approved_by": approved_by,
                "note": f"until it is used up; {number} {since.says}",
            }
        )
    return revision


def revise_contents(
    *,
    kit: Item,
    quantities: Mapping[int, int],
    added: Sequence[tuple[Item, int]],
    since: Since,
    stated_in: str,
    today: date,
) -> ListRevision:
    """A kit holds other things from then on: millionths by the key of each line, 0 for no longer, and what is new."""
    revision = ListRevision(since)
    held = lines_in_force(kit.lines.select_related("child", "parent"), since, today)
    for line in held:
        quantity = quantities.get(line.pk, line.quantity)
        if quantity == line.quantity:
            revision.beside.append(_beside(line, _amount(line, line.quantity), _amount(line, line.quantity)))
        elif quantity:
            _go_on(revision, line, stated_in, quantity=quantity)
        else:
            _end(revision, line)
            revision.beside.append(_beside(line, _amount(line, line.quantity), ""))
    known = {line.child_id for line in held}
    for part, quantity in added:
        if part.pk in known:
            raise Refusal(f"{part} is in {kit} already: change its quantity in the list.")
        _begin(revision, _new_line(kit, part, "", quantity, ""), stated_in)
    return revision


def _go_on(
    revision: ListRevision, line: StructureLine, stated_in: str, *, quantity: int | None = None, child: str = ""
) -> None:
    """End a line, and begin the same with another quantity or another part."""
    new = quantity if quantity is not None else line.quantity
    cells = revision.cells_of(_copy(line, new))
    if stated_in:
        cells["source"] = stated_in
    if child:
        cells["child"] = child
    if _begins_there(line, revision.since) and not child:
        revision.lines.append(cells)
    else:
        _end(revision, line)
        revision.lines.append(cells | _first(revision.since))
    after = f"{quantity_text(new)} × {child or line.child}"
    revision.beside.append(_beside(line, _amount(line, line.quantity), after))


def _begin(revision: ListRevision, line: StructureLine, stated_in: str) -> None:
    revision.lines.append(revision.cells_of(line) | _first(revision.since) | {"source": stated_in})
    revision.beside.append(_beside(line, "", _amount(line, line.quantity)))


def _end(revision: ListRevision, line: StructureLine) -> None:
    since = revision.since
    if _begins_there(line, since):
        raise Refusal(
            f"{line.child} in {line.parent} only begins {since.says}: choose a later start, or take back what made it "
            "begin then."
        )
    last: Cells = {"to_serial": since.last_serial} if since.serial else {"to_date": _day_before(since)}
    revision.lines.append(revision.cells_of(line) | last)


def _begins_there(line: StructureLine, since: Since) -> bool:
    return since.on is not None and not since.serial and line.from_on == since.on


def _first(since: Since) -> Cells:
    return {"from_serial": since.serial} if since.serial else {"from_date": since.on}


def _day_before(since: Since) -> date:
    assert since.on is not None, "a change begins on a day or with a serial"
    return since.on - timedelta(days=1)


def _new_line(parent: Item, part: Item, position: str, quantity: int, at_rebuild: str) -> StructureLine:
    last = max(parent.lines.values_list("order", flat=True), default=0)
    return StructureLine(
        parent=parent, child=part, position=position, quantity=quantity, at_rebuild=at_rebuild, order=last + 1
    )


def _refuse_opened(lines: Iterable[StructureLine]) -> None:
    """What is opened, or holds parts of its own, is counted whatever its days: its own list is the one to change."""
    for line in lines:
        if line.at_rebuild == AtRebuild.OPEN or line.child.kind in (ItemKind.ASSEMBLY, ItemKind.PUMP):
            raise Refusal(
                f"{line.child} in {line.parent} is an assembly: change what it holds, or load the sheet Structure."
            )


def _beside(line: StructureLine, before: str, after: str) -> Beside:
    return Beside(line.parent.part_number, line.position or line.option, before, after)


def _amount(line: StructureLine, quantity: int) -> str:
    return f"{quantity_text(quantity)} × {line.child}"


def _copy(line: StructureLine, quantity: int) -> StructureLine:
    values: dict[str, Any] = {one.attname: getattr(line, one.attname) for one in StructureLine._meta.concrete_fields}
    return StructureLine(**{**values, "quantity": quantity})


def _file(layout: Layout, rows: Sequence[Cells]) -> SheetFile:
    columns = [column.name for column in layout.columns]
    table = SheetRows(layout, [[row.get(name) for name in columns] for row in rows])
    return SheetFile(text_name(layout), write_text(table).encode("utf-8-sig"))
