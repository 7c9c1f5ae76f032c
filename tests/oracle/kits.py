"""Which kits a job takes, what they bring, and what is left to ask for loose."""

from collections import Counter

from bom.values import ONE
from tests.oracle.explosion import fitting_kits, opened_contents


def ceil_divide(total: int, part: int) -> int:
    return -(-total // part)


def take_kits(structure, job, conditions, walk, sure_needs, still_open, issued) -> tuple[list, dict, dict]:
    """Kit rows of the job, what it asks for (part number -> quantity, kits among it), and its spares for inspection.

    ``sure_needs`` is a list of (part number, quantity, covering assembly or None), ``issued`` part number -> quantity.
    """
    need = {None: {}} | {assembly: {} for assembly in walk.covered_instances}
    for part_number, quantity, cover in sure_needs:
        need[cover][part_number] = need[cover].get(part_number, 0) + quantity
    gone, in_hand = take_off_issued(structure, conditions, walk, need, issued)

    rows, asked = [], dict(need[None])
    for assembly in sorted(walk.covered_instances):
        left = need[assembly]
        if any(left.values()):
            looked_at = Counter()
            for position in still_open:
                if position.cover == assembly:
                    looked_at[position.part_number] += position.quantity
            rows_here = []
            for fit in chosen_kits(structure, assembly, conditions):
                count = ceil_divide(walk.covered_instances[assembly], fit.instances) - gone[assembly, fit.kit]
                if count > 0:
                    brought = opened_contents(structure, fit.kit, conditions)
                    rows_here.append(fill_row(job, fit, count, brought, left, looked_at))
                    asked[fit.kit] = asked.get(fit.kit, 0) + count * ONE
            if rows_here:
                rows_here[-1]["short"] = without_zeros(left)
            rows.extend(rows_here)
        for part_number, quantity in left.items():
            asked[part_number] = asked.get(part_number, 0) + quantity
    return rows, without_zeros(asked), spares_of(rows, in_hand, still_open)


def spares_of(rows, in_hand, still_open) -> dict:
    """Pieces for positions that are still to be looked at: those that kits bring, then those the job was issued."""
    looked_at, spares = Counter(), Counter()
    for position in still_open:
        looked_at[position.part_number] += position.quantity
    for row in rows:
        spares.update(row["spare"])
    for part_number, quantity in in_hand.items():
        spares[part_number] += min(quantity, looked_at[part_number] - spares[part_number])
    return without_zeros(spares)


def fill_row(job, fit, count, brought, left, looked_at) -> dict:
    """One kit row; ``left`` and ``looked_at`` are lowered by what it covers and spares."""
    row = {"job": job.job, "kit": fit.kit, "fits": fit.fits, "count": count}
    row |= {"covered": {}, "short": {}, "spare": {}, "surplus": {}}
    for part_number, each in brought.items():
        in_kits = each * count
        covered = min(left.get(part_number, 0), in_kits)
        spare = min(in_kits - covered, looked_at[part_number])
        if covered:
            left[part_number] -= covered
        looked_at[part_number] -= spare
        for column, quantity in (("covered", covered), ("spare", spare), ("surplus", in_kits - covered - spare)):
            if quantity:
                row[column][part_number] = quantity
    return row


def chosen_kits(structure, assembly, conditions) -> list:
    """One kit fit a set, in the order of the set names: the preferred one, else the first by part number."""
    sets = {}
    for fit in fitting_kits(structure, assembly, conditions):
        sets.setdefault(fit.set_name, []).append(fit)
    return [min(sets[name], key=lambda fit: (not fit.preferred, fit.kit)) for name in sorted(sets)]


def take_off_issued(structure, conditions, walk, need, issued) -> tuple[Counter, Counter]:
    """Lower ``need`` by what the job has.

    Says how many of each kit are off the count of which assembly, and which pieces are in hand beyond the need.
    """
    gone, loose = Counter(), Counter()
    for part_number in sorted(issued):
        if structure.items[part_number].kind != "kit":
            loose[part_number] += issued[part_number]
            continue
        kits_left = issued[part_number] // ONE
        homes = sorted(
            (fit.fits, fit.instances)
            for assembly in walk.covered_instances
            for fit in fitting_kits(structure, assembly, conditions)
            if fit.kit == part_number
        )
        opened = opened_contents(structure, part_number, conditions)
        for index, (assembly, instances) in enumerate(homes):
            wanted = ceil_divide(walk.covered_instances[assembly], instances)
            here = kits_left if index == len(homes) - 1 else min(kits_left, wanted)
            kits_left -= here
            gone[assembly, part_number] += here
            for inside, each in opened.items():
                taken = min(need[assembly].get(inside, 0), each * here)
                if taken:
                    need[assembly][inside] -= taken
                loose[inside] += each * here - taken
        for inside, each in opened.items():
            loose[inside] += each * kits_left
    for part_number, quantity in loose.items():
        for place in [*sorted(assembly for assembly in need if assembly is not None), None]:
            taken = min(need[place].get(part_number, 0), quantity)
            if taken:
                need[place][part_number] -= taken
                loose[part_number] -= taken
                quantity -= taken
    return gone, loose


def without_zeros(quantities: dict) -> dict:
    return {part_number: quantity for part_number, quantity in quantities.items() if quantity}
