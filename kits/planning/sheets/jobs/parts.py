"""Where each part of a job comes from: a lot on the shelf, an order, a kit to be packed, or nowhere yet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from bom.reading import STATUS, Piece, Served, ServedBy
from kits.catalog.amounts import Amount
from kits.planning.words.item_names import ItemName


@dataclass(frozen=True, slots=True)
class PartSource:
    """An amount from one source; ``mark`` is the state it brings, ``on`` the day it is here."""

    mark: str
    says: str
    amount: Amount
    on: date | None
    last_use: date | None = None


@dataclass(frozen=True, slots=True)
class JobPart:
    """One part or kit that the job asks for; ``depth`` 1 and more are what packing asks for."""

    part_number: str
    what: str
    leads_to: str
    depth: int
    needed: Amount
    need_on: date | None
    sources: tuple[PartSource, ...]


def numbers_of(pieces: Iterable[Piece]) -> set[str]:
    """Every part that is asked for."""
    return {piece.part_number for piece in pieces}.union(*(numbers_of(piece.contents) for piece in pieces))


def job_parts(pieces: Iterable[Piece], names: Mapping[str, ItemName], as_of: date, depth: int = 0) -> Iterator[JobPart]:
    """What a job asks for: kits first, what is not simply on the shelf on top."""
    for piece in sorted(pieces, key=lambda piece: (-STATUS.index(piece.state), piece.part_number)):
        name = names[piece.part_number]
        yield JobPart(
            part_number=name.part_number,
            what=name.what,
            leads_to=name.leads_to,
            depth=depth,
            needed=name.amount(piece.quantity),
            need_on=piece.need_on,
            sources=tuple(source(served, piece, name.amount(served.quantity), as_of) for served in piece.served),
        )
        yield from job_parts(piece.contents, names, as_of, depth + 1)


def source(served: Served, piece: Piece, amount: Amount, as_of: date) -> PartSource:
    """One source of a part."""
    if served.source is ServedBy.BAG:
        return PartSource("ready", "in its bag", amount, as_of)
    if served.source is ServedBy.RESERVED:
        return PartSource("ready", "set aside for this job", amount, as_of)
    if served.source is ServedBy.PACKED:
        return PartSource("waiting", "packed here, ready on", amount, piece.here_on)
    if served.lot is not None:
        place = f" at {served.lot.place}" if served.lot.place else ""
        return PartSource("ready", f"from lot {served.lot.lot}{place}", amount, as_of, served.lot.last_use)
    if served.order is not None:
        if served.order.promised < as_of:
            return PartSource("waiting", f"on {served.order.order}, overdue since", amount, served.order.promised)
        mark = "late" if served.late else "waiting"
        return PartSource(mark, f"on {served.order.order}, promised", amount, served.order.promised)
    return PartSource("short", "on no order", amount, None)
