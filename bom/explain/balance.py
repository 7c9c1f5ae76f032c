"""One line that balances: what is surely needed of a part, less what serves it, is short; and who asks for how much."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bom.explain.asked import asked_by
from bom.explain.tree import Rule, Why, pieces, whole
from bom.explain.ways import PathRow, paths
from bom.plan import Plan
from bom.status.arrivals import LATE
from bom.structure.tables import Ints
from bom.supply.matching import OWN, PACKED, UNCOVERED

SET_ASIDE, SHELF, PACKED_HERE, ON_ORDER, LATE_ORDER = (
    "set aside",
    "from the shelf",
    "packed here",
    "on order",
    "on a late order",
)
NOTHING = "nothing"
SOURCES = (SET_ASIDE, SHELF, PACKED_HERE, ON_ORDER, LATE_ORDER, NOTHING)
BY_REPORT = ("verdict renew", "verdict missing", "renewed with its group")
WITH_FINDING = "renewed along with a finding"


@dataclass(frozen=True, slots=True)
class Shortfall:
    """What one job (or other need) lacks of one item: on no order, or coming late; millionths."""

    missing: int = 0
    late: int = 0


@dataclass(frozen=True, slots=True)
class AskedLine:
    """One reason why a job asks for an item.

    ``because`` is one of renew, inspect, finding, kit, pack, need (as `PathRow` has them), report (found worn, missing
    or renewed with its group) and along (renewed along with what a finding renews). ``says`` is the arithmetic of a
    way, ``quantity`` in millionths. ``kits`` are the kits, one of each set, that serve the assembly of the way: those
    that bring some of the item, or all of them where none does. ``brought`` is what they bring of it to the assembly,
    ``all_in_kits``: all that the ways into this assembly ask for.
    """

    because: str
    quantity: int
    says: str = ""
    section: str = ""
    kits: tuple[str, ...] = ()
    brought: int = 0
    all_in_kits: bool = False
    finding: str = ""


def balances(plan: Plan, items: Iterable[int]) -> dict[int, Why]:
    """What is short of each item: what jobs and other needs surely ask for, less each kind of source that serves it.

    Parameters
    ----------
    plan : the finished plan
    items : numbers of the items
    """
    netted, draws = plan.netting.pieces, plan.netting.draws
    wanted = np.zeros(len(plan.demand.structure.items), bool)
    wanted[list(items)] = True
    needed, sure = np.zeros(wanted.size, np.int64), np.flatnonzero(wanted[netted.item] & ~netted.wear)
    np.add.at(needed, netted.item[sure], netted.quantity[sure])
    rows = np.flatnonzero(wanted[netted.item[draws.piece]] & ~netted.wear[draws.piece])
    by_source = np.zeros((wanted.size, len(SOURCES)), np.int64)
    np.add.at(by_source, (netted.item[draws.piece[rows]], _sources(plan, rows)), draws.quantity[rows])
    return {
        item: _balance(plan, item, int(needed[item]), dict(zip(SOURCES, by_source[item].tolist(), strict=True)))
        for item in np.flatnonzero(wanted).tolist()
    }


def _balance(plan: Plan, item: int, needed: int, served: dict[str, int]) -> Why:
    taken = (whole(source, served[source]).taken_off() for source in SOURCES if source != NOTHING and served[source])
    name = plan.demand.structure.items[item].part_number
    return pieces("short", served[NOTHING], Rule.SUM, (whole("needed", needed), *taken), item=name)


def _sources(plan: Plan, rows: Ints) -> Ints:
    """The kind of source behind each of these draws, as a place in `SOURCES`."""
    supply, order_place = plan.netting.draws.supply[rows], plan.supplies.order_place
    is_order = (supply >= 0) & (order_place[np.maximum(supply, 0)] >= 0) if order_place.size else supply < supply
    kinds = {
        SET_ASIDE: supply == OWN,
        PACKED_HERE: supply == PACKED,
        NOTHING: supply == UNCOVERED,
        LATE_ORDER: is_order & plan.found.late_draw[rows],
        ON_ORDER: is_order,
    }
    places = [SOURCES.index(source) for source in kinds]
    found: Ints = np.select(list(kinds.values()), places, SOURCES.index(SHELF)).astype(np.int64)
    return found


def needs_of(plan: Plan, item: int) -> dict[int, int]:
    """Millionths of one item that each job or other need is sure to ask for, by its number.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    netted = plan.netting.pieces
    needs: dict[int, int] = defaultdict(int)
    for piece in np.flatnonzero((netted.item == item) & ~netted.wear).tolist():
        needs[int(netted.job[piece])] += int(netted.quantity[piece])
    return dict(needs)


def shortfalls(plan: Plan) -> dict[int, dict[int, Shortfall]]:
    """What each job or other need lacks, by its number and the item: only where something is missing or late.

    A packed kit whose parts are all in time, but which cannot be packed in time, is late itself.

    Parameters
    ----------
    plan : the finished plan
    """
    netted, draws, found = plan.netting.pieces, plan.netting.draws, plan.found
    sure = ~netted.wear[draws.piece]
    lacking = np.flatnonzero(((draws.supply == UNCOVERED) | found.late_draw) & sure)
    rows = np.concatenate((lacking, _packed_late(plan)))
    piece = draws.piece[rows]
    asker, item, quantity = netted.job[piece], netted.item[piece], draws.quantity[rows]
    known, first, place = np.unique(np.stack((asker, item)), axis=1, return_index=True, return_inverse=True)
    is_missing, place = draws.supply[rows] == UNCOVERED, place.reshape(-1)
    missing, late = np.zeros(known.shape[1], np.int64), np.zeros(known.shape[1], np.int64)
    np.add.at(missing, place[is_missing], quantity[is_missing])
    np.add.at(late, place[~is_missing], quantity[~is_missing])
    by_asker: dict[int, dict[int, Shortfall]] = defaultdict(dict)
    for column in np.argsort(first).tolist():  # in the order of the draws
        lacks = Shortfall(int(missing[column]), int(late[column]))
        by_asker[int(asker[first[column]])][int(item[first[column]])] = lacks
    return dict(by_asker)


def _packed_late(plan: Plan) -> Ints:
    """The draws of what is packed too late though nothing inside it is missing or late."""
    netted, draws, state = plan.netting.pieces, plan.netting.draws, plan.found.state
    inside_bad = netted.parent[(netted.parent >= 0) & (state >= LATE)]
    late = (draws.supply == PACKED) & ~netted.wear[draws.piece] & (state[draws.piece] == LATE)
    rows: Ints = np.flatnonzero(late & ~np.isin(draws.piece, inside_bad))
    return rows


def why_asked(plan: Plan, item: int, askers: Iterable[int]) -> dict[int, tuple[AskedLine, ...]]:
    """Why each of these jobs and other needs asks for an item: its ways, kits and contents, then its strip report.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    askers : numbers of the jobs or other needs
    """
    chosen, part_number = list(askers), plan.demand.structure.items[item].part_number
    by_name: dict[str, list[PathRow]] = defaultdict(list)
    for row in paths(plan, part_number, chosen):
        by_name[row.job].append(row)
    netted = plan.netting.pieces
    own = np.flatnonzero((netted.item == item) & (netted.way < 0) & ~netted.wear)
    asked = {int(job): int(q) for job, q in zip(netted.job[own], netted.quantity[own], strict=True)}
    asked = {number: asked.get(number, 0) for number in chosen}
    trees = {tree.fact("job") or tree.fact("need"): tree for tree in asked_by(plan, item, asked)}
    found = {}
    for number in chosen:
        name = plan.demand.askers[number].name
        found[number] = tuple(_lines(trees[name], by_name.get(name, ()), _kits_of(plan, number)))
    return found


def _kits_of(plan: Plan, asker: int) -> dict[str, tuple[str, ...]]:
    """The kits that a job takes for each assembly, one of each set."""
    kits, items = plan.demand.requirements.kits, plan.demand.structure.items
    found: dict[str, tuple[str, ...]] = {}
    for row in np.flatnonzero(kits.recipe == plan.demand.askers[asker].recipe).tolist():
        fits = items[kits.assembly[row]].part_number
        found[fits] = (*found.get(fits, ()), items[kits.kit[row]].part_number)
    return found


def _lines(tree: Why, rows: Sequence[PathRow], kits: Mapping[str, tuple[str, ...]]) -> Iterator[AskedLine]:
    brought: dict[str | None, dict[str, int]] = defaultdict(dict)
    for part in tree.parts:
        if part.says == "in kits":
            brought[str(part.fact("fits"))][str(part.fact("kit"))] = _amount(part)
    wanted: dict[str | None, int] = defaultdict(int)
    for row in rows:
        wanted[row.covered] += row.quantity if row.at_rebuild in ("renew", "finding") else 0
    for row in rows:
        line = AskedLine(row.at_rebuild, row.quantity, row.says, row.section, finding=row.finding or "")
        if row.covered and row.at_rebuild in ("renew", "finding"):
            here, total = brought[row.covered], sum(brought[row.covered].values())
            line = replace(line, kits=tuple(here) or kits[row.covered], brought=total)
            line = replace(line, all_in_kits=0 < wanted[row.covered] <= total)
        yield line
    along = [part for part in tree.parts if part.says == WITH_FINDING]
    yield from (AskedLine("along", _amount(part), finding=str(part.fact("finding"))) for part in along)
    by_report = sum(_amount(part) for part in tree.parts if part.says in BY_REPORT)
    if by_report:
        yield AskedLine("report", by_report)


def _amount(part: Why) -> int:
    return part.value if isinstance(part.value, int) else 0
