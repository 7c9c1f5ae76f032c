"""Kits against the assemblies they fit: what a kit covers, lacks, spares for inspection and leaves over."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from bom.demand.explosion import NO_KIT, Explosion, PartsWanted
from bom.demand.recipes import Conditions, Reached, check_answers, limited_by_serial
from bom.structure.arrays import Structure
from bom.structure.tables import Ints, Table, freeze, multiplied, spread
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

    def __post_init__(self) -> None:
        freeze(self)


@dataclass(frozen=True)
class RecipeParts(Table):
    """Millionths of each item by recipe; summed and sorted."""

    recipe: Ints
    item: Ints
    quantity: Ints


@dataclass(frozen=True)
class Requirements:
    """What each recipe asks for after its kits: ``loose``, kits among it, and the ``spares`` that its kits bring.

    ``serial_needed`` are the recipes whose kits hold parts that depend on a serial nobody stated.
    """

    kits: KitRows
    loose: RecipeParts
    spares: RecipeParts
    serial_needed: frozenset[int]


@dataclass(frozen=True)
class HeldLines(Table):
    """Lines of lists of contents; ``row`` tells of which of the lists that were asked for."""

    row: Ints
    line: Ints


@dataclass(frozen=True)
class Contents(Table):
    """What lies in kits, in millionths; ``row`` tells in which of those that were asked for. Summed and sorted."""

    row: Ints
    item: Ints
    quantity: Ints


@dataclass(frozen=True)
class _ChosenKits(Table):
    """``count`` kits for an assembly of a recipe; ``rank`` is the place of their set among those of the assembly."""

    recipe: Ints
    kit: Ints
    assembly: Ints
    count: Ints
    rank: Ints


@dataclass(frozen=True)
class _KitParts(Table):
    """The columns of the parts of `KitRows`."""

    row: Ints
    item: Ints
    covered: Ints
    short: Ints
    spare: Ints
    surplus: Ints


class _Left:
    """What is left of what recipes want, while kits draw from it."""

    def __init__(self, structure: Structure, wanted: PartsWanted) -> None:
        self._width = len(structure.items) + 1
        self._keys = self._key(wanted.recipe, wanted.root, wanted.item)
        self.quantity = wanted.quantity.copy()

    def draw(self, recipe: Ints, root: Ints | int, item: Ints, quantity: Ints) -> Ints:
        """Take up to ``quantity`` from what is left of each; no two of one call are the same."""
        taken = np.zeros_like(quantity)
        if not self._keys.size:
            return taken
        wanted = self._key(recipe, root, item)
        place = np.minimum(np.searchsorted(self._keys, wanted), self._keys.size - 1)
        found = np.flatnonzero(self._keys[place] == wanted)
        taken[found] = np.minimum(quantity[found], self.quantity[place[found]])
        self.quantity[place[found]] -= taken[found]
        return taken

    def _key(self, recipe: Ints, root: Ints | int, item: Ints) -> Ints:
        return (recipe * self._width + root) * self._width + item


def cover_with_kits(
    structure: Structure,
    conditions: Conditions,
    explosion: Explosion,
    needs: PartsWanted,
    positions: PartsWanted,
    given: Mapping[int, Mapping[int, int]],
) -> Requirements:
    """Choose the kits of every recipe and compare them with what their assemblies need.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that the recipes meet
    explosion : what the recipes reach
    needs : what is sure
    positions : inspected positions that are still open
    given : what was issued less returns, millionths by recipe and item number; only recipes of a single job stand here

    Returns
    -------
    Requirements

    Raises
    ------
    ShopError
        When a line of a chosen kit names an option that is not answered.
    """
    kits = _choose(structure, conditions, explosion)
    left_over = RecipeParts.of_rows(())
    if given:
        needs, kits, left_over = _take_off_issued(structure, conditions, needs, kits, given)
    kits = _drop_idle(structure, needs, kits)
    serial_needed = _ask_of_contents(structure, conditions, explosion, kits)
    inside = opened_contents(structure, conditions, kits.kit, kits.recipe)
    left, looked_at = _Left(structure, needs), _Left(structure, positions)
    parts = _use_contents(kits, inside, left, looked_at)
    needs = replace(needs, quantity=left.quantity)
    in_kits = RecipeParts(kits.recipe, kits.kit, kits.count * ONE)
    loose = RecipeParts.together((RecipeParts(needs.recipe, needs.item, needs.quantity), in_kits)).summed()
    spares = RecipeParts(kits.recipe[parts.row], parts.item, parts.spare)
    spares = _no_more_than_looked_at(structure, RecipeParts.together((spares, left_over)).summed(), positions)
    parts = _KitParts.together((parts, _short(structure, kits, needs)))
    return Requirements(
        kits=KitRows(kits.recipe, kits.kit, kits.assembly, kits.count, *parts.columns()),
        loose=loose.take(loose.quantity > 0),
        spares=spares.take(spares.quantity > 0),
        serial_needed=serial_needed,
    )


def _use_contents(kits: _ChosenKits, inside: Contents, left: _Left, looked_at: _Left) -> _KitParts:
    """Set what the kits hold against what their assemblies need, then against what is only looked at there."""
    brought = multiplied(kits.count[inside.row], inside.quantity)
    recipe, assembly, rank = kits.recipe[inside.row], kits.assembly[inside.row], kits.rank[inside.row]
    covered, spare = np.zeros_like(brought), np.zeros_like(brought)
    for step in range(int(kits.rank.max(initial=-1)) + 1):
        now = np.flatnonzero(rank == step)
        key = recipe[now], assembly[now], inside.item[now]
        covered[now] = left.draw(*key, brought[now])
        spare[now] = looked_at.draw(*key, brought[now] - covered[now])
    return _KitParts(inside.row, inside.item, covered, np.zeros_like(covered), spare, brought - covered - spare)


def _no_more_than_looked_at(structure: Structure, spares: RecipeParts, positions: PartsWanted) -> RecipeParts:
    """Spares and what was issued beyond the need serve open positions only, each position once."""
    anywhere = replace(positions, root=np.full(positions.size, NO_KIT, np.int64)).summed()
    left = _Left(structure, anywhere)
    return replace(spares, quantity=left.draw(spares.recipe, NO_KIT, spares.item, spares.quantity))


def contents(structure: Structure, conditions: Conditions, parent: Ints, recipe: Ints) -> HeldLines:
    """Return the lines of each parent that apply to its recipe, without bench items.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that the recipes meet
    parent, recipe : numbers, element by element; ``recipe`` may be any row of the conditions
    """
    start, stop = structure.first[parent], structure.first[parent + 1]
    held = HeldLines(np.repeat(np.arange(parent.size), stop - start), spread(start, stop))
    good = conditions.apply(held.line, recipe[held.row]) & ~structure.bench[structure.child[held.line]]
    return held.take(good)


def inside_one(structure: Structure, conditions: Conditions, item: int, condition: int) -> dict[int, int]:
    """Return what one kit or made assembly holds, kits inside it closed: millionths by item number.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that somebody meets
    item : its number
    condition : row of the conditions that the contents have to meet
    """
    return inside_each(structure, conditions, np.array([item]), np.array([condition]))[0]


def inside_each(structure: Structure, conditions: Conditions, items: Ints, condition: Ints) -> list[dict[int, int]]:
    """Return the same for many kits and made assemblies.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that somebody meets
    items, condition : their numbers and rows of the conditions, element by element
    """
    inside: list[dict[int, int]] = [{} for _ in range(items.size)]
    held = contents(structure, conditions, items, condition)
    columns = (held.row.tolist(), structure.child[held.line].tolist(), structure.quantity[held.line].tolist())
    for row, part, quantity in zip(*columns, strict=True):
        inside[row][part] = inside[row].get(part, 0) + quantity
    return inside


def _ask_of_contents(
    structure: Structure, conditions: Conditions, explosion: Explosion, kits: _ChosenKits
) -> frozenset[int]:
    """Put the questions that the lines of the chosen kits ask; the recipes among them that need a serial."""
    kit, recipe = kits.kit, kits.recipe
    needed: frozenset[int] = frozenset()
    while kit.size:
        start, stop = structure.first[kit], structure.first[kit + 1]
        asked = Reached(np.repeat(recipe, stop - start), spread(start, stop))
        check_answers(structure, explosion.recipes, asked, explosion.jobs)
        needed |= limited_by_serial(structure, conditions, explosion.recipes, asked)
        inner = asked.take(structure.is_kit[structure.child[asked.line]] & conditions.apply(asked.line, asked.recipe))
        kit, recipe = structure.child[inner.line], inner.recipe
    return needed


def opened_contents(structure: Structure, conditions: Conditions, kit: Ints, recipe: Ints) -> Contents:
    """Return what lies in each kit once it and every kit inside it is opened.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that the recipes meet
    kit, recipe : numbers, element by element
    """
    lines = contents(structure, conditions, kit, recipe)
    held = Contents(lines.row, structure.child[lines.line], structure.quantity[lines.line])
    found: list[Contents] = []
    while held.size:
        is_kit = structure.is_kit[held.item]
        found.append(held.take(~is_kit))
        inner = held.take(is_kit)
        lines = contents(structure, conditions, inner.item, recipe[inner.row])
        quantity = multiplied(inner.quantity[lines.row] // ONE, structure.quantity[lines.line])
        held = Contents(inner.row[lines.row], structure.child[lines.line], quantity)
    return Contents.together(found).summed()


def inside_one_opened(structure: Structure, conditions: Conditions, kit: int, recipe: int) -> dict[int, int]:
    """Return what lies in one kit once it and every kit inside it is opened: millionths by item number.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that the recipes meet
    kit, recipe : their numbers
    """
    held = opened_contents(structure, conditions, np.array([kit]), np.array([recipe]))
    return dict(zip(held.item.tolist(), held.quantity.tolist(), strict=True))


def _choose(structure: Structure, conditions: Conditions, explosion: Explosion) -> _ChosenKits:
    """One kit a set for each covered assembly."""
    covered = explosion.covered
    start, stop = structure.fit_first[covered.assembly], structure.fit_first[covered.assembly + 1]
    fit, entry = spread(start, stop), np.repeat(np.arange(covered.size), stop - start)
    good = conditions.kits_fit(fit, covered.assembly[entry], covered.recipe[entry])
    fit, entry = fit[good], entry[good]
    names = {name: number for number, name in enumerate(sorted({fit.set_name for fit in structure.fits}))}
    of_set = np.array([names[f.set_name] for f in structure.fits], np.int64)[fit]
    first = np.ones(fit.size, bool)
    first[1:] = (entry[1:] != entry[:-1]) | (of_set[1:] != of_set[:-1])
    fit, entry = fit[first], entry[first]
    per_kit = np.array([f.instances for f in structure.fits], np.int64)[fit]
    return _ChosenKits(
        recipe=covered.recipe[entry],
        kit=structure.fit_kit[fit],
        assembly=covered.assembly[entry],
        count=-(-covered.instances[entry] // per_kit),
        rank=np.arange(fit.size) - np.searchsorted(entry, entry),
    )


def _drop_idle(structure: Structure, needs: PartsWanted, kits: _ChosenKits) -> _ChosenKits:
    """An assembly whose sure need is nil takes no kit."""
    busy = needs.take((needs.quantity > 0) & (needs.root != NO_KIT))
    width = len(structure.items)
    with_need = np.isin(kits.recipe * width + kits.assembly, busy.recipe * width + busy.root)
    return kits.take(with_need & (kits.count > 0))


def _short(structure: Structure, kits: _ChosenKits, left: PartsWanted) -> _KitParts:
    """What the kits leave short, on the last row of each assembly."""
    missing = left.take((left.root != NO_KIT) & (left.quantity > 0))
    width = len(structure.items)
    of_row, wanted = kits.recipe * width + kits.assembly, missing.recipe * width + missing.root
    known = np.isin(wanted, of_row)
    missing, last = missing.take(known), np.searchsorted(of_row, wanted[known], side="right") - 1
    none = np.zeros_like(last)
    return _KitParts(last, missing.item, none, missing.quantity, none, none)


def _take_off_issued(
    structure: Structure,
    conditions: Conditions,
    needs: PartsWanted,
    kits: _ChosenKits,
    given: Mapping[int, Mapping[int, int]],
) -> tuple[PartsWanted, _ChosenKits, RecipeParts]:
    """What is needed, and which kits, less what was issued; and what was issued beyond that."""
    kept = [needs.take(~np.isin(needs.recipe, list(given)))]
    count = kits.count.copy()
    beyond: list[tuple[int, int, int]] = []
    for number, pieces in given.items():
        job = _IssuedTo(structure, conditions, number, needs, kits)
        job.take_off(pieces)
        for row, still in job.count.items():
            count[row] = still
        kept.append(PartsWanted.of_rows([(number, *place, quantity) for place, quantity in job.need.items()]))
        beyond += [(number, item, quantity) for item, quantity in job.pool.items()]
    return PartsWanted.together(kept).summed(), replace(kits, count=count), RecipeParts.of_rows(beyond)


class _IssuedTo:
    """What the one job of a recipe still needs while what was issued to it is taken off.

    Attributes
    ----------
    need : millionths by covered assembly and item
    count : kits by their row
    pool : pieces issued that nothing has asked for yet, millionths by item
    """

    def __init__(
        self, structure: Structure, conditions: Conditions, number: int, needs: PartsWanted, kits: _ChosenKits
    ) -> None:
        self.structure, self.conditions, self.number, self.kits = structure, conditions, number, kits
        mine = needs.take(needs.recipe == number)
        places = zip(mine.root.tolist(), mine.item.tolist(), strict=True)
        self.need: dict[tuple[int, int], int] = dict(zip(places, mine.quantity.tolist(), strict=True))
        self.count = {row: int(kits.count[row]) for row in np.flatnonzero(kits.recipe == number).tolist()}
        self.pool: dict[int, int] = defaultdict(int)

    def take_off(self, pieces: Mapping[int, int]) -> None:
        """Take issued pieces, kits opened, first off what the kits' assemblies need, then off the rest."""
        for item, quantity in sorted(pieces.items()):
            if self.structure.items[item].kind == "kit":
                self._open(item, quantity // ONE)
            else:
                self.pool[item] += quantity
        for place in sorted(self.need, key=self._kits_first):
            self._serve(place, self.pool)

    def _open(self, kit: int, kits: int) -> None:
        """Open issued kits: they come off their assemblies and off their count; what is left over is loose."""
        inside = inside_one_opened(self.structure, self.conditions, kit, self.number)
        brought = {part: kits * each for part, each in inside.items()}
        for row in self.count:
            if self.kits.kit[row] != kit:
                continue
            used = min(kits, self.count[row])
            self.count[row] -= used
            kits -= used
            for part in brought:
                self._serve((int(self.kits.assembly[row]), part), brought)
        for part, left in brought.items():
            self.pool[part] += left

    def _serve(self, place: tuple[int, int], pieces: dict[int, int]) -> None:
        """Take what is needed at a place off these pieces."""
        _, item = place
        taken = min(self.need.get(place, 0), pieces.get(item, 0))
        if taken:
            self.need[place] -= taken
            pieces[item] -= taken

    def _kits_first(self, place: tuple[int, int]) -> tuple[bool, int, int]:
        root, item = place
        return root == NO_KIT, int(self.structure.name_rank[root]) if root != NO_KIT else 0, item
