"""The lines of a round as they are walked: what must stand on the packet, how many go into which bag, what to mind."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.catalog.rings.sizes import in_both
from kits.catalog.words import Cleanliness
from kits.picking.cautions.look_alikes import shore
from kits.picking.models import Confirmation, PickLine, PickRound, PickShare
from kits.picking.rounds.packs import opened_at, pack_sizes, packs_say
from kits.picking.stand_ins.allowed import StandInRow
from kits.picking.stand_ins.given import GivenRow
from kits.picking.words import CLASS_SAYS, LineState
from kits.stock.suspicions import lots_under_suspicion

STATE_SAYS = {LineState.OPEN: "", LineState.FULL: "full", LineState.SHORT: "short", LineState.LEFT: "not picked"}
LASTS_SHORTLY_DAYS = 92
"""A last use so soon after the build is shown larger: the clerk compares it with what is printed on the bag."""


@dataclass(frozen=True, slots=True)
class BagRow:
    """A bag that is filled on the round; ``marked`` stands on it besides its number and its job."""

    number: int
    job_id: int
    job: str
    pump: str
    scope: str
    customer: str
    build_on: date
    stage: str
    marked: str


@dataclass(frozen=True, slots=True)
class IntoBag:
    """How many go into one bag, and, once booked, how many went; whether the bag was scanned for the line."""

    bag: BagRow
    asked: Amount
    picked: Amount | None
    scanned: bool


@dataclass(frozen=True, slots=True)
class LineRow:
    """One line of the round."""

    key: int
    item_id: int
    number: int
    place: str
    part_number: str
    what: str
    is_kit: bool
    facts: str
    lot: str
    last_use_on: date | None
    runs_out_soon: bool
    asked: Amount
    picked: Amount | None
    into: tuple[IntoBag, ...]
    into_says: str
    why: str
    look_alike: str
    caution: str
    state: str
    says: str
    reason: str
    suspect: str
    booking: int | None
    cure: str
    scanned: str
    clean: str
    packs_say: str
    walker: int | None
    unsuited: tuple[str, ...] = ()
    stand_ins: tuple[StandInRow, ...] = ()
    given: tuple[GivenRow, ...] = ()
    lacks: tuple[IntoBag, ...] = ()
    book: Amount | None = None

    @property
    def alike(self) -> list[str]:
        """Everything that could be taken for it at its bin, a sentence each."""
        return self.look_alike.splitlines()

    @property
    def shows(self) -> tuple[object, ...]:
        """What of the line stands before the clerk: a request that books it names all of that."""
        into = [(one.bag.number, one.bag.job, one.asked.millionths) for one in self.into]
        return self.number, self.place, self.part_number, self.lot, into

    @property
    def is_open(self) -> bool:
        """Whether the line is still to be picked."""
        return self.state == LineState.OPEN


def lacking_bags(line: LineRow, lines: Sequence[LineRow], since: datetime) -> tuple[IntoBag, ...]:
    """The bags into which fewer went than the line asked for, while their job lacks some of the part after all.

    What stands in since the round began makes up for what its lines of the part found too few of, all together.
    """
    booked = [
        (one, one.asked.millionths - one.picked.millionths, row.key == line.key)
        for row in lines
        if row.item_id == line.item_id
        for one in row.into
        if one.picked is not None
    ]
    lacks: dict[str, int] = defaultdict(int)
    for one, short, _ in booked:
        lacks[one.bag.job] += short
    for given in line.given:
        lacks[given.job] -= given.quantity.millionths if given.at >= since else 0
    return tuple(one for one, short, is_here in booked if is_here and short > 0 and lacks[one.bag.job] > 0)


def line_rows(
    found: PickRound, bags: Mapping[int, BagRow], confirmations: Mapping[int, Confirmation]
) -> tuple[LineRow, ...]:
    """Return the lines of a round in the order of the walk; seven statements or fewer."""
    shares: dict[int, list[PickShare]] = defaultdict(list)
    for share in PickShare.objects.filter(line__pick_round=found).order_by("bag__number"):
        shares[share.line_id].append(share)
    lines = list(PickLine.objects.filter(pick_round=found).select_related("lot__item", "place").order_by("number"))
    suspects, packs, opened = lots_under_suspicion(), pack_sizes(lines), opened_at(lines)
    return tuple(
        _line(
            line,
            shares[line.pk],
            bags,
            confirmations.get(line.pk),
            line.lot_id in suspects,
            packs_say(
                sum(share.asked for share in shares[line.pk]),
                opened.get((line.lot_id, line.place_id), 0),
                packs.get(line.lot_id),
            ),
        )
        for line in lines
    )


def _line(
    line: PickLine,
    shares: Sequence[PickShare],
    bags: Mapping[int, BagRow],
    said: Confirmation | None,
    is_suspect: bool,
    in_packs: str,
) -> LineRow:
    item = line.lot.item
    into = tuple(_into(share, bags[share.bag_id], item.stock_unit) for share in shares)
    asked = Amount.of(sum(share.asked for share in shares), item.stock_unit)
    picked = sum(share.picked or 0 for share in shares)
    last_build_on = max(one.bag.build_on for one in into)
    soon = line.last_use_on is not None and (line.last_use_on - last_build_on).days <= LASTS_SHORTLY_DAYS
    return LineRow(
        key=line.pk,
        item_id=item.pk,
        number=line.number,
        place=line.place.place,
        part_number=item.part_number,
        what=item.description,
        is_kit=item.kind == "kit",
        facts=facts_of(item),
        lot=line.lot.lot,
        last_use_on=line.last_use_on,
        runs_out_soon=soon,
        asked=asked,
        picked=Amount.of(picked, item.stock_unit) if said else None,
        into=into,
        into_says=into_says(asked, into),
        why=line.why,
        look_alike=line.look_alike,
        caution=line.caution,
        state=line.state,
        says=STATE_SAYS[LineState(line.state)],
        reason=said.reason if said else "",
        suspect=_suspect_says(line, picked) if is_suspect else "",
        booking=said.pk if said else None,
        cure=line.lot.cure,
        scanned=line.scanned,
        clean="" if item.cleanliness == Cleanliness.NORMAL else CLASS_SAYS[Cleanliness(item.cleanliness)],
        packs_say=in_packs,
        walker=line.walker_id,
    )


def _into(share: PickShare, bag: BagRow, unit: str) -> IntoBag:
    picked = None if share.picked is None else Amount.of(share.picked, unit)
    return IntoBag(bag, Amount.of(share.asked, unit), picked, share.bag_scanned)


def _suspect_says(line: PickLine, picked: int) -> str:
    """What the clerk does about a lot that came under suspicion since the round was laid out."""
    if picked:
        return "Under suspicion: what went into bags waits there until the service lead has decided."
    return "Under suspicion: leave it where it lies and book 0, then the plan takes another lot."


def facts_of(item: Item) -> str:
    """What tells the part at the bin: compound, hardness, size in both measures."""
    return " · ".join(filter(None, (item.material, shore(item.hardness), in_both(item.size))))


def into_says(asked: Amount, into: Sequence[IntoBag]) -> str:
    """How the pieces are shared out: ``12 = 4 + 4 + 2 + 2``."""
    if len(into) == 1:
        return asked.text
    return f"{asked.text} = {' + '.join(one.asked.figure for one in into)}"
