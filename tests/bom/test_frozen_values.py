"""Nothing of a plan is written into once it is made: not by explaining it, nor by asking, nor by planning again."""

import dataclasses
from collections.abc import Mapping

import numpy as np
import pytest
from scipy.sparse import csr_array

from bom.answers.rows import as_json
from bom.errors import ShopError
from bom.explain import Explanations
from bom.plan import plan
from bom.questions.bag_check import held_beyond_need
from bom.questions.feasible import earliest_builds, what_frees
from bom.questions.item_record import reconcile
from bom.questions.kits.advice import kit_advice
from bom.questions.kits.kit_or_loose import kit_or_loose
from bom.questions.kits.pack_when import pack_when
from bom.questions.kits.proposals import take_from_kit, use_loose
from bom.questions.old_lots import old_lots
from bom.questions.rebuildable import count_rebuildable
from bom.questions.renew_or_open import opening_of
from bom.questions.selection import choose_jobs
from bom.questions.wear_outlook import look_at_wear
from bom.questions.what_if import changed, compare
from bom.reading import Reading
from bom.structure.arrays import Memo, compile_structure
from bom.values import ASKING_STAGES
from tests.bom.explain.test_explain_numbers import numbers_of
from tests.demo_shop import demo_shop
from tests.shops import random_shop, with_bags

SHOPS = {"demo": demo_shop, **{seed: lambda seed=seed: with_bags(random_shop(seed), seed) for seed in range(12)}}


def leaves(value, path="plan"):
    """Everything that a value is made of, with the way to it; what stands behind an underscore is a memo."""
    if isinstance(value, Memo):
        return
    if isinstance(value, csr_array):
        value = {"data": value.data, "indices": value.indices, "indptr": value.indptr}
    if dataclasses.is_dataclass(value):
        inside = [(field.name, getattr(value, field.name)) for field in dataclasses.fields(value)]
    elif isinstance(value, Mapping) and type(value).__module__ in {"builtins", "collections"}:
        inside = value.items()
    elif isinstance(value, list | tuple):
        inside = enumerate(value)
    elif type(value).__module__.startswith("bom."):
        inside = [(name, held) for name, held in vars(value).items() if not name.startswith("_")]
    else:
        yield path, value
        return
    for name, held in inside:
        yield from leaves(held, f"{path}.{name}")


def seen(value):
    """What a value is made of, as texts that do not change with it."""
    return {
        path: (leaf.dtype.str, leaf.tobytes()) if isinstance(leaf, np.ndarray) else repr(leaf)
        for path, leaf in leaves(value)
    }


def ask_everything(shop, found):
    """Explain every number of a plan, put every question to it, read all of it and plan again after it."""
    answer, structure = as_json(found), found.demand.structure
    explained = Explanations(found)
    for number, _ in numbers_of(answer | {"late_wear": []}):
        explained.why(number)
    for ask in (kit_or_loose, pack_when, use_loose, take_from_kit, choose_jobs, earliest_builds, what_frees):
        ask(found)
    look_at_wear(found)
    held_beyond_need(found, {})
    old_lots(dataclasses.replace(shop, lots=shop.lots[2:]), shop.lots[:2], structure)
    for item in shop.catalog.items:
        reconcile(found, item.part_number)
        if item.kind == "assembly":
            opening_of(structure, item.part_number)
    for pump, scope in structure.scopes:
        try:
            count_rebuildable(found, pump, scope)
        except ShopError:
            continue  # an option that this scope leaves open
    asking = [job.job for job in shop.jobs if job.stage in ASKING_STAGES]
    for job in asking:
        kit_advice(found, job)
    without = changed(shop, drop=asking[:1])
    compare(found, plan(without, structure, found))
    plan(dataclasses.replace(shop, lots=shop.lots[1:], orders=()), structure, found)
    read_everything(found)


def read_everything(found):
    reading = Reading(found)
    for asker in reading.askers:
        reading.pieces_of(asker)
        if asker.is_job:
            reading.opened_by(asker), reading.inspections_of(asker), reading.kits_of(asker), reading.options_of(asker)
    for part in reading.items:
        reading.stock_of(part), reading.wear_in_jobs(part), reading.packed(part), reading.rows_of(part)
        reading.dying_by_day(part), reading.needs_of(part), reading.needs_by_day(part), reading.quotes(part)
    reading.needed_by(reading.askers), reading.bench_of(reading.askers), reading.worn_in(reading.askers)
    for name in ("jobs", "shortfalls", "awaited", "to_inspect", "builds", "shelf", "published_wear", "purchases"):
        getattr(reading, name)


@pytest.mark.parametrize("name", SHOPS)
def test_structure_and_plan_stay_as_they_were_made_whatever_is_planned_with_them_and_asked(name):
    shop = SHOPS[name]()
    structure = compile_structure(shop.catalog)
    compiled = seen(structure)
    found = plan(shop, structure)
    before = seen(found)
    ask_everything(shop, found)
    after = seen(found)
    assert [path for path in before.keys() | after.keys() if before.get(path) != after.get(path)] == []
    assert seen(structure) == compiled
    assert [path for path, leaf in leaves(found) if isinstance(leaf, np.ndarray) and leaf.flags.writeable] == []
