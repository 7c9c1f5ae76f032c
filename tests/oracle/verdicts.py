"""What the strip reports decide, and what they teach about renewal rates."""

from fractions import Fraction

from tests.oracle.structure import fold

PULLED_BY_NOTHING = {"missing", "rework", "not_as_listed"}


def match_verdicts(job, positions, verdicts) -> dict:
    """Position -> its verdict, by the printed place and the part number."""
    places = {}
    for position in positions:
        names = [position.where]
        if job.quantity == 1:
            names.append(position.where.removeprefix("pump 1 / "))
        for name in names:
            places[fold(name), position.part_number] = position
    return {
        places[fold(verdict.where), verdict.part_number]: verdict
        for verdict in verdicts
        if verdict.job == job.job and (fold(verdict.where), verdict.part_number) in places
    }


def renewing_groups(found: dict) -> set:
    """Groups in which one that is renewed, or missing, takes the others along."""
    return {
        position.group
        for position, verdict in found.items()
        if position.group and verdict.verdict in ("renew", "missing") and verdict.with_group is not False
    }


def settle(positions, found: dict, renewed: set) -> tuple[list, list]:
    """Positions that became sure demand (``renewed`` by a named finding, too), and those that are still open."""
    pulled = renewing_groups(found)
    sure, still_open = [], []
    for position in positions:
        verdict = found.get(position)
        goes_along = position.group in pulled and (
            verdict is None or (verdict.verdict not in PULLED_BY_NOTHING and verdict.with_group is not False)
        )
        if position in renewed or goes_along or (verdict and verdict.verdict in ("renew", "missing")):
            sure.append(position)
        elif verdict is None:
            still_open.append(position)
    return sure, still_open


def was_found_worn(position, found: dict) -> bool:
    verdict = found[position]
    if verdict.verdict == "rework":
        return True
    if verdict.verdict != "renew":
        return False
    if not (verdict.with_group is True and not verdict.found.strip() and position.group):
        return True
    others = [v for p, v in found.items() if p is not position and p.group == position.group]
    return not any(other.verdict in ("renew", "missing") for other in others)


def learn_rates(jobs_found: list) -> dict:
    """Line -> (pumps seen, positions inspected, positions found worn), over (job, position -> verdict) pairs."""
    seen = {}
    for job, found in jobs_found:
        for position, verdict in found.items():
            pumps, inspected, worn = seen.get(id(position.line), (set(), 0, 0))
            pumps = pumps | {(job.job, position.pump)}
            if verdict.verdict not in ("missing", "not_as_listed"):
                inspected += 1
                worn += was_found_worn(position, found)
            seen[id(position.line)] = (pumps, inspected, worn)
    return seen


def chance_of(line, learned: dict) -> Fraction | None:
    """The chance that one position of this line is worn; None when nobody knows."""
    pumps, inspected, worn = learned.get(id(line), (set(), 0, 0))
    if len(pumps) < 5:
        return None if line.renewals_per_100 is None else Fraction(line.renewals_per_100) / 100
    if line.renewals_per_100 is not None:
        return (Fraction(line.renewals_per_100) / 10 + worn) / (10 + inspected)
    return Fraction(worn, inspected) if inspected else None


def clusters_of(still_open, learned: dict) -> list:
    """(chance, {part number: quantity}) of positions that stand or fall together; a lone one is its own cluster."""
    members = {}
    for position in still_open:
        members.setdefault(position.group or position, []).append(position)
    clusters = []
    for together in members.values():
        all_good = Fraction(1)
        inside = {}
        for position in together:
            all_good *= 1 - (chance_of(position.line, learned) or 0)
            inside[position.part_number] = inside.get(position.part_number, 0) + position.quantity
        clusters.append((1 - all_good, inside))
    return clusters
