"""Labels for bags and bins: what was received or packed, one label a bag."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q, QuerySet

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full
from kits.catalog.folding import fold
from kits.catalog.words import ItemKind
from kits.stock.codes.coded_label import CodedLabel
from kits.stock.codes.texts import code_of_lot
from kits.stock.lists.words import PACKET_WORDS
from kits.stock.models import Balance, Movement, Posting
from kits.stock.packed_kits.contents import KitRecord, contents_of
from kits.stock.words import Condition, Packet, PlaceKind, PostingKind

DAYS_SHOWN = 14
MOST_COPIES = 99
MOST_ROWS = 400
LABELLED = (
    PostingKind.RECEIVE,
    PostingKind.PACK,
    PostingKind.UNPACK,
    PostingKind.ROB,
    PostingKind.FILL_UP,
    PostingKind.RETURN_TO_LOT,
    PostingKind.OPEN_PACKET,
    PostingKind.CLOSE_PACKET,
    PostingKind.MOVE,
    PostingKind.TO_QUARANTINE,
)
"""What makes a bag that wants a label."""
FOUND_KEY = "found:"
"""How the keys begin of what the first stock-take wrote down."""


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on the label of one bag, and how many bags there are: a kit each, else one.

    ``last_use_says`` is empty for what does not age. ``set_by`` is the piece with which a kit dies, ``home`` the bin
    of the part where the bag lies elsewhere for now.
    """

    balance_id: int
    lot_id: int
    part_number: str
    item_kind: str
    what: str
    size_and_compound: str
    lot: str
    maker_batch: str
    quantity: Amount
    last_use_on: date | None
    undated: bool
    set_by: str
    place: str
    home: str
    packet: str
    held: bool
    owner: str
    bags: int
    came_at: datetime | None

    @property
    def coded(self) -> CodedLabel:
        """The label as it is printed, with its code."""
        last_use = "no date: held" if self.undated else "without limit"
        if self.last_use_on:
            last_use = in_full(self.last_use_on)
        mind = (
            "HELD, do not use" if self.held else "",
            f"expires with {self.set_by}" if self.set_by else "",
            self.packet,
            f"belongs to {self.owner}" if self.owner else "",
        )
        return CodedLabel(
            code_of_lot(self.part_number, self.lot),
            head=self.part_number,
            what=self.what,
            size=self.size_and_compound,
            facts=(
                ("Lot", self.lot),
                ("Last use", last_use),
                ("Place", f"{self.place}, home {self.home}" if self.home else self.place),
            ),
            mind=" ".join(f"{one}." for one in mind if one),
        )


def labels_of(balance_ids: Collection[int], *, today: date) -> list[Label]:
    """The labels of some accounts of the shelf, in the order of the walk; five statements."""
    return _labels(_lying().filter(pk__in=balance_ids), {}, today)


def labels_lately(*, words: str, now: datetime, today: date) -> list[Label]:
    """What came, was packed or put into another bag in the last days, or what the words name; seven statements."""
    found = _lying()
    if words:
        for word in words.split():
            key = fold(word)
            found = found.filter(
                Q(place__folded__contains=key)
                | Q(lot__folded__contains=key)
                | Q(lot__item__folded__contains=key)
                | Q(lot__item__description__icontains=word)
            )
        return _labels(found[:MOST_ROWS], {}, today)
    newest = _filled_lately(now - timedelta(days=DAYS_SHOWN))
    came = dict(sorted(newest.items(), key=lambda pair: pair[1], reverse=True)[:MOST_ROWS])
    rows = _labels(found.filter(pk__in=came), came, today)
    return sorted(rows, key=lambda row: row.came_at or now, reverse=True)


def _filled_lately(since: datetime) -> dict[int, datetime]:
    """The accounts of the shelf into which something came, and when the last did; four statements.

    One after the other: joined, all movements of the shelf would be read for those of a few days.
    """
    bagged = Q(kind__in=LABELLED) | Q(key__startswith=FOUND_KEY)
    posted = dict(Posting.objects.filter(bagged, at__gte=since).order_by("at").values_list("pk", "at"))
    taken_back = Posting.objects.filter(reverses__in=list(posted)).order_by().values_list("reverses_id", flat=True)
    stands = posted.keys() - set(taken_back)
    raised = Movement.objects.filter(posting__in=list(stands), quantity__gt=0).order_by()
    filled: dict[int, datetime] = {}
    for balance, posting in raised.values_list("balance_id", "posting_id"):
        filled[balance] = max(posted[posting], filled.get(balance, posted[posting]))
    shelf = Balance.objects.on_shelf().filter(pk__in=list(filled)).order_by().values_list("pk", flat=True)
    return {balance: filled[balance] for balance in shelf}


def balances_raised(posting_ids: Iterable[int]) -> list[int]:
    """The accounts of the shelf into which some postings put something; one statement."""
    moved = Movement.objects.filter(posting_id__in=list(posting_ids), quantity__gt=0, balance__job__isnull=True)
    return list(moved.order_by("id").values_list("balance_id", flat=True))


def balances_of_lots(lot_ids: Iterable[int]) -> list[int]:
    """The accounts of the shelf in which some lots lie; one statement."""
    return list(_lying().filter(lot_id__in=list(lot_ids)).values_list("pk", flat=True))


def _lying() -> QuerySet[Balance]:
    return (
        Balance.objects.on_shelf()
        .filter(quantity__gt=0)
        .select_related("lot__item", "place")
        .order_by("place__walk_order", "place__folded", "lot__item__folded", "lot__folded", "id")
    )


def _labels(found: QuerySet[Balance], came: dict[int, datetime], today: date) -> list[Label]:
    balances = list(found)
    kits = {one.lot_id: one.lot for one in balances if one.lot.item.kind == ItemKind.KIT}
    contents = contents_of(list(kits.values()), today)
    return [_label(one, contents.get(one.lot_id), came.get(one.pk)) for one in balances]


def _label(balance: Balance, contents: KitRecord | None, came_at: datetime | None) -> Label:
    lot, item, place = balance.lot, balance.lot.item, balance.place
    last_use_on = contents.last_use_on(lot) if contents else lot.last_use_on
    setters = contents.setters(last_use_on) if contents else ()
    ages = item.shelf_life_months is not None
    name = place.place if place else ""
    return Label(
        balance_id=balance.pk,
        lot_id=lot.pk,
        part_number=item.part_number,
        item_kind=item.kind,
        what=item.description,
        size_and_compound=" · ".join(filter(None, (item.size, item.material, item.hardness))),
        lot=lot.lot,
        maker_batch=lot.maker_batch,
        quantity=Amount.of(balance.quantity, item.stock_unit),
        last_use_on=last_use_on,
        undated=ages and last_use_on is None,
        set_by=", ".join(f"{one.item} {one.piece_lot.lot}" for one in setters if one.piece_lot),
        place=name,
        home=item.home_place if fold(item.home_place) != fold(name) else "",
        packet="" if balance.packet == Packet.SEALED else PACKET_WORDS[Packet(balance.packet)],
        held=balance.condition == Condition.QUARANTINE or (place is not None and place.kind == PlaceKind.QUARANTINE),
        owner=lot.owner,
        bags=min(balance.quantity // ONE, MOST_COPIES) if item.kind == ItemKind.KIT else 1,
        came_at=came_at,
    )
