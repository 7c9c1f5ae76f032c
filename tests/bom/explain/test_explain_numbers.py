"""Every number of a plan opens to parts that reach it, on random shops."""

from collections import Counter
from decimal import Decimal
from functools import cache

import pytest

from bom.answers.rows import as_json, everything, late_wear_rows, number
from bom.explain import Number, Rule, explain
from bom.explain.served import ServedPieces
from tests.bom.explained_sums import as_shown, breaches
from tests.bom.results import plan_of
from tests.oracle.leaves import (
    FINDING,
    IN_KITS,
    ISSUED,
    POSITION,
    WAY,
    asked_by_source,
    chances_by_job,
    drawn_by_job,
)
from tests.oracle.plan import SlowPlan
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
    "late_wear": ("order", "line"),
    "chase": ("order", "line"),
    "expiring": ("part_number", "lot"),
}
NAMES_ONLY = {"part_number", "job", "need", "kit", "order", "line", "lot", "fits", "last_use"}


@cache
def planned(seed):
    found = plan_of(seed)
    return found.shop, found, as_json(found) | {"late_wear": late_wear_rows(found, everything(found))}


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


def shown_as(asked, why, value):
    """The value of an explanation in the shape of the row."""
    if isinstance(value, list):
        return sorted(part.fact("job") for part in why.parts)
    if asked.column == "next_break" and value is not None:
        more = why.parts[1]
        return {"packs": more.fact("packs"), "price": float(round(more.value, 2)), "saving": float(round(why.value, 2))}
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
        said = shown_as(asked, explain(found, asked), value)
        wanted = pytest.approx(value, abs=1e-6) if isinstance(said, float) else value
        assert said == wanted, f"seed {seed}, {asked}"
        compared += 1
    assert compared > 50


@pytest.mark.parametrize("seed", SEEDS)
def test_the_parts_of_every_number_reach_it(seed):
    shop, found, answer = planned(seed)
    for asked, _ in numbers_of(answer):
        assert breaches(explain(found, asked), shop) == [], f"seed {seed}, {asked}"


@pytest.mark.parametrize("seed", SEEDS)
def test_what_a_job_asks_for_comes_from_where_the_slow_answer_has_it(seed):
    shop, found, _ = planned(seed)
    said = Counter()
    for item in shop.catalog.items:
        for job in explain(found, Number("demand", "sure", (item.part_number,))).parts:
            for part in job.parts if job.fact("job") else ():
                if part.says in SOURCES:
                    said[SOURCES[part.says], job.fact("job"), item.part_number] += part.value
    bench = {item.part_number for item in shop.catalog.items if item.bench}
    asked = found.netting.pieces.item
    listed = {found.demand.structure.items[item].part_number for item in asked} - bench
    wanted = {key: value for key, value in asked_by_source(slow(seed)).items() if key[2] in listed}
    asking = {(job, part) for _, job, part in said}
    assert dict(+said) == {key: value for key, value in wanted.items() if key[1:] in asking}, f"seed {seed}"


@pytest.mark.parametrize("seed", SEEDS)
def test_what_may_be_found_worn_has_the_chances_of_the_slow_answer(seed):
    _, found, answer = planned(seed)
    said = Counter()
    for row in answer["demand"]:
        why = explain(found, Number("demand", "chance_enough", (row["part_number"],)))
        for job in why.beside if why.rule is Rule.SURE_FIRST else why.parts[1:]:
            for part in job.beside:
                if part.says == "chance":
                    key = job.fact("job"), row["part_number"], part.value, part.fact("pieces")
                    said[key] += part.fact("places")
    assert said == chances_by_job(slow(seed)), f"seed {seed}"


@pytest.mark.parametrize("seed", SEEDS)
def test_every_piece_leans_on_the_lots_and_orders_of_the_slow_answer(seed):
    _, found, _ = planned(seed)
    said = Counter()
    pieces = found.netting.pieces
    served = ServedPieces(found, [piece for piece in range(pieces.size) if not pieces.wear[piece]])
    for piece in served.numbers:
        why = served.sources(piece)
        for part in why.parts:
            said[why.fact("job"), why.fact("item"), source_of(part), part.says == "late order"] += part.value
    aside = {key[:2] for key in said if key[2] == "set aside"}
    wanted = drawn_by_job(slow(seed))
    assert without_lots(said, aside) == without_lots(wanted, aside), f"seed {seed}"


def without_lots(drawn, pairs):
    """Draws by source; where something was set aside for a job, its lots are one source with it: no draw names them."""
    found = Counter()
    for (job, part, source, late), quantity in drawn.items():
        kept = (job, part) not in pairs or source in ("packed", "missing") or "/" in source
        found[job, part, source if kept else "shelf", late] += quantity
    return found


SOURCES = {
    "way": WAY,
    "added by finding": FINDING,
    "verdict renew": POSITION,
    "verdict missing": POSITION,
    "renewed with its group": POSITION,
    "renewed by finding": POSITION,
    "renewed along with a finding": POSITION,
    "in kits": IN_KITS,
    "issued": ISSUED,
}


def source_of(part):
    """The lot or order line of a draw, or the word for what is neither."""
    if part.fact("order"):
        return f"{part.fact('order')}/{part.fact('line')}"
    return part.fact("lot") or {"packed here": "packed", "set aside for the job": "set aside"}.get(part.says, part.says)


@cache
def slow(seed):
    return SlowPlan(random_shop(seed))
