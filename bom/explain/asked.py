"""What is asked for and why: ways with their products, verdicts, findings, kits, issues, contents of what is packed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from math import prod

import numpy as np

from bom.demand.askers import Asker
from bom.demand.kit_cover import inside_one, inside_one_opened
from bom.demand.positions import Position, fold_where
from bom.explain.tree import Rule, Unit, Why, added, given, pieces, whole
from bom.explain.ways import PathRow, Ways
from bom.plan import Plan
from bom.supply.bags import fills_a_bag
from bom.supply.matching import NOBODY
from bom.values import ONE


def why_sure(plan: Plan, item: int) -> Why:
    """What jobs and other needs ask for themselves, one part for each of them.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    netted = plan.netting.pieces
    mine = np.flatnonzero((netted.item == item) & (netted.way < 0) & ~netted.wear)
    by_asker = {int(job): int(q) for job, q in zip(netted.job[mine], netted.quantity[mine], strict=True)}
    return added("sure", asked_by(plan, item, by_asker), item=_name(plan, item))


def asked_by(plan: Plan, item: int, by_asker: dict[int, int]) -> Iterator[Why]:
    """What each of these askers asks of an item, by number, in the order of build days.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    by_asker : millionths by number of the job or other need
    """
    ways = Ways(plan, (item,))
    known: dict[tuple[int, int], tuple[Why, ...]] = {}
    askers = plan.demand.askers
    for number in sorted(by_asker, key=lambda number: (askers[number].build_day, number)):
        asker, quantity = askers[number], by_asker[number]
        if asker.need:
            yield whole("need", quantity, need=asker.name, for_whom=asker.need.for_whom)
            continue
        key = asker.recipe, quantity
        if key not in known:
            known[key] = tuple(_of_job(plan, asker, item, ways, quantity))
        yield added("job", known[key], job=asker.name)


def _of_job(plan: Plan, asker: Asker, item: int, ways: Ways, quantity: int) -> Iterator[Why]:
    """The parts of what one job asks: everything that is renewed, kits counted, less what kits and issues brought."""
    parts = [
        *(_way(row) for row in ways.sure(asker)),
        *_of_report(plan, asker, item),
        *(part.taken_off() for part in _in_kits(plan, asker, item)),
        *_kits_counted(plan, asker, item),
    ]
    yield from parts
    issued = sum(-part.value if part.less else part.value for part in parts if isinstance(part.value, int)) - quantity
    if issued:
        yield whole("issued", issued).taken_off()


def _way(row: PathRow) -> Why:
    """The product of a way down, from the pump to the part."""
    steps = [given("pumps", row.steps[0].how_many, Unit.COUNT, item=None, per="")]
    for above, step in pairwise(row.steps):
        steps.append(given("opened", step.how_many, Unit.COUNT, item=step.name, per=above.name))
    last = row.quantity // prod(step.how_many for step in row.steps)
    parts = (*steps, whole("held", last, per=row.steps[-1].name))
    says = "added by finding" if row.at_rebuild == "finding" else "way"
    return pieces(says, row.quantity, Rule.PRODUCT, parts, section=row.section, kit=row.kit, finding=row.finding)


def _of_report(plan: Plan, asker: Asker, item: int) -> Iterator[Why]:
    """Inspected positions that are sure: by their own verdict, with their group, or by a named finding."""
    report = plan.demand.reports.get(asker.name)
    if report is None:
        return
    because = {id(position): name for position, name in report.because}
    along = {id(position): name for position, name in report.along}
    own = _own_verdicts(plan, asker)
    gathered: dict[tuple[str, str], list[Position]] = defaultdict(list)
    for position in report.sure:
        if plan.demand.structure.child[position.line] != item:
            continue
        if id(position) in because:
            gathered["renewed by finding", because[id(position)]].append(position)
        elif id(position) in along:
            gathered["renewed along with a finding", along[id(position)]].append(position)
        else:
            said = own.get((fold_where(position.where), _name(plan, item)), "")
            gathered[f"verdict {said}" if said else "renewed with its group", ""].append(position)
    for (says, finding), positions in gathered.items():
        parts = (whole("position", p.quantity, where=p.where) for p in positions)
        yield added(says, parts, finding=finding)


def _own_verdicts(plan: Plan, asker: Asker) -> dict[tuple[str, str], str]:
    """By place and part: the verdicts of a job that renew their own position, not because its group is renewed."""
    found = {}
    for verdict in plan.shop.verdicts:
        dragged = verdict.with_group is True and not verdict.found.strip()
        if verdict.job == asker.name and verdict.verdict in ("renew", "missing") and not dragged:
            where = fold_where(verdict.where)
            for place in (where, f"{fold_where('pump 1')}/{where}"):
                found[place, verdict.part_number] = verdict.verdict
    return found


def _in_kits(plan: Plan, asker: Asker, item: int) -> Iterator[Why]:
    """What the kits of a job bring of a part, kit by kit."""
    kits, items = plan.demand.requirements.kits, plan.demand.structure.items
    rows = np.flatnonzero(kits.recipe == asker.recipe)
    for place in np.flatnonzero(np.isin(kits.part_row, rows) & (kits.part_item == item) & (kits.covered > 0)).tolist():
        row = int(kits.part_row[place])
        kit, fits = items[kits.kit[row]].part_number, items[kits.assembly[row]].part_number
        yield whole("in kits", int(kits.covered[place]), kit=kit, fits=fits)


def _kits_counted(plan: Plan, asker: Asker, item: int) -> Iterator[Why]:
    """How many of a kit a job takes, one part for each assembly that it serves."""
    kits = plan.demand.requirements.kits
    for row in np.flatnonzero((kits.recipe == asker.recipe) & (kits.kit == item)).tolist():
        count = why_count(plan, row)
        parts = (count, whole("one kit", ONE))
        yield pieces("kits", int(kits.count[row]) * ONE, Rule.PRODUCT, parts, fits=count.fact("fits"))


def why_count(plan: Plan, row: int) -> Why:
    """How many kits one assembly of a job takes: instances by what one kit does, less kits issued.

    Parameters
    ----------
    plan : the finished plan
    row : row of the kits of the plan
    """
    structure, explosion, kits = plan.demand.structure, plan.demand.explosion, plan.demand.requirements.kits
    recipe, kit, assembly = int(kits.recipe[row]), int(kits.kit[row]), int(kits.assembly[row])
    covered = explosion.covered
    opened = int(covered.instances[(covered.recipe == recipe) & (covered.assembly == assembly)].sum())
    fits = range(int(structure.fit_first[assembly]), int(structure.fit_first[assembly + 1]))
    each = next(
        structure.fits[n].instances
        for n in fits
        if structure.fit_kit[n] == kit and plan.demand.conditions.met[recipe, structure.fit_requirement[n]]
    )
    wanted = -(-opened // each)
    parts = (given("assemblies opened", opened, Unit.COUNT), given("done by one kit", each, Unit.COUNT))
    kits_wanted = Why("kits for the assemblies", wanted, Unit.COUNT, Rule.ROUNDED_UP, parts)
    issued = wanted - int(kits.count[row])
    less = (given("issued", issued, Unit.COUNT).taken_off(),) if issued else ()
    facts = (("kit", _name(plan, kit)), ("fits", _name(plan, assembly)))
    return Why("kits", int(kits.count[row]), Unit.COUNT, Rule.SUM, (kits_wanted, *less), facts)


def why_kit_part(plan: Plan, row: int, item: int, column: str) -> Why:
    """One residue of a kit against its assembly: covered, short, spare or surplus of one part.

    Parameters
    ----------
    plan : the finished plan
    row : row of the kits of the plan
    item : number of the part
    column : covered, short, spare or surplus
    """
    kits = plan.demand.requirements.kits
    amounts = {name: _kit_cell(plan, row, item, name) for name in ("covered", "short", "spare", "surplus")}
    mates = np.flatnonzero((kits.recipe == kits.recipe[row]) & (kits.assembly == kits.assembly[row])).tolist()
    facts = {
        "kit": _name(plan, int(kits.kit[row])),
        "fits": _name(plan, int(kits.assembly[row])),
        "part": _name(plan, item),
    }
    if column == "short":
        covered = {mate: _kit_cell(plan, mate, item, "covered") for mate in mates}
        needed = whole("needed", sum(covered.values()) + amounts["short"])
        taken = [whole("in kits", q, kit=_name(plan, int(kits.kit[m]))).taken_off() for m, q in covered.items() if q]
        return added("not in the kit", (needed, *taken), **facts)
    inside = _inside(plan, row, item)
    if column == "surplus":
        used = [whole(says, amounts[name]).taken_off() for name, says in USED_UP if amounts[name]]
        return added("left over", (inside, *used), **facts)
    wanted = amounts[column]
    limit = int(inside.value) if isinstance(inside.value, int) else 0
    if column == "spare":
        limit -= amounts["covered"]
        inside = added("left in the kits", (inside, whole("in the kit", amounts["covered"]).taken_off()))
    other = whole("still needed" if column == "covered" else "still looked at", wanted) if wanted < limit else inside
    return pieces(KIT_WORDS[column], wanted, Rule.SMALLEST, (inside, other), **facts)


USED_UP = (("covered", "in the kit"), ("spare", "spare for inspection"))
KIT_WORDS = {"covered": "in the kit", "spare": "spare for inspection"}


def _kit_cell(plan: Plan, row: int, item: int, column: str) -> int:
    kits = plan.demand.requirements.kits
    return int(getattr(kits, column)[(kits.part_row == row) & (kits.part_item == item)].sum())


def _inside(plan: Plan, row: int, item: int) -> Why:
    """How much of a part lies in the kits of one row."""
    kits, demand = plan.demand.requirements.kits, plan.demand
    held = inside_one_opened(demand.structure, demand.conditions, int(kits.kit[row]), int(kits.recipe[row]))
    each = held.get(item, 0)
    count = int(kits.count[row])
    parts = (why_count(plan, row), whole("in one kit", each))
    return pieces("in the kits", count * each, Rule.PRODUCT, parts)


def why_passed_down(plan: Plan, item: int) -> Why:
    """What packing kits and making assemblies asks of an item.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    netted = plan.netting.pieces
    numbers = np.flatnonzero((netted.item == item) & (netted.way >= 0)).tolist()
    return added("passed down", (_from_above(plan, number) for number in numbers), item=_name(plan, item))


def _from_above(plan: Plan, number: int) -> Why:
    structure, netted = plan.demand.structure, plan.netting.pieces
    item, kit, quantity = int(netted.item[number]), int(netted.way[number]), int(netted.quantity[number])
    if fills_a_bag(netted, number):
        job = asker_name(plan, int(netted.job[number]))
        return whole("missing in the bag", quantity, job=job, of=_name(plan, kit))
    each = inside_one(structure, plan.demand.conditions, kit, int(netted.condition[number])).get(item, 0)
    wear = "wear" if netted.wear[number] else None
    count = Fraction(quantity, each) if each else Fraction(0)
    parts: Sequence[Why] = (
        given("to pack", int(count) if count.denominator == 1 else count, Unit.COUNT, item=_name(plan, kit)),
        whole("in one", each),
    )
    return pieces(
        "contents",
        quantity,
        Rule.PRODUCT,
        parts,
        job=asker_name(plan, int(netted.job[number])),
        of=_name(plan, kit),
        for_wear=wear,
    )


def asker_name(plan: Plan, job: int) -> str | None:
    """The name of a job or other need; None for planned wear.

    Parameters
    ----------
    plan : the finished plan
    job : its number, ``NOBODY`` for planned wear
    """
    return None if job == NOBODY else plan.demand.askers[job].name


def _name(plan: Plan, item: int) -> str:
    return plan.demand.structure.items[item].part_number
