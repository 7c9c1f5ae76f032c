"""What a round takes for each job: the lots that the plan draws for it, and what it has to wait for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from bom.reading import Asker, Reading, ServedBy
from bom.values import Lot, OrderLine
from kits.picking.queries import HeldForJob
from kits.picking.words import NoteKind

NOT_PICKED = {
    ServedBy.BAG: NoteKind.IN_BAG,
    ServedBy.ORDER: NoteKind.COMING,
    ServedBy.PACKED: NoteKind.PACK,
    ServedBy.NOTHING: NoteKind.MISSING,
}


@dataclass(frozen=True, slots=True)
class Give:
    """Millionths from one row of the shelf for one job; ``set_aside`` pieces were reserved for the job before."""

    job: str
    lot: Lot
    quantity: int
    set_aside: bool

    @property
    def is_opened(self) -> bool:
        """Whether they lie in an opened packet."""
        return self.lot.packet != "sealed"

    @property
    def stop(self) -> tuple[str, str, str]:
        """The part, the lot and the place: gives of one stop are one line of a round."""
        return self.lot.part_number, self.lot.lot, self.lot.place


@dataclass(frozen=True, slots=True)
class Lack:
    """Millionths that do not lie on the shelf for the job; ``order`` is the line that brings them, if one does."""

    job: str
    part_number: str
    quantity: int
    kind: NoteKind
    order: OrderLine | None = None


def to_pick(reading: Reading, askers: Iterable[Asker]) -> tuple[list[Give], list[Lack]]:
    """What the plan gives some jobs from the shelf, and what of theirs is not there.

    What goes into a kit is fetched when it is packed: only the kit itself stands here, as one that has to be packed.
    """
    gives: list[Give] = []
    lacks: list[Lack] = []
    for asker in askers:
        for part_number, served in reading.served_of(asker):
            if served.lot is not None:
                is_reserved = served.source is ServedBy.RESERVED
                gives.append(Give(asker.name, served.lot, served.quantity, is_reserved))
            else:
                kind = NOT_PICKED[served.source]
                lacks.append(Lack(asker.name, part_number, served.quantity, kind, served.order))
    return gives, lacks


def less_what_is_held(gives: Iterable[Give], held: Collection[HeldForJob]) -> tuple[list[Give], list[Lack]]:
    """Take off what is on a round already, from the same lot first, and say what was taken off."""
    left: dict[tuple[str, str], int] = defaultdict(int)
    lots: set[tuple[str, str, str]] = set()
    for one in held:
        left[one.job, one.part_number] += one.quantity
        lots.add((one.job, one.part_number, one.lot))
    still: list[Give] = []
    taken: list[Lack] = []
    for give in sorted(gives, key=lambda give: (give.job, give.lot.part_number, give.lot.lot) not in lots):
        key = give.job, give.lot.part_number
        off = min(left[key], give.quantity)
        left[key] -= off
        if off:
            taken.append(Lack(*key, off, NoteKind.OTHER_ROUND))
        if not off:
            still.append(give)
        elif off < give.quantity:
            still.append(replace(give, quantity=give.quantity - off))
    return still, taken
