"""The engine and the slow oracle give the same plan on random shops.

A few hundred shops by default; ``SHOPS=5000`` tries as many, ``SHOPS_FROM=123`` starts at that seed.
"""

import os
from dataclasses import replace
from datetime import timedelta

import pytest

from bom.answers.rows import as_json
from bom.errors import ShopError
from bom.plan import plan
from tests.bom.results import plan_of
from tests.demo_shop import demo_shop
from tests.oracle import SlowAnswers, slow_faults
from tests.shops import random_shop, with_bags, with_half_kits

SHOPS = int(os.environ.get("SHOPS", "300"))
FIRST = int(os.environ.get("SHOPS_FROM", "0"))
PORTION = 50
SMALLEST_DIFFERENCE = {"expected": 1.1e-6}  # the last decimal, which a float may round the other way
NINE_DECIMALS = 2e-9
ROW_NAMES = ("job", "need", "part_number", "kit", "fits", "order", "line", "lot")


def find_difference(expected, found, path="plan"):
    """The first place where two plans differ, as a sentence; None when they are the same."""
    if isinstance(expected, dict) and isinstance(found, dict):
        if expected.keys() != found.keys():
            return f"{path}: keys {sorted(expected)} expected, {sorted(found)} found"
        pairs = [(f"{path}.{key}", expected[key], found[key]) for key in expected]
    elif isinstance(expected, list) and isinstance(found, list):
        names, other_names = [name_row(row) for row in expected], [name_row(row) for row in found]
        if names != other_names:
            return f"{path}: rows {names} expected, {other_names} found"
        pairs = [(f"{path}[{name}]", *rows) for name, *rows in zip(names, expected, found, strict=True)]
    elif is_number(expected) and is_number(found):
        allowed = SMALLEST_DIFFERENCE.get(path.rpartition(".")[2], NINE_DECIMALS)
        same = abs(expected - found) <= allowed and isinstance(expected, int) <= (expected == found)
        return None if same else f"{path}: {expected!r} expected, {found!r} found"
    else:
        same = type(expected) is type(found) and expected == found
        return None if same else f"{path}: {expected!r} expected, {found!r} found"
    return next(filter(None, (find_difference(a, b, place) for place, a, b in pairs)), None)


def name_row(row):
    return " ".join(str(row[key]) for key in ROW_NAMES if key in row) if isinstance(row, dict) else str(row)


def is_number(value):
    return isinstance(value, int | float) and not isinstance(value, bool)


def without_words(answer):
    """Flags that change what a job asks count by kind, part and job; their sentences are the engine's own."""
    kinds = {"serial_needed", "rework", "plan_again", "fits_nothing", "kit_without_contents"}
    flags = {f"{flag['kind']} {flag['part_number']} {flag['job']}" for flag in answer["flags"] if flag["kind"] in kinds}
    return answer | {"flags": sorted(flags)}


def compare(made, seed, *shown):
    """Hold a plan against the slow one, whole and as far as is shown of it: by batch, and through a day."""
    slow = SlowAnswers(made.shop)
    for batch, through in ((None, None), *shown):
        expected = without_words(slow.as_json(batch, through))
        found = without_words(as_json(made, batch=batch, through=through))
        difference = find_difference(expected, found)
        assert difference is None, f"seed {seed}, batch {batch}, through {through}: {difference}"


@pytest.mark.parametrize("first", range(FIRST, FIRST + SHOPS, PORTION))
def test_engine_agrees_with_the_oracle(first):
    for seed in range(first, min(first + PORTION, FIRST + SHOPS)):
        made = plan_of(seed)
        soon, sooner = (made.shop.as_of + timedelta(days) for days in (10, 7))
        compare(made, seed, *(() if seed % 5 else (("Spring", None), (None, soon), ("Easter", sooner))))


def test_engine_agrees_where_kits_are_not_what_their_lists_say():
    changed = 0
    for seed in range(80):
        made = plan(with_bags(random_shop(seed), seed))
        compare(made, seed)
        changed += as_json(made)["demand"] != as_json(plan_of(seed))["demand"]
    assert changed > 15


def test_engine_agrees_while_kits_are_being_entered():
    flagged = 0
    for seed in range(80):
        shop = with_half_kits(random_shop(seed), seed)
        assert slow_faults(shop) == [], f"seed {seed}"
        made = plan(shop)
        compare(made, seed)
        kinds = [flag["kind"] for flag in as_json(made)["flags"]]
        flagged += "fits_nothing" in kinds and "kit_without_contents" in kinds
    assert flagged > 15


def test_engine_agrees_on_larger_shops():
    for seed in range(20):
        compare(plan_of(seed, "medium"), seed)


def test_engine_refuses_what_the_oracle_refuses():
    """Jobs whose answers are taken away leave options open: both refuse, or neither."""
    refused = 0
    for seed in range(60):
        shop = random_shop(seed)
        items = tuple(replace(item, default_options=()) for item in shop.catalog.items)
        shop = replace(shop, catalog=replace(shop.catalog, items=items))
        faults = [fault.says for fault in slow_faults(shop)]
        assert is_refused(shop) == bool(faults), f"seed {seed}: the oracle says {faults}"
        refused += bool(faults)
    assert refused > 10


def is_refused(shop):
    try:
        plan(shop)
    except ShopError:
        return True
    return False


def test_engine_agrees_on_the_demo_shop():
    shop = demo_shop()
    assert slow_faults(shop) == []
    compare(plan(shop), "demo", ("Easter stop", None))
