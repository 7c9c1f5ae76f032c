"""Where each part of a job comes from: a lot on the shelf, an order, the packing bench, or nowhere yet."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from bom.supply.matching import OWN, PACKED, UNCOVERED
from kits.catalog.amounts import Amount
from kits.planning.lists.plan_reading import PlanReading, day_of
from kits.planning.words.item_names import ItemName


@dataclass(frozen=True, slots=True)
class Source:
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
    sources: tuple[Source, ...]


class JobParts:
    """The sure pieces of one job, with what serves each."""

    def __init__(self, reading: PlanReading, asker: int) -> None:
        self.reading = reading
        pieces = reading.plan.netting.pieces
        mine = np.flatnonzero((pieces.job == asker) & ~pieces.wear).tolist()
        self.below: dict[int, list[int]] = defaultdict(list)
        for piece in mine:
            self.below[int(pieces.parent[piece])].append(piece)
        draws = reading.plan.netting.draws
        self.draws: dict[int, list[int]] = defaultdict(list)
        for row in np.flatnonzero(np.isin(draws.piece, mine)).tolist():
            self.draws[int(draws.piece[row])].append(row)
        self.items = {int(pieces.item[piece]) for piece in mine}

    def rows(self, names: Mapping[str, ItemName]) -> tuple[JobPart, ...]:
        """What the job asks for: kits first, what is not simply on the shelf on top."""
        return tuple(self._rows(-1, 0, names))

    def _rows(self, parent: int, depth: int, names: Mapping[str, ItemName]) -> Iterator[JobPart]:
        pieces, state = self.reading.plan.netting.pieces, self.reading.plan.found.state
        for piece in sorted(
            self.below.get(parent, ()), key=lambda p: (-int(state[p]), self.reading.part_number(int(pieces.item[p])))
        ):
            name = names[self.reading.part_number(int(pieces.item[piece]))]
            yield JobPart(
                part_number=name.part_number,
                what=name.what,
                leads_to=name.leads_to,
                depth=depth,
                needed=name.amount(pieces.quantity[piece]),
                need_on=day_of(int(pieces.need_day[piece])),
                sources=tuple(self._source(row, name) for row in self.draws[piece]),
            )
            yield from self._rows(piece, depth + 1, names)

    def _source(self, row: int, name: ItemName) -> Source:
        plan, supplies = self.reading.plan, self.reading.plan.supplies
        supply, amount = int(plan.netting.draws.supply[row]), name.amount(plan.netting.draws.quantity[row])
        if supply == OWN:
            return Source("ready", "set aside for this job", amount, plan.shop.as_of)
        if supply == PACKED:
            return Source(
                "waiting", "packed here, ready on", amount, day_of(int(plan.found.day[plan.netting.draws.piece[row]]))
            )
        if supply == UNCOVERED:
            return Source("short", "on no order", amount, None)
        if supplies.lot_place[supply] >= 0:
            lot = plan.shop.lots[int(supplies.lot_place[supply])]
            place = f" at {lot.place}" if lot.place else ""
            return Source("ready", f"from lot {lot.lot}{place}", amount, plan.shop.as_of, lot.last_use)
        line = plan.shop.orders[int(supplies.order_place[supply])]
        if supplies.overdue[supply]:
            return Source("waiting", f"on {line.order}, overdue since", amount, line.promised)
        mark = "late" if plan.found.late_draw[row] else "waiting"
        return Source(mark, f"on {line.order}, promised", amount, line.promised)
