"""What an explanation must come down to: ways, verdicts, kits, issues, chances, lots and orders, by job and part."""

from collections import Counter
from copy import deepcopy

from bom.values import ONE
from tests.oracle.explosion import conditions_of, walk_job
from tests.oracle.findings import added_needs, renewed_positions
from tests.oracle.kits import take_off_issued
from tests.oracle.plan import SlowPlan
from tests.oracle.verdicts import match_verdicts, settle

WAY, FINDING, POSITION, IN_KITS, ISSUED = "way", "finding", "position", "in kits", "issued"


def asked_by_source(slow: SlowPlan) -> Counter:
    """(source, job, part) -> millionths, of everything that makes up what a job asks for."""
    found = Counter()
    for job in slow.jobs:
        walk = walk_job(slow.structure, job)
        verdicts = match_verdicts(job, walk.positions, slow.shop.verdicts)
        sure, _ = settle(walk.positions, verdicts, renewed_positions(slow.shop, job, walk.positions, verdicts))
        added = added_needs(slow.shop, job, walk)
        need = {None: Counter()} | {assembly: Counter() for assembly in walk.covered_instances}
        for source, rows in (
            (WAY, walk.needs),
            (FINDING, added),
            (POSITION, [(position.part_number, position.quantity, position.cover) for position in sure]),
        ):
            for part, quantity, cover in rows:
                found[source, job.job, part] += quantity
                need[cover][part] += quantity
        before = deepcopy(need)
        take_off_issued(slow.structure, conditions_of(slow.structure, job), walk, need, slow.issued_to(job.job))
        for place, parts in before.items():
            for part, quantity in parts.items():
                found[ISSUED, job.job, part] += quantity - need[place][part]
    for row in slow.kit_rows:
        for part, quantity in row["covered"].items():
            found[IN_KITS, row["job"], part] += quantity
    return +found


def chances_by_job(slow: SlowPlan) -> Counter:
    """(job, part, chance, pieces) -> how many places or groups, of what may still be found worn."""
    found = Counter()
    for job in slow.jobs:
        for chance, inside in slow.clusters[job.job]:
            for part, quantity in inside.items():
                pieces = quantity // ONE if slow.structure.items[part].countable else quantity
                found[job.job, part, chance, pieces] += 1
    return found


def drawn_by_job(slow: SlowPlan) -> Counter:
    """(job, part, lot or order line, whether it comes late) -> millionths, of all sure pieces."""
    found = Counter()
    for part, pieces in slow.matching.sure.items():
        for piece in pieces:
            for lot, quantity in piece.lots:
                found[piece.name, part, lot.lot.lot, False] += quantity
            for order, quantity, late in piece.orders:
                found[piece.name, part, f"{order.line.order}/{order.line.line}", late] += quantity
            found[piece.name, part, "set aside", False] += piece.bag
            found[piece.name, part, "packed", False] += piece.packed
            found[piece.name, part, "missing", False] += piece.uncovered
    return +found
