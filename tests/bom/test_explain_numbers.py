"""Every number of a plan opens to parts that reach it, on random shops."""

from decimal import Decimal
from functools import cache

import pytest

from bom.answers import as_json, number
from bom.explain import Number, explain
from bom.plan import plan
from tests.bom.explained_sums import as_shown, breaches
from tests.shops import random_shop

SEEDS = range(40)
ROW_NAMES = {
    "demand": ("part_number",),
    "buy": ("part_number",),
    "frees": ("part_number",),
    "jobs": ("job",),
    "other_needs": ("need",),
    "pack": ("kit",),
    "expedite": ("order", "line"),
    "chase": ("order", "line"),
    "expiring": ("part_number", "lot"),
}
NAMES_ONLY = {"part_number", "job", "need", "kit", "order", "line", "lot", "fits", "last_use"}


@cache
def planned(seed):
    shop = random_shop(seed)
    found = plan(shop)
    return shop, found, as_json(found)


def numbers_of(answer):
    """Every number that the rows of a plan show, with its value there."""
    for table, keys in ROW_NAMES.items():
        for row in answer[table]:
            for column in row.keys() - NAMES_ONLY:
                if column == "jobs" or column not in keys:
                    yield Number(table, column, tuple(row[key] for key in keys)), row[column]
    for row in answer["kits"]:
        key = row["job"], row["kit"], row["fits"]
        yield Number("kits", "count", key), row["count"]
        for column in ("covered", "short", "spare", "surplus"):
            for part, value in row[column].items():
                yield Number("kits", column, (*key, part)), value


def shown_as(why, value):
    """The value of an explanation in the shape of the row."""
    if isinstance(value, list):
        return sorted(part.fact("job") for part in why.parts)
    if isinstance(value, dict):
        return {part.fact("reason"): number(part.value) for part in why.parts}
    if isinstance(why.value, Decimal):
        return float(round(why.value, 2))
    return as_shown(why.value, why.unit, number)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_number_of_a_plan_is_explained_with_its_own_value(seed):
    _, found, answer = planned(seed)
    compared = 0
    for asked, value in numbers_of(answer):
        said = shown_as(explain(found, asked), value)
        wanted = pytest.approx(value, abs=1e-8) if isinstance(said, float) else value
        assert said == wanted, f"seed {seed}, {asked}"
        compared += 1
    assert compared > 50


@pytest.mark.parametrize("seed", SEEDS)
def test_the_parts_of_every_number_reach_it(seed):
    shop, found, answer = planned(seed)
    for asked, _ in numbers_of(answer):
        assert breaches(explain(found, asked), shop) == [], f"seed {seed}, {asked}"
