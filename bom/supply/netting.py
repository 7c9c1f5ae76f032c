"""All pieces of the plan served in their order: what is sure level by level, kits packed or bought, planned wear.

A kit that has to be packed, or an assembly that has to be made, asks for its contents: "passed down". Items are taken
by low-level code, so that everything that asks for an item is known before it is served (J. Orlicky, Material
Requirements Planning: netting level by level).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import chain

import numpy as np

from bom.demand.askers import Taker
from bom.demand.kit_cover import contents, inside_each
from bom.demand.requirements import Demand
from bom.structure.arrays import FIRST_DAY, LAST_DAY, Structure
from bom.structure.calendar import ShopCalendar
from bom.structure.tables import Bools, Ints, Table, distinct, freeze, spread
from bom.supply.bags import Bags, Recorded, times
from bom.supply.matching import (
    NOBODY,
    PACKED,
    UNCOVERED,
    Draws,
    Pieces,
    free_on_lots,
    in_turn,
    need_days,
    serve,
    take_from_lots,
    who_fills,
)
from bom.supply.rounds import Changes, Round, Rounds, same, supplies_of, within
from bom.supply.supplies import Supplies
from bom.values import ONE
from bom.wear.planned import Cover, WearCovered, cover_items

ALWAYS_PACKED = ("pack", "make")
LATEST_FOR_WEAR_DAYS = 60
"""Working days after its need date within which an order still covers planned wear."""


@dataclass(frozen=True)
class Packing(Table):
    """By item: the lead time, in working days; whether it is always packed or made here, or packed or else bought."""

    lead: Ints
    always: Bools
    or_bought: Bools


@dataclass(frozen=True)
class Netting:
    """Every piece of the plan and what serves it; pieces that are passed down stand after those that ask for them.

    ``supply_left_for_stock`` is what is left of each item once all sure pieces are served, on lots that live to the
    last build day and on order lines, in millionths: what safety stock is set against. ``first_build`` is, for
    each item, the first build day of a piece, or of a position still to be looked at, that asks for it; ``FIRST_DAY``
    where nothing does. In millionths by item: ``not_from_shelf`` is how much of the sure pieces orders, packing or
    nothing at all serves; ``left_for_wear`` what they leave on nobody's lots that live to the last build day of wear.
    ``shelf`` is what there was, ``supplies`` what is left of it, ``recorded`` what kits among it really hold.
    """

    pieces: Pieces
    draws: Draws
    covers: dict[int, Cover]
    supply_left_for_stock: Ints
    last_build_day: int
    first_build: Ints
    not_from_shelf: Ints
    left_for_wear: Ints
    shelf: Supplies
    supplies: Supplies
    packing: Packing
    recorded: Recorded
    rounds: Rounds

    def __post_init__(self) -> None:
        for record in (self, self.shelf, self.supplies):
            freeze(record)


@dataclass
class _Bench:
    """Where the plan is put together, round after round."""

    demand: Demand
    supplies: Supplies
    calendar: ShopCalendar
    today: int
    packing: Packing
    takers: Sequence[Taker]
    bags: Bags
    changes: Changes | None
    pieces: list[Pieces] = field(default_factory=list)
    draws: list[Draws] = field(default_factory=list)
    count: int = 0

    def add(self, pieces: Pieces) -> Ints:
        """Number new pieces."""
        numbers = np.arange(self.count, self.count + pieces.size)
        self.pieces.append(pieces)
        self.count += pieces.size
        return numbers


def net(
    demand: Demand,
    shelf: Supplies,
    calendar: ShopCalendar,
    as_of: int,
    staging: int,
    recorded: Recorded,
    before: Netting | None = None,
    worn: WearCovered | None = None,
) -> Netting:
    """Serve everything that is asked.

    Parameters
    ----------
    demand : what is asked for
    shelf : what there is; it is not written into
    calendar : the shop's working days
    as_of : day number of today
    staging : working days between parts at the bench and the build day
    recorded : what is recorded of the kits among the lots that the supplies were gathered from
    before : the netting of the very same demand, on the same day, from other supplies
    worn : what may be found worn by a plan of the same lists, and what covered it
    """
    today = int(calendar.forward_all(np.array([as_of], "datetime64[D]"), np.zeros(1, np.int64)).astype(np.int64)[0])
    supplies = shelf.to_serve_from()
    packing = _packing(demand.structure) if before is None else before.packing
    takers = [asker.taker for asker in demand.askers]
    changes = None if before is None else Changes(before.shelf, supplies)
    kept, pieces = (Rounds(), _stacked(())) if before is None else (before.rounds, before.pieces)
    bench = _Bench(demand, supplies, calendar, today, packing, takers, Bags(demand, recorded, supplies), changes)
    sure = _serve_by_level(bench, lambda: _direct_pieces(demand, calendar, today, staging), kept.sure, pieces)
    _pack_else_buy(bench)
    last = max((asker.build_day for asker in demand.askers), default=as_of)
    left = _left_for_stock(supplies, last)
    left_for_wear = _left_for_wear(demand, supplies)
    covers = _covers(demand, worn) if before is None else before.covers
    wear_from = bench.count
    wear = _serve_by_level(
        bench,
        lambda: _wear_pieces(demand, covers, calendar, today, staging),
        kept.wear if kept.wear_from == wear_from else (),
        pieces,
    )
    pieces = Pieces.joined(bench.pieces) if bench.pieces else _stacked(())
    if before is not None and same(pieces, before.pieces):
        pieces = before.pieces
    draws, rounds = _put_together(bench.draws, sure, wear, wear_from)
    by_item = _first_builds(demand, pieces), _not_from_shelf(supplies, pieces, draws), left_for_wear
    return Netting(pieces, draws, covers, left, last, *by_item, shelf, supplies, packing, recorded, rounds)


def _put_together(
    parts: list[Draws], sure: Sequence[Round], wear: Sequence[Round], wear_from: int
) -> tuple[Draws, Rounds]:
    """The draws of a plan, those of nothing left out, and its rounds; none of the ``parts`` is left."""
    served = [draws if draws.quantity.all() else draws.take(draws.quantity > 0) for draws in parts]
    parts.clear()
    starts = np.cumsum([0, *(each.size for each in served)]).tolist()
    draws = Draws.joined(served) if served else Draws.together(())
    return draws, Rounds(within(draws, starts, sure), within(draws, starts, wear), wear_from)


def _packing(structure: Structure) -> Packing:
    items = structure.items
    return Packing(
        lead=np.array([item.lead_days or 0 for item in items], np.int64),
        always=np.array([n.source in ALWAYS_PACKED and structure.has_contents(p) for p, n in enumerate(items)], bool),
        or_bought=np.array([item.source == "pack_else_buy" for item in items], bool),
    )


def _covers(demand: Demand, worn: WearCovered | None) -> dict[int, Cover]:
    """How many pieces cover what may be found worn, by item."""
    items, countable = demand.structure.items, demand.structure.countable
    how_sure = {item: items[item].how_sure_percent for item in demand.wear}
    return cover_items(demand.wear, how_sure, {item: bool(countable[item]) for item in demand.wear}, worn)


def _not_from_shelf(supplies: Supplies, pieces: Pieces, draws: Draws) -> Ints:
    """How much of the sure pieces of each item is not served by lots or out of bags, in millionths."""
    other = (draws.supply == UNCOVERED) | (draws.supply == PACKED)
    drawn = draws.supply >= 0
    other[drawn] = supplies.order_place[draws.supply[drawn]] >= 0
    other &= ~pieces.wear[draws.piece]
    total = np.zeros(supplies.exacting.size, np.int64)
    np.add.at(total, pieces.item[draws.piece[other]], draws.quantity[other])
    return total


def _first_builds(demand: Demand, pieces: Pieces) -> Ints:
    """The first build day that asks for each item; ``FIRST_DAY`` where nothing does."""
    first = np.full(len(demand.structure.items), LAST_DAY, np.int64)
    np.minimum.at(first, pieces.item, pieces.build_day)
    np.minimum.at(first, demand.wear.item, demand.wear.day)
    return np.where(first < LAST_DAY, first, FIRST_DAY)


@dataclass(frozen=True)
class _OtherNeeds(Table):
    """What is asked for by no job: number of the asker, item, millionths."""

    asker: Ints
    item: Ints
    quantity: Ints


def _direct_pieces(demand: Demand, calendar: ShopCalendar, today: int, staging: int) -> Pieces:
    """What jobs and other needs ask for themselves."""
    structure, askers = demand.structure, demand.askers
    loose = demand.requirements.loose
    of_asker = np.array([asker.recipe for asker in askers], np.int64)
    starts = np.searchsorted(loose.recipe, np.arange(len(demand.explosion.recipes) + 1))
    of_jobs = np.flatnonzero(of_asker >= 0)
    begin, end = starts[of_asker[of_jobs]], starts[of_asker[of_jobs] + 1]
    row = spread(begin, end)
    job = np.repeat(of_jobs, end - begin)
    others = _OtherNeeds.of_rows(
        [
            (number, item, asker.need.quantity)
            for number, asker in enumerate(askers)
            if asker.need and not structure.bench[item := structure.index[asker.need.part_number]]
        ]
    )
    job = np.concatenate((job, others.asker))
    build = np.array([asker.build_day for asker in askers], np.int64)[job]
    back = np.where(of_asker[job] >= 0, staging, 0)
    return Pieces(
        item=np.concatenate((loose.item[row], others.item)),
        job=job,
        quantity=np.concatenate((loose.quantity[row], others.quantity)),
        need_day=need_days(calendar, build, back, today),
        build_day=build,
        way=np.full(job.size, -1, np.int64),
        parent=np.full(job.size, -1, np.int64),
        wear=np.zeros(job.size, bool),
        condition=np.array([asker.condition for asker in askers], np.int64)[job],
    )


def _wear_pieces(demand: Demand, covers: dict[int, Cover], calendar: ShopCalendar, today: int, staging: int) -> Pieces:
    items = sorted(covers)
    days, planned = ([getattr(covers[item], name) for item in items] for name in ("days", "planned"))
    item = np.repeat(np.array(items, np.int64), np.array([len(of_item) for of_item in days], np.int64))
    build, quantity = (np.fromiter(chain.from_iterable(column), np.int64) for column in (days, planned))
    found = np.flatnonzero(quantity > 0)
    item, build, quantity = item[found], build[found], quantity[found]
    condition = demand.conditions.on_days(build)
    nobody = np.full(item.size, NOBODY, np.int64)
    need = need_days(calendar, build, np.full(item.size, staging, np.int64), today)
    return Pieces(item, nobody, quantity, need, build, nobody, nobody, np.ones(item.size, bool), condition)


def _serve_by_level(bench: _Bench, asked: Callable[[], Pieces], kept: Sequence[Round], before: Pieces) -> list[Round]:
    """Serve pieces, lowest low-level code first; what packed kits and made assemblies lack is passed down.

    Parameters
    ----------
    asked : works out the pieces to begin with
    kept : the rounds of the plan before, which began with the same pieces
    before : the pieces of that plan
    """
    structure = bench.demand.structure
    rank = np.append(structure.name_rank, -1)
    rounds: list[Round] = []
    done: list[int] = []
    for old in kept:
        pieces = before.take(slice(old.first, old.end))
        done.append(int(structure.level[pieces.item[0]]))
        rounds.append(_serve_round(bench, pieces, old))
        if not same(rounds[-1].below, old.below):
            break
    else:
        if kept:
            return rounds
    waiting: dict[int, list[Pieces]] = defaultdict(list)
    for pieces in (asked(), *(one.below for one in rounds)):
        _sort_by_level(structure, pieces, waiting)
    for level in done:
        waiting.pop(level, None)
    while waiting:
        pieces = in_turn(_stacked(waiting.pop(min(waiting))), rank)
        rounds.append(_serve_round(bench, pieces))
        _sort_by_level(structure, rounds[-1].below, waiting)
    return rounds


def _sort_by_level(structure: Structure, pieces: Pieces, waiting: dict[int, list[Pieces]]) -> None:
    """Put pieces to those that wait, by low-level code."""
    level = structure.level[pieces.item]
    for code in distinct(level).tolist():
        waiting[code].append(pieces.take(level == code))


def _serve_round(bench: _Bench, pieces: Pieces, old: Round | None = None) -> Round:
    """Serve the pieces of one low-level code; of ``old``, which was asked the same, what has not changed is kept."""
    numbers = bench.add(pieces)
    left = bench.supplies.left[supplies_of(bench.supplies, pieces)]
    latest = _latest_days(bench.calendar, pieces)
    kept = None
    if old is not None and bench.changes is not None:
        kept = partial(bench.changes.draws_kept, old, pieces, numbers)
    served = serve(bench.supplies, pieces, numbers, bench.takers, latest, kept)
    lacking = (served.supply == UNCOVERED) & bench.packing.always[pieces.item[served.piece - numbers[0]]]
    below = _passed_down(bench, pieces, numbers, served.piece[lacking], served.quantity[lacking])
    packed = lacking & np.isin(served.piece, below.parent)
    draws = replace(served, supply=np.where(packed, PACKED, served.supply)) if packed.any() else served
    below = _stacked([below, *bench.bags.lacking(pieces, numbers, draws)])
    bench.draws.append(draws)
    return Round(int(numbers[0]), bench.count, len(bench.draws) - 1, left, served, below)


def _latest_days(calendar: ShopCalendar, pieces: Pieces) -> Ints:
    """The last day on which an order still serves each piece: for sure pieces any, for planned wear a limited one."""
    latest = np.full(pieces.size, LAST_DAY, np.int64)
    need = pieces.need_day[pieces.wear]
    span = np.full(need.size, LATEST_FOR_WEAR_DAYS, np.int64)
    latest[pieces.wear] = calendar.forward_all(need.astype("datetime64[D]"), span).astype(np.int64)
    return latest


def _passed_down(bench: _Bench, pieces: Pieces, numbers: Ints, piece: Ints, quantity: Ints) -> Pieces:
    """What packing ``quantity`` of each piece asks of its contents: one piece for each part of the contents.

    A piece whose contents do not apply to its job is not packed; it stays uncovered.
    """
    structure = bench.demand.structure
    lacking, totals = np.unique(piece, return_inverse=True)
    total = np.zeros(lacking.size, np.int64)
    np.add.at(total, totals, quantity)
    row = lacking - numbers[0] if numbers.size else lacking
    held = contents(structure, bench.demand.conditions, pieces.item[row], pieces.condition[row])
    held = held.take(np.lexsort((structure.child[held.line], held.row)))
    line, source = held.line, held.row
    asked = times(total[source], structure.quantity[line])
    start = np.flatnonzero(np.diff(source * len(structure.items) + structure.child[line], prepend=-1))
    source, item = source[start], structure.child[line][start]
    asked = np.add.reduceat(asked, start) if start.size else asked
    from_row = row[source]
    kit = pieces.item[from_row]
    need = need_days(bench.calendar, pieces.need_day[from_row], bench.packing.lead[kit], bench.today)
    return replace(pieces.take(from_row), item=item, quantity=asked, need_day=need, way=kit, parent=lacking[source])


@dataclass(frozen=True)
class _Waiting(Table):
    """Uncovered kits that may be packed: the round in which each was served, its draw in it, its piece, millionths."""

    round: Ints
    draw: Ints
    piece: Ints
    quantity: Ints


def _pack_else_buy(bench: _Bench) -> None:
    """Decide, kit by kit in part-number order, how many uncovered kits can be packed whole from free lots."""
    structure = bench.demand.structure
    waiting, asked = _uncovered_kits(bench)
    rank = np.append(structure.name_rank, -1)
    turn = np.lexsort((waiting.draw, waiting.round, rank[asked.way], asked.job, asked.need_day, rank[asked.item]))
    waiting, asked = waiting.take(turn), asked.take(turn)
    inside = inside_each(structure, bench.demand.conditions, asked.item, asked.condition)
    packed = {turn: np.zeros_like(bench.draws[turn].quantity) for turn in distinct(waiting.round).tolist()}
    lacking: list[Pieces] = []
    rows = zip(waiting.round.tolist(), waiting.draw.tolist(), inside, strict=True)
    for row, (of_round, draw, holds) in enumerate(rows):
        packed[of_round][draw], without = _pack_one(bench, waiting, asked, row, holds)
        lacking += without
    for of_round, taken in packed.items():
        draws = bench.draws[of_round]
        bench.draws[of_round] = replace(draws, quantity=draws.quantity - taken)
    _serve_by_level(bench, lambda: _stacked(lacking), (), _stacked(()))


def _uncovered_kits(bench: _Bench) -> tuple[_Waiting, Pieces]:
    """The kits that may be packed and that nothing covers yet, and their pieces."""
    waiting, asked = [], []
    first = 0
    for turn, (pieces, draws) in enumerate(zip(bench.pieces, bench.draws, strict=True)):
        of_draw = draws.piece - first
        row = np.flatnonzero((draws.supply == UNCOVERED) & bench.packing.or_bought[pieces.item[of_draw]])
        waiting.append(_Waiting(np.full(row.size, turn), row, draws.piece[row], draws.quantity[row]))
        asked.append(pieces.take(of_draw[row]))
        first += pieces.size
    return _Waiting.together(waiting), _stacked(asked)


def _pack_one(
    bench: _Bench, waiting: _Waiting, asked_for: Pieces, row: int, inside: Mapping[int, int]
) -> tuple[int, Sequence[Pieces]]:
    """Pack what can be packed of one row: how much, in millionths, and what the kits inside it are without."""
    if not inside:
        return 0, ()
    number, kit, build = int(waiting.piece[row]), int(asked_for.item[row]), int(asked_for.build_day[row])
    taker = who_fills(bench.supplies, bench.takers[int(asked_for.job[row])], kit)
    kits = int(waiting.quantity[row]) // ONE
    for part, each in inside.items():
        kits = min(kits, free_on_lots(bench.supplies, part, build, taker) // each)
        if kits == 0:
            return 0, ()
    parts = sorted(inside)
    one = np.zeros(1, np.int64)
    lead = bench.packing.lead[np.array([kit])]
    need = int(need_days(bench.calendar, one + asked_for.need_day[row], lead, bench.today)[0])
    template = asked_for.take(np.full(len(parts), row))
    asked = np.array([inside[part] * kits for part in parts], np.int64)
    below = replace(
        template,
        item=np.array(parts, np.int64),
        quantity=asked,
        need_day=np.full(len(parts), need, np.int64),
        way=np.full(len(parts), kit, np.int64),
        parent=np.full(len(parts), number, np.int64),
    )
    numbers = bench.add(below)
    taken = [
        (int(numbers[place]), supply, part_quantity)
        for place, part in enumerate(parts)
        for supply, part_quantity in take_from_lots(bench.supplies, part, int(asked[place]), build, taker)
    ]
    taken.append((number, PACKED, kits * ONE))
    drawn = Draws.of_shelf(*np.array(taken, np.int64).T)
    bench.draws.append(drawn)
    return kits * ONE, bench.bags.lacking(below, numbers, drawn.take(drawn.piece >= numbers[0]))


def _left_for_stock(supplies: Supplies, last_build_day: int) -> Ints:
    good = (supplies.lot_place < 0) | (supplies.last_day >= last_build_day) & _nobodys(supplies)
    left = np.zeros(supplies.exacting.size, np.int64)
    np.add.at(left, supplies.item[good], supplies.left[good])
    return left


def _left_for_wear(demand: Demand, supplies: Supplies) -> Ints:
    """What is left of each item on nobody's lots that live to the last build day on which it may be found worn."""
    last = np.full(supplies.exacting.size, LAST_DAY + 1, np.int64)
    last[demand.wear.item] = demand.wear.day  # sorted by item and day: the last one stays
    good = (supplies.lot_place >= 0) & (supplies.last_day >= last[supplies.item]) & _nobodys(supplies)
    left = np.zeros(supplies.exacting.size, np.int64)
    np.add.at(left, supplies.item[good], supplies.left[good])
    return left


def _nobodys(supplies: Supplies) -> Bools:
    return np.array([not name for name in supplies.owner], bool)


def _stacked(parts: Sequence[Pieces]) -> Pieces:
    if not parts:
        empty = np.zeros(0, np.int64)
        return Pieces(*(empty,) * 7, np.zeros(0, bool), empty)
    return Pieces.together(parts)
