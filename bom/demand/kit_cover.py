"""Kits against the assemblies they fit: what a kit covers, lacks, spares for inspection and leaves over."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bom.demand.explosion import (
    NO_KIT,
    Conditions,
    Explosion,
    Table,
    check_answers,
    limited_by_serial,
    multiplied,
    sum_up,
)
from bom.structure.arrays import Ints, Structure, spread
from bom.values import ONE


@dataclass(frozen=True)
class KitRows:
    """One row a recipe, kit and assembly: ``count`` kits, and the kit's parts set against the assembly's need.

    ``part_*`` arrays run over the parts of all rows; ``part_row`` points to the row. Quantities are millionths.
    """

    recipe: Ints
    kit: Ints
    assembly: Ints
    count: Ints
    part_row: Ints
    part_item: Ints
    covered: Ints
    short: Ints
    spare: Ints
    surplus: Ints


@dataclass(frozen=True)
class Requirements:
    """What each recipe asks for after its kits: ``loose`` and ``spares`` are tables of recipe, item, millionths.

    ``serial_needed`` are the recipes whose kits hold parts that depend on a serial nobody stated.
    """

    kits: KitRows
    loose: Table
    spares: Table
    serial_needed: frozenset[int]


@dataclass(frozen=True, slots=True)
class Given:
    """What has gone to the one job of a recipe, less returns: millionths by item number."""

    pieces: Mapping[int, int]


def cover_with_kits(
    structure: Structure,
    conditions: Conditions,
    explosion: Explosion,
    needs: Table,
    looks: Table,
    given: Mapping[int, Given],
) -> Requirements:
    """Choose the kits of every recipe and compare them with what their assemblies need.

    Parameters
    ----------
    needs : recipe, covered assembly or ``NO_KIT``, item, sure need in millionths; summed and sorted
    looks : recipe, covered assembly or ``NO_KIT``, item, open inspected positions in millionths; summed and sorted
    given : what has been issued, by recipe number; only recipes of a single job stand here

    Returns
    -------
    Requirements
    """
    rows = _choose(structure, conditions, explosion)
    left_over: list[tuple[int, int, int]] = []
    if given:
        needs, rows, left_over = _take_off_issued(structure, conditions, needs, rows, given)
    rows = _drop_idle(structure, needs, rows)
    recipe, kit, assembly, count, rank = rows
    serial_needed = _ask_of_contents(structure, conditions, explosion, kit, recipe)
    part_row, part_item, inside = opened_contents(structure, conditions, kit, recipe)
    inside = multiplied(count[part_row], inside)
    keys, left = _keyed(structure, needs)
    look_keys, looked = _keyed(structure, looks)
    key = _key(structure, recipe[part_row], assembly[part_row], part_item)
    covered, spare = np.zeros_like(inside), np.zeros_like(inside)
    for step in range(int(rank.max(initial=-1)) + 1):
        now = np.flatnonzero(rank[part_row] == step)
        covered[now] = _draw(keys, left, key[now], inside[now])
        spare[now] = _draw(look_keys, looked, key[now], inside[now] - covered[now])
    parts = (part_row, part_item, covered, spare, inside - covered - spare)
    kits = _with_short(structure, rows, parts, needs, left)
    in_kits = (recipe, kit, count * ONE)
    needed_loose = (needs[0], needs[2], left)
    loose = sum_up(*_stack((needed_loose, in_kits)))
    spare_rows = (recipe[part_row], part_item, spare)
    extra = tuple(np.array(column, np.int64) for column in zip(*left_over, strict=True)) if left_over else None
    spares = sum_up(*_stack((spare_rows, extra) if extra else (spare_rows,)))
    spares = _no_more_than_looked_at(structure, spares, looks)
    positive = [tuple(column[table[-1] > 0] for column in table) for table in (loose, spares)]
    return Requirements(kits, positive[0], positive[1], serial_needed)


def _no_more_than_looked_at(structure: Structure, spares: Table, looks: Table) -> Table:
    """Spares and what was issued beyond the need serve open positions only, each position once."""
    recipe, item, quantity = spares
    looked = sum_up((looks[0], looks[2]), looks[3])
    width = len(structure.items)
    keys = looked[0] * width + looked[1]
    open_positions = looked[2].copy()
    return recipe, item, _draw(keys, open_positions, recipe * width + item, quantity)


def contents(structure: Structure, conditions: Conditions, parent: Ints, recipe: Ints) -> tuple[Ints, Ints]:
    """The lines of each parent that apply to its recipe, without bench items: line numbers, and their row."""
    start, stop = structure.first[parent], structure.first[parent + 1]
    line = spread(start, stop)
    row = np.repeat(np.arange(parent.size), stop - start)
    good = conditions.apply(line, recipe[row]) & ~structure.bench[structure.child[line]]
    return line[good], row[good]


def _ask_of_contents(
    structure: Structure, conditions: Conditions, explosion: Explosion, kit: Ints, recipe: Ints
) -> frozenset[int]:
    """Put the questions that the lines of the chosen kits ask; the recipes among them that need a serial."""
    needed: set[int] = set()
    while kit.size:
        start, stop = structure.first[kit], structure.first[kit + 1]
        line, asking = spread(start, stop), np.repeat(recipe, stop - start)
        check_answers(structure, explosion.recipes, [(asking, line)], explosion.jobs)
        needed |= limited_by_serial(structure, conditions, explosion.recipes, asking, line)
        inner = structure.is_kit[structure.child[line]] & conditions.apply(line, asking)
        kit, recipe = structure.child[line[inner]], asking[inner]
    return frozenset(needed)


def opened_contents(structure: Structure, conditions: Conditions, kit: Ints, recipe: Ints) -> tuple[Ints, ...]:
    """What lies in each kit once it and every kit inside it is opened: row, item and millionths in one kit, summed."""
    is_kit = structure.is_kit
    line, row = contents(structure, conditions, kit, recipe)
    item, quantity = structure.child[line], structure.quantity[line]
    found: list[Table] = []
    while item.size:
        inner = is_kit[item]
        found.append((row[~inner], item[~inner], quantity[~inner]))
        line, of = contents(structure, conditions, item[inner], recipe[row[inner]])
        quantity = multiplied(quantity[inner][of] // ONE, structure.quantity[line])
        row, item = row[inner][of], structure.child[line]
    columns = tuple(np.concatenate(parts) for parts in zip(*found, strict=True)) if found else (row, item, quantity)
    return sum_up(columns[:2], columns[2])


def _choose(structure: Structure, conditions: Conditions, explosion: Explosion) -> Table:
    """One kit a set for each covered assembly: recipe, kit, assembly, count, place of its set among the sets."""
    recipe, assembly, instances = explosion.covered
    start, stop = structure.fit_first[assembly], structure.fit_first[assembly + 1]
    fit = spread(start, stop)
    entry = np.repeat(np.arange(assembly.size), stop - start)
    good = conditions.met[recipe[entry], structure.fit_requirement[fit]]
    good &= conditions.kit_serves(structure.fit_kit[fit], assembly[entry], recipe[entry])
    fit, entry = fit[good], entry[good]
    names = {name: number for number, name in enumerate(sorted({fit.set_name for fit in structure.fits}))}
    of_set = np.array([names[f.set_name] for f in structure.fits], np.int64)[fit]
    first = np.ones(fit.size, bool)
    first[1:] = (entry[1:] != entry[:-1]) | (of_set[1:] != of_set[:-1])
    fit, entry = fit[first], entry[first]
    per_kit = np.array([f.instances for f in structure.fits], np.int64)[fit]
    rank = np.arange(fit.size) - np.searchsorted(entry, entry)
    count = -(-instances[entry] // per_kit)
    return recipe[entry], structure.fit_kit[fit], assembly[entry], count, rank


def _drop_idle(structure: Structure, needs: Table, rows: Table) -> Table:
    """An assembly whose sure need is nil takes no kit."""
    busy = (needs[3] > 0) & (needs[1] != NO_KIT)
    width = len(structure.items)
    with_need = np.unique(needs[0][busy] * width + needs[1][busy])
    keep = np.isin(rows[0] * width + rows[2], with_need) & (rows[3] > 0)
    return tuple(column[keep] for column in rows)


def _with_short(structure: Structure, rows: Table, parts: Table, needs: Table, left: Ints) -> KitRows:
    """Add what stays short to the last row of each assembly, as parts of their own where the kit has none of them."""
    recipe, kit, assembly, count, _ = rows
    part_row, part_item, covered, spare, surplus = parts
    missing = (needs[1] != NO_KIT) & (left > 0)
    width = len(structure.items)
    row_key = recipe * width + assembly
    last = np.searchsorted(row_key, needs[0][missing] * width + needs[1][missing], side="right") - 1
    known = (
        (last >= 0) & (row_key[np.maximum(last, 0)] == needs[0][missing] * width + needs[1][missing])
        if row_key.size
        else np.zeros(last.size, bool)
    )
    short_row, short_item, short = last[known], needs[2][missing][known], left[missing][known]
    zero_old, zero_new = np.zeros_like(covered), np.zeros_like(short)
    columns = (
        np.concatenate((part_row, short_row)),
        np.concatenate((part_item, short_item)),
        np.concatenate((covered, zero_new)),
        np.concatenate((zero_old, short)),
        np.concatenate((spare, zero_new)),
        np.concatenate((surplus, zero_new)),
    )
    return KitRows(recipe, kit, assembly, count, *columns)


def _take_off_issued(
    structure: Structure, conditions: Conditions, needs: Table, rows: Table, given: Mapping[int, Given]
) -> tuple[Table, Table, list[tuple[int, int, int]]]:
    """Issued pieces, kits opened, come first off what the kits' assemblies need, then off the rest."""
    touched = np.isin(needs[0], list(given))
    kept = [tuple(column[~touched] for column in needs)]
    count = rows[3].copy()
    left_over: list[tuple[int, int, int]] = []
    for number, issue in given.items():
        mine = needs[0] == number
        need = {
            (int(r), int(i)): int(q) for r, i, q in zip(needs[1][mine], needs[2][mine], needs[3][mine], strict=True)
        }
        own_rows = np.flatnonzero(rows[0] == number)
        pool = _open_issued_kits(structure, conditions, number, issue, rows, own_rows, count, need)
        for (root, item), quantity in sorted(need.items(), key=lambda pair: _kits_first(structure, pair[0])):
            taken = min(quantity, pool.get(item, 0))
            need[root, item] -= taken
            if taken:
                pool[item] -= taken
        left_over += [(number, item, quantity) for item, quantity in pool.items()]
        entries = [(number, root, item, quantity) for (root, item), quantity in sorted(need.items())]
        kept.append(tuple(np.array(entries, np.int64).reshape(-1, 4).T))
    stacked = tuple(np.concatenate(columns) for columns in zip(*kept, strict=True))
    return sum_up(stacked[:3], stacked[3]), (*rows[:3], count, rows[4]), left_over


def _open_issued_kits(
    structure: Structure,
    conditions: Conditions,
    number: int,
    issue: Given,
    rows: Table,
    own_rows: Ints,
    count: Ints,
    need: dict[tuple[int, int], int],
) -> dict[int, int]:
    """Open what was issued as kits, take it off their assemblies and their count; what is left is a pool of pieces."""
    pool: dict[int, int] = defaultdict(int)
    for item, quantity in sorted(issue.pieces.items()):
        if structure.items[item].kind != "kit":
            pool[item] += quantity
            continue
        _, parts, amounts = opened_contents(structure, conditions, np.array([item]), np.array([number]))
        inside = dict(zip(parts.tolist(), amounts.tolist(), strict=True))
        kits = quantity // ONE
        brought = {part: kits * each for part, each in inside.items()}
        for row in own_rows[rows[1][own_rows] == item]:
            used = min(kits, int(count[row]))
            count[row] -= used
            kits -= used
            for part in brought:
                place = (int(rows[2][row]), part)
                taken = min(brought[part], need.get(place, 0))
                if taken:
                    need[place] -= taken
                    brought[part] -= taken
        for part, left in brought.items():
            pool[part] += left
    return pool


def _kits_first(structure: Structure, place: tuple[int, int]) -> tuple[bool, int, int]:
    root, item = place
    return root == NO_KIT, int(structure.name_rank[root]) if root != NO_KIT else 0, item


def _key(structure: Structure, recipe: Ints, root: Ints, item: Ints) -> Ints:
    width = len(structure.items) + 1
    return (recipe * width + root) * width + item


def _keyed(structure: Structure, table: Table) -> tuple[Ints, Ints]:
    return _key(structure, table[0], table[1], table[2]), table[3].copy()


def _draw(keys: Ints, left: Ints, wanted: Ints, quantity: Ints) -> Ints:
    """Take up to ``quantity`` from what is left under each key; the keys of one call are distinct."""
    taken = np.zeros_like(quantity)
    if not keys.size:
        return taken
    place = np.minimum(np.searchsorted(keys, wanted), keys.size - 1)
    found = np.flatnonzero(keys[place] == wanted)
    taken[found] = np.minimum(quantity[found], left[place[found]])
    left[place[found]] -= taken[found]
    return taken


def _stack(tables: tuple[Table, ...]) -> tuple[tuple[Ints, ...], Ints]:
    columns = tuple(np.concatenate(parts) for parts in zip(*tables, strict=True))
    return columns[:-1], columns[-1]
