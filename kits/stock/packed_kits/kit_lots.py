"""The kits on the shelf: what is in them, which piece sets their last day, what they lack, and how that came about."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.catalog.words import ItemKind
from kits.people.names import name_of
from kits.stock.ledger import OnShelf, account_of
from kits.stock.models import Balance, Lot, Movement, Posting, Reservation
from kits.stock.packed_kits.contents import ANY, HeldPiece, KitRecord, contents_of, listed_of
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, PlaceKind, PostingKind

MOST_EVENTS = 60
EVENT_SAYS = {
    PostingKind.OPENING: "first stock",
    PostingKind.RECEIVE: "received",
    PostingKind.COUNT: "counted",
    PostingKind.PICK: "picked",
    PostingKind.MOVE: "moved",
    PostingKind.PACK: "packed",
    PostingKind.UNPACK: "opened into its pieces",
    PostingKind.ROB: "a piece taken out",
    PostingKind.FILL_UP: "filled up",
    PostingKind.FREEZE: "frozen",
    PostingKind.LIFT: "made usable again",
    PostingKind.REVERSAL: "taken back",
}


@dataclass(frozen=True, slots=True)
class PieceRow:
    """What one kit holds of one lot of a part; ``sets`` says that the kit dies with it."""

    item_id: int
    piece_lot_id: int | None
    part_number: str
    what: str
    lot: str
    quantity: Amount
    owed: Amount
    last_use_on: date | None
    sets: bool


@dataclass(frozen=True, slots=True)
class OwedPiece:
    """A piece that was taken out of a kit and has to be put back: what, by whom, when, why and for which job."""

    part_number: str
    quantity: Amount
    by: str
    at: datetime | None
    reason: str
    job: str


@dataclass(frozen=True, slots=True)
class Difference:
    """A part of which a kit holds more or less than its list says; ``owed`` where the kit was robbed of it."""

    part_number: str
    here: Amount
    listed: Amount
    owed: bool


@dataclass(frozen=True, slots=True)
class KitEvent:
    """One posting that moved kits of a lot: when, what, who, for which job and why."""

    at: datetime
    what: str
    by: str
    job: str
    reason: str


@dataclass(frozen=True, slots=True)
class KitLotRow:
    """Kits of one lot at one place in one condition and packet."""

    balance_id: int
    lot_id: int
    kit: str
    what: str
    lot: str
    place: str
    account: OnShelf
    quantity: Amount
    set_aside: Amount
    last_use_on: date | None
    past: bool
    quarantined: bool
    suspect: bool
    owner: str
    recorded: bool
    pieces: tuple[PieceRow, ...]
    debts: tuple[OwedPiece, ...]
    differences: tuple[Difference, ...]

    @property
    def shows(self) -> tuple[object, ...]:
        """What stands before whoever opens, robs or fills one up: how many lie where, and what is owed to them."""
        account, owed = self.account, sum(piece.owed.millionths for piece in self.pieces)
        return account.place_id, account.condition, account.packet, self.quantity.millionths, owed

    @property
    def set_by(self) -> str:
        """The pieces that set the last day, in words; empty where only the bag says so."""
        return ", ".join(f"{piece.part_number} {piece.lot}" for piece in self.pieces if piece.sets)

    @property
    def lacks_says(self) -> str:
        """What differs from the list, in words; empty where nothing does."""
        return "; ".join(_difference_says(one) for one in self.differences)

    @property
    def standing(self) -> str:
        """What keeps it from use, in a word; a robbed kit is no whole kit until it is filled up."""
        return "quarantine" if self.quarantined else "robbed" if self.owes else ""

    @property
    def owes(self) -> bool:
        """Whether something has to be put back."""
        return any(piece.owed for piece in self.pieces)


def kit_lots(
    *,
    today: date,
    kit: Item | None = None,
    lots: Sequence[Lot] | None = None,
    balance_ids: Collection[int] | None = None,
) -> list[KitLotRow]:
    """Return the kits on the shelf, by kit, last day and place; of one kit or some lots if named; eight statements."""
    found = Balance.objects.on_shelf().filter(lot__item__kind=ItemKind.KIT, quantity__gt=0)
    if kit is not None:
        found = found.filter(lot__item=kit)
    if lots is not None:
        found = found.filter(lot__in=lots)
    if balance_ids is not None:
        found = found.filter(pk__in=balance_ids)
    balances = list(found.select_related("lot__item", "place"))
    known = {balance.lot_id: balance.lot for balance in balances}
    lists = listed_of({lot.item_id: lot.item for lot in known.values()}.values(), today, ANY)
    contents = contents_of(list(known.values()), today, lists)
    suspects, aside = lots_under_suspicion(), _set_aside(known)
    robbed = _robberies([lot for lot in known.values() if contents[lot.pk].owed])
    rows = [
        _row(balance, contents[balance.lot_id], lists[balance.lot.item_id], suspects, aside, robbed, today)
        for balance in balances
    ]
    return sorted(rows, key=lambda row: (row.kit, row.last_use_on or date.max, row.lot, row.place))


def find_kit_lot(lot_id: int) -> Lot | None:
    """Return a lot of a kit by its key; one statement."""
    return Lot.objects.select_related("item").filter(pk=lot_id, item__kind=ItemKind.KIT).first()


def kit_events(lot: Lot) -> list[KitEvent]:
    """Return what was done with the kits of a lot, the latest on top; one statement."""
    found = Posting.objects.filter(movements__balance__lot=lot).distinct().select_related("by", "job")
    return [
        KitEvent(
            at=posting.at,
            what=EVENT_SAYS.get(posting.kind, posting.get_kind_display().lower()),
            by=name_of(posting.by),
            job=posting.job.job if posting.job else "",
            reason=posting.reason,
        )
        for posting in found.order_by("-id")[:MOST_EVENTS]
    ]


def _row(
    balance: Balance,
    contents: KitRecord,
    listed: dict[Item, int],
    suspects: frozenset[int],
    aside: dict[tuple[int, int | None], int],
    robbed: dict[tuple[int, int], Posting],
    today: date,
) -> KitLotRow:
    lot, place = balance.lot, balance.place
    account = account_of(balance)
    assert isinstance(account, OnShelf)
    last_use_on = contents.last_use_on(lot)
    setters = contents.setters(last_use_on)
    held_for = aside.get((lot.pk, balance.place_id), 0) + aside.get((lot.pk, None), 0)
    return KitLotRow(
        balance_id=balance.pk,
        lot_id=lot.pk,
        kit=lot.item.part_number,
        what=lot.item.description,
        lot=lot.lot,
        place=place.place if place else "",
        account=account,
        quantity=Amount(balance.quantity),
        set_aside=Amount(min(held_for, balance.quantity)),
        last_use_on=last_use_on,
        past=last_use_on is not None and last_use_on < today,
        quarantined=balance.condition == Condition.QUARANTINE
        or (place is not None and place.kind == PlaceKind.QUARANTINE),
        suspect=lot.pk in suspects,
        owner=lot.owner,
        recorded=contents.recorded,
        pieces=tuple(_piece(one, one in setters) for one in contents.pieces),
        debts=tuple(_debts(lot, contents, robbed)),
        differences=tuple(_differences(contents, listed)) if contents.recorded else (),
    )


def _piece(held: HeldPiece, sets: bool) -> PieceRow:
    lot, unit = held.piece_lot, held.item.stock_unit
    return PieceRow(
        item_id=held.item.pk,
        piece_lot_id=held.piece_lot_id,
        part_number=held.item.part_number,
        what=held.item.description,
        lot=lot.lot if lot else "",
        quantity=Amount.of(held.quantity, unit),
        owed=Amount.of(held.owed, unit),
        last_use_on=lot.last_use_on if lot else None,
        sets=sets,
    )


def _differences(contents: KitRecord, listed: dict[Item, int]) -> Iterator[Difference]:
    here, owed = contents.amounts(), {one.item for one in contents.owed}
    for item in sorted({*here, *listed}, key=lambda item: item.folded):
        there, wanted = here.get(item, 0), listed.get(item, 0)
        if there != wanted:
            unit = item.stock_unit
            yield Difference(item.part_number, Amount.of(there, unit), Amount.of(wanted, unit), item in owed)


def _difference_says(one: Difference) -> str:
    less = one.listed.millionths - one.here.millionths
    amount = Amount(abs(less), one.here.unit).text
    return f"{'lacks' if less > 0 else 'over the list'} {amount} × {one.part_number}"


def _debts(lot: Lot, contents: KitRecord, robbed: dict[tuple[int, int], Posting]) -> Iterator[OwedPiece]:
    for one in contents.owed:
        posting = robbed.get((lot.pk, one.item.pk))
        yield OwedPiece(
            part_number=one.item.part_number,
            quantity=Amount.of(one.owed, one.item.stock_unit),
            by=name_of(posting.by) if posting else "",
            at=posting.at if posting else None,
            reason=posting.reason if posting else "",
            job=posting.job.job if posting and posting.job else "",
        )


def _robberies(lots: Sequence[Lot]) -> dict[tuple[int, int], Posting]:
    """The posting by which each kit lost a part, by the kit's lot and the part.

    A changed kit goes to another lot: its way back through those lots leads past every robbery.
    """
    if not lots:
        return {}
    changed = Posting.objects.filter(
        kind__in=(PostingKind.ROB, PostingKind.FILL_UP), movements__balance__lot__item__in={lot.item_id for lot in lots}
    ).distinct()
    made_by: dict[int, tuple[Posting, list[Movement]]] = {}
    for posting in changed.select_related("by", "job").prefetch_related("movements__balance__lot__item"):
        moves = list(posting.movements.all())
        for move in moves:
            if move.quantity > 0 and move.balance.lot.item.kind == ItemKind.KIT:
                made_by[move.balance.lot_id] = posting, moves
    found: dict[tuple[int, int], Posting] = {}
    for lot in lots:
        at: int | None = lot.pk
        while at in made_by:
            posting, moves = made_by[at]
            for move in moves:
                if posting.kind == PostingKind.ROB and move.quantity > 0 and move.balance.lot_id != at:
                    found.setdefault((lot.pk, move.balance.lot.item_id), posting)
            before = (move.balance.lot_id for move in moves if move.quantity < 0 and _same_kit(move, lot))
            at = next(before, None)
    return found


def _same_kit(move: Movement, lot: Lot) -> bool:
    return move.balance.lot.item_id == lot.item_id


def _set_aside(lots: Iterable[int]) -> dict[tuple[int, int | None], int]:
    totals: dict[tuple[int, int | None], int] = defaultdict(int)
    for lot, place, quantity in Reservation.objects.filter(lot__in=list(lots)).values_list(
        "lot_id", "place_id", "quantity"
    ):
        totals[lot, place] += quantity
    return totals


def find_piece(row: PieceRow) -> tuple[Item, Lot | None]:
    """Return the part and the lot of a piece; two statements."""
    lot = None if row.piece_lot_id is None else Lot.objects.get(pk=row.piece_lot_id)
    return Item.objects.get(pk=row.item_id), lot


def lots_of_posting(posting: Posting, kit: Item) -> list[tuple[Lot, int]]:
    """Return the lots of a kit that a posting made, and how many kits each got; one statement."""
    moved = Movement.objects.filter(posting=posting, balance__lot__item=kit, quantity__gt=0)
    return [(move.balance.lot, move.quantity // ONE) for move in moved.select_related("balance__lot__item")]
