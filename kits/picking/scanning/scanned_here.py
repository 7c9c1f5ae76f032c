"""What a scan means where work is done: a line to count, a delivery to take in, a lot to put away, a place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.picking.errors import PickRefusal
from kits.picking.scanning.scanned import Named, read_scan
from kits.purchasing.models import Offer, OrderLine
from kits.purchasing.receiving.desk import ExpectedRow
from kits.stock.codes.texts import Code, CodeKind, code_of_lot
from kits.stock.counts.sheets import CountRow
from kits.stock.lists.put_away import AwayRow
from kits.stock.models import Lot, Place


@dataclass(frozen=True, slots=True)
class DoorScan:
    """What a label or a line of a delivery note leads to: an order line, an order, or a part that is on no order."""

    line: int | None = None
    order: str = ""
    part_number: str = ""


def place_named(text: str) -> Place:
    """Return the place that a scanned or typed text names."""
    for one in read_scan(text).named:
        if one.code.kind is CodeKind.PLACE:
            return Place.objects.get(pk=one.key)
    raise PickRefusal(f"“{text.strip()}” names no place: scan the label of a bin, or choose it from the list.")


def count_line(rows: Sequence[CountRow], text: str) -> CountRow:
    """Return the line of a count sheet that a packet or a bin leads to: the first that is still to be counted."""
    codes = {str(one.code) for one in read_scan(text).named}
    found = [row for row in rows if codes & set(_codes(row))]
    if not found:
        raise PickRefusal(f"“{text.strip()}” is on no line of this sheet: look whether it belongs here.")
    return next((row for row in found if row.open), found[0])


def delivery_of(rows: Sequence[ExpectedRow], text: str) -> DoorScan:
    """Return what a scan at the door leads to, among the order lines that are shown."""
    named = read_scan(text).named
    if order := next((one for one in named if one.code.kind is CodeKind.ORDER), None):
        number = OrderLine.objects.get(pk=order.key).order
        if not any(fold(row.order) == fold(number) for row in rows):
            raise PickRefusal(f"Nothing of order {number} is still to come: receive the part without an order.")
        return DoorScan(order=number)
    parts = _parts(named, text)
    if not parts:
        raise PickRefusal(f"“{text.strip()}” names no order and no part: type the order or the part number.")
    lines = [row for row in rows if row.part_number in parts]
    if len(lines) == 1:
        return DoorScan(line=lines[0].pk)
    if lines:
        return DoorScan(order=lines[0].part_number)
    if len(parts) > 1:
        raise PickRefusal(f"“{text.strip()}” may be {', '.join(parts)}: type which part it is.")
    return DoorScan(part_number=parts[0])


def lot_to_put_away(rows: Sequence[AwayRow], into: Place, text: str) -> AwayRow:
    """Return what of a scanned lot goes into a bin: all that waits of it on one shelf; refuse another's home."""
    named = [one for one in read_scan(text).named if one.code.kind is CodeKind.LOT]
    if not named:
        raise PickRefusal(f"“{text.strip()}” names no lot: scan the label of a packet. Nothing was moved.")
    codes = {str(one.code) for one in named}
    waiting = [row for row in rows if str(code_of_lot(row.part_number, row.lot)) in codes]
    waiting = [row for row in waiting if row.waits] or waiting
    if not waiting:
        raise PickRefusal(f"{named[0].code} is not to be put away: it lies in its bin, or is held. Nothing was moved.")
    if len(waiting) > 1:
        places = ", ".join(row.place for row in waiting)
        raise PickRefusal(f"{named[0].code} lies at {places}: put each away by its own button. Nothing was moved.")
    row = waiting[0]
    if row.home and row.home_id != into.pk:
        raise PickRefusal(f"{named[0].code} belongs in {row.home}, and this is {into}. Nothing was moved.")
    return row


def _codes(row: CountRow) -> Iterator[str]:
    yield str(code_of_lot(row.part_number, row.lot))
    yield str(Code(CodeKind.PLACE, row.place))
    yield str(Code(CodeKind.PART, row.part_number))


def _parts(named: Sequence[Named], text: str) -> list[str]:
    """The part numbers that a text may mean, those of suppliers too."""
    items = {one.key for one in named if one.code.kind is CodeKind.PART}
    lots = [one.key for one in named if one.code.kind is CodeKind.LOT]
    items |= set(Lot.objects.filter(pk__in=lots).values_list("item", flat=True))
    if not items:
        items = set(Offer.objects.filter(folded=fold(text)).exclude(folded="").values_list("item", flat=True))
    return list(Item.objects.filter(pk__in=items).order_by("folded").values_list("part_number", flat=True))
