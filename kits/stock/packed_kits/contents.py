"""What the kits of a lot hold: recorded when they were put together, else what the list says of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import Q

from bom.values import Options
from kits.catalog.models import Item, KitFit, StructureLine
from kits.catalog.options import parse_options
from kits.catalog.words import IssueBy
from kits.stock.errors import StockRefusal
from kits.stock.models import KitPiece, Lot


@dataclass(frozen=True, slots=True)
class HeldPiece:
    """What one kit holds of one item: millionths there and owed, the lot they are from, None where nobody knows."""

    item: Item
    quantity: int
    piece_lot: Lot | None = None
    owed: int = 0

    @property
    def piece_lot_id(self) -> int | None:
        """The key of the lot, if it is known."""
        return self.piece_lot.pk if self.piece_lot else None


@dataclass(frozen=True, slots=True)
class KitRecord:
    """What each kit of a lot holds. ``recorded`` is False where only the list of the kit says so."""

    pieces: tuple[HeldPiece, ...]
    recorded: bool

    @property
    def owed(self) -> tuple[HeldPiece, ...]:
        """What was taken out and has to be put back."""
        return tuple(piece for piece in self.pieces if piece.owed)

    @property
    def there(self) -> tuple[HeldPiece, ...]:
        """What is in the bag."""
        return tuple(piece for piece in self.pieces if piece.quantity)

    def amounts(self) -> dict[Item, int]:
        """Millionths of each item in one kit."""
        totals: dict[Item, int] = defaultdict(int)
        for piece in self.pieces:
            totals[piece.item] += piece.quantity
        return dict(totals)

    def last_use_on(self, kit_lot: Lot) -> date | None:
        """The last day of a kit: the earliest of its pieces, and what is written on its bag."""
        days = [kit_lot.last_use_on, *(one.piece_lot.last_use_on for one in self.there if one.piece_lot)]
        return min((day for day in days if day), default=None)

    def setters(self, last_use_on: date | None) -> tuple[HeldPiece, ...]:
        """The pieces whose last day is that of the kit."""
        return tuple(
            one for one in self.there if last_use_on and one.piece_lot and one.piece_lot.last_use_on == last_use_on
        )


def listed(kit: Item, on: date, options: Options = ()) -> dict[Item, int]:
    """Return what the list of a kit says, in millionths of each item that is counted; refuse what nobody answered.

    An option that the kit itself was made for needs no answer.
    """
    return listed_of([kit], on, options)[kit.pk]


def listed_of(kits: Collection[Item], on: date, options: Options = ()) -> dict[int, dict[Item, int]]:
    """Return what the lists of some kits say, by the kit's key; three statements."""
    own: dict[int, list[dict[str, str]]] = defaultdict(list)
    for kit_id, option in KitFit.objects.filter(kit__in=kits).values_list("kit_id", "option"):
        own[kit_id].append(dict(parse_options(option)))
    answers = {kit.pk: {**_shared(own[kit.pk]), **dict(options)} for kit in kits}
    named = {kit.pk: kit for kit in kits}
    lines = list(
        StructureLine.objects.filter(parent__in=kits)
        .exclude(child__issue=IssueBy.BENCH)
        .filter(Q(from_on=None) | Q(from_on__lte=on), Q(to_on=None) | Q(to_on__gte=on))
        .order_by("order", "id")
        .values_list("parent_id", "child_id", "option", "quantity")
    )
    children = Item.objects.in_bulk({child_id for _, child_id, _, _ in lines})
    found: dict[int, dict[Item, int]] = {kit.pk: {} for kit in kits}
    for parent_id, child_id, option, quantity in lines:
        child, totals = children[child_id], found[parent_id]
        if _applies(named[parent_id], child, option, answers[parent_id]):
            totals[child] = totals.get(child, 0) + quantity
    return found


def contents_of(
    lots: Sequence[Lot], on: date, lists: Mapping[int, Mapping[Item, int]] | None = None
) -> dict[int, KitRecord]:
    """Return what one kit of each lot holds, by the lot's key; four statements, one where the ``lists`` are at hand."""
    rows: dict[int, list[HeldPiece]] = defaultdict(list)
    held = KitPiece.objects.filter(kit_lot__in=lots).select_related("item", "piece_lot__item")
    for row in held.order_by("item__folded", "piece_lot__folded", "pk"):
        rows[row.kit_lot_id].append(HeldPiece(row.item, row.quantity, row.piece_lot, row.owed))
    if lists is None:
        lists = listed_of([lot.item for lot in lots if lot.pk not in rows], on, options=ANY)
    return {
        lot.pk: KitRecord(tuple(rows[lot.pk]), recorded=True)
        if lot.pk in rows
        else KitRecord(
            tuple(HeldPiece(item, quantity) for item, quantity in lists[lot.item_id].items()), recorded=False
        )
        for lot in lots
    }


def lots_of_kits() -> set[int]:
    """Return every lot that is recorded in a kit, and the lots of those kits; one statement."""
    rows = KitPiece.objects.order_by().values_list("kit_lot_id", "piece_lot_id")
    return {lot for pair in rows for lot in pair if lot is not None}


def without(contents: KitRecord, item: Item, piece_lot_id: int | None, quantity: int) -> KitRecord:
    """Return the contents after pieces of one lot were taken out; they are owed from then on."""
    pieces = [
        replace(one, quantity=one.quantity - quantity, owed=one.owed + quantity)
        if one.item == item and one.piece_lot_id == piece_lot_id
        else one
        for one in contents.pieces
    ]
    return replace(contents, pieces=tuple(pieces))


def put_back(contents: KitRecord, added: Mapping[Lot, int]) -> KitRecord:
    """Return the contents after pieces of some lots were put in; they pay what is owed of their item."""
    pieces = list(contents.pieces)
    for lot, quantity in added.items():
        rest = quantity
        for place, one in enumerate(pieces):
            paid = min(rest, one.owed) if one.item == lot.item else 0
            pieces[place] = replace(one, owed=one.owed - paid)
            rest -= paid
        place_of = {(one.item.pk, one.piece_lot_id): number for number, one in enumerate(pieces)}
        at = place_of.get((lot.item_id, lot.pk))
        if at is None:
            pieces.append(HeldPiece(lot.item, quantity, lot))
        else:
            pieces[at] = replace(pieces[at], quantity=pieces[at].quantity + quantity)
    return KitRecord(tuple(one for one in pieces if one.quantity or one.owed), recorded=True)


ANY: Options = (("", ""),)
"""Stands for a reader who cannot answer: lines that depend on what nobody answered are left out."""


def _shared(own: Sequence[Mapping[str, str]]) -> dict[str, str]:
    """The options that every use of the kit agrees on."""
    return {
        name: value for name, value in (own[0] if own else {}).items() if all(one.get(name) == value for one in own)
    }


def _applies(kit: Item, child: Item, option: str, answers: Mapping[str, str]) -> bool:
    conditions = parse_options(option)
    if any(name in answers and answers[name] != value for name, value in conditions):
        return False
    open_options = [name for name, _ in conditions if name not in answers]
    if open_options and "" not in answers:
        raise StockRefusal(f"{child} is in {kit} only for {option}: say which {', '.join(open_options)} is packed.")
    return not open_options
