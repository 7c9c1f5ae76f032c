"""How many of an item the inspected positions may ask for, with exact chances."""

from fractions import Fraction

from bom.values import ONE

CERTAIN = {0: Fraction(1)}


def add(first: dict, second: dict) -> dict:
    """The distribution of a sum of two independent counts."""
    total = {}
    for a, chance_a in first.items():
        for b, chance_b in second.items():
            total[a + b] = total.get(a + b, Fraction(0)) + chance_a * chance_b
    return total


def found_worn(clusters: list, part_number: str) -> dict:
    """How many of the item one job finds worn."""
    total = CERTAIN
    for chance, inside in clusters:
        count = inside.get(part_number, 0) // ONE
        if count:
            total = add(total, {0: 1 - chance, count: chance})
    return total


def after_spares(distribution: dict, spares: int) -> dict:
    left = {}
    for count, chance in distribution.items():
        count = max(0, count - spares)
        left[count] = left.get(count, Fraction(0)) + chance
    return left


def at_most(distribution: dict, most: int) -> Fraction:
    return sum((chance for count, chance in distribution.items() if count <= most), Fraction(0))


def smallest_cover(distribution: dict, how_sure_percent: float) -> int:
    wanted = Fraction(how_sure_percent) / 100 - Fraction(1, 10**12)
    cover = 0
    while at_most(distribution, cover) < wanted:
        cover += 1
    return cover


def expected(clusters: list, part_number: str) -> Fraction:
    """Expected quantity in millionths, before any spares."""
    return sum((chance * inside[part_number] for chance, inside in clusters if part_number in inside), Fraction(0))


def plan_wear(item, jobs: list) -> tuple[list, dict]:
    """What wear adds on each build date, and the distribution of all wear up to each (None for a measured item).

    ``jobs`` are (build date, clusters, spares in millionths); the increments are (build date, millionths).
    """
    dates = sorted({build_on for build_on, _, _ in jobs})
    if not item.countable:
        added = []
        for day in dates:
            left = [
                max(Fraction(0), expected(clusters, item.part_number) - spares)
                for build_on, clusters, spares in jobs
                if build_on == day
            ]
            added.append((day, round(sum(left, Fraction(0)))))
        return added, None
    total, highest, added, by_day = CERTAIN, 0, [], {}
    for day in dates:
        for build_on, clusters, spares in jobs:
            if build_on == day:
                total = add(total, after_spares(found_worn(clusters, item.part_number), spares // ONE))
        cover = max(highest, smallest_cover(total, item.how_sure_percent))
        added.append((day, (cover - highest) * ONE))
        highest = cover
        by_day[day] = total
    return added, by_day
