"""Parts that are easily taken for one another: the same or nearly the same size, another compound or hardness."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from kits.catalog.folding import fold
from kits.catalog.rings.sizes import in_both, written_size

NEARLY = 0.06
"""Rings whose inside and section both differ by less than this share are told apart by nobody without a gauge."""

_SHORE = re.compile(r"(\d+)\s*([AD])", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Thing:
    """What tells one part from another at the bin.

    Of a kit, ``serves`` says what it is for (kit for NBR), ``fits`` the assemblies that it fits, each with its set.
    """

    part_number: str
    size: str
    form: str
    material: str
    hardness: str
    serves: str = ""
    fits: frozenset[tuple[int, str]] = frozenset()


@dataclass(frozen=True, slots=True)
class Lying:
    """A thing at a place: 0 places away is the same bin, 1 the bin before or after on the walk."""

    thing: Thing
    place: str
    away: int


def look_alike_says(asked: Thing, around: Iterable[Lying]) -> tuple[str, ...]:
    """One sentence for each thing near that could be mistaken: what to take and what to leave, the same bin first."""
    alike = {
        lying.thing.part_number: lying
        for lying in sorted(around, key=lambda lying: -lying.away)
        if lying.thing.part_number != asked.part_number and are_alike(asked, lying.thing, same_bin=lying.away == 0)
    }
    found = sorted(alike.values(), key=lambda lying: (lying.away, lying.thing.part_number))
    return tuple(_alike_says(asked, lying) for lying in found)


def _alike_says(asked: Thing, lying: Lying) -> str:
    this, that = difference(asked, lying.thing)
    where = "in the same bin" if lying.away == 0 else f"in the next bin, {lying.place}"
    return f"{this[0].upper()}{this[1:]}, not {that}: {lying.thing.part_number} lies {where}."


def are_alike(one: Thing, other: Thing, *, same_bin: bool) -> bool:
    """Whether somebody could take one for the other; nearly the same size counts in the same bin only."""
    if one.fits & other.fits:
        return True
    same_size = bool(one.size) and fold(one.size) == fold(other.size)
    if same_size and fold(one.form) == fold(other.form):
        return (fold(one.material), fold(one.hardness)) != (fold(other.material), fold(other.hardness))
    return same_bin and _nearly_one_ring(one.size, other.size)


def difference(one: Thing, other: Thing) -> tuple[str, str]:
    """What tells the two apart, each in a few words: compound, else hardness, else size."""
    if one.serves != other.serves:
        return one.serves or one.part_number, other.serves or other.part_number
    if fold(one.material) != fold(other.material):
        return _compound(one), _compound(other)
    if fold(one.hardness) != fold(other.hardness):
        return shore(one.hardness) or one.part_number, shore(other.hardness) or other.part_number
    return in_both(one.size) or one.part_number, in_both(other.size) or other.part_number


def shore(hardness: str) -> str:
    """A hardness in words: ``70 A`` reads 70 Shore A."""
    found = _SHORE.fullmatch(hardness.strip())
    return f"{found[1]} Shore {found[2].upper()}" if found else hardness


def _compound(thing: Thing) -> str:
    return " ".join(filter(None, (thing.material or thing.part_number, shore(thing.hardness))))


def _nearly_one_ring(one: str, other: str) -> bool:
    first, second = written_size(one), written_size(other)
    if first is None or second is None:
        return False
    pairs = ((first.inside_mm, second.inside_mm), (first.section_mm, second.section_mm))
    return all(abs(a - b) <= NEARLY * max(a, b) for a, b in pairs)
