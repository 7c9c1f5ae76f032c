"""What the shop has stated of places: how far a part may be worn, and how it is tightened; the narrowest row counts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from bom.errors import BomError
from bom.structure.units import to_millionths, unit_named
from kits.catalog.folding import fold
from kits.catalog.formats.in_force import formats
from kits.schedule.words import VerdictWord
from kits.service.models import Tightening, WearLimit

Row = TypeVar("Row", WearLimit, Tightening)
MEASURED = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*([A-Za-z]*)\s*")


@dataclass(frozen=True, slots=True)
class ProposedVerdict:
    """What a measured value means against the limit of the shop; without a ``verdict`` it could not be compared."""

    verdict: str
    says: str


@dataclass(frozen=True, slots=True)
class BenchFigures:
    """The stated figures of some parts, by the part's number."""

    limits: Mapping[str, tuple[WearLimit, ...]]
    tightenings: Mapping[str, tuple[Tightening, ...]]

    def limit(self, part_number: str, assembly: str, position: str) -> WearLimit | None:
        """How far the part at this place may be worn, where the shop has said so."""
        return narrowest(self.limits.get(part_number, ()), assembly, position)

    def tightening(self, part_number: str, assembly: str, position: str) -> Tightening | None:
        """How the part at this place is tightened, where the shop has said so."""
        return narrowest(self.tightenings.get(part_number, ()), assembly, position)


def read_bench_figures(part_numbers: Iterable[str]) -> BenchFigures:
    """The stated figures of some parts; two statements."""
    wanted = set(part_numbers)
    return BenchFigures(
        _by_part(WearLimit.objects.filter(item__part_number__in=wanted).select_related("item", "assembly")),
        _by_part(Tightening.objects.filter(item__part_number__in=wanted).select_related("item", "assembly")),
    )


def narrowest(rows: Iterable[Row], assembly: str, position: str) -> Row | None:
    """The row that speaks of the place most closely: position before assembly before anywhere."""
    fitting = [
        row
        for row in rows
        if (row.assembly is None or row.assembly.part_number == assembly)
        and (not row.position or row.folded == fold(position))
    ]
    return max(fitting, key=lambda row: (bool(row.position), row.assembly is not None), default=None)


def limit_says(limit: WearLimit) -> str:
    """A limit in words: diameter at least 19.02 mm."""
    bounds = [f"at least {plain(limit.least)}"] if limit.least is not None else []
    bounds += [f"at most {plain(limit.most)}"] if limit.most is not None else []
    return f"{limit.measured} {', '.join(bounds)} {limit.unit}"


def bounds_text(limit: WearLimit) -> str:
    """The bounds alone, as they are kept beside a measured value: 19.02 to 19.1."""
    if limit.least is not None and limit.most is not None:
        return f"{plain(limit.least)} to {plain(limit.most)}"
    return f"at least {plain(limit.least)}" if limit.least is not None else f"at most {plain(limit.most)}"


def propose(measured: str, limit: WearLimit) -> ProposedVerdict:
    """The verdict that a measured value means; a number without a unit is in that of the limit."""
    found = MEASURED.fullmatch(measured)
    if found is None:
        return ProposedVerdict("", f"“{measured.strip()}” is not a number with a unit: write it as 12.98 {limit.unit}.")
    number, unit = Decimal(found[1].replace(",", ".")), found[2] or limit.unit
    try:
        value = to_millionths(number, unit, limit.unit)
        least, most = (
            None if one is None else to_millionths(one, limit.unit, limit.unit) for one in (limit.least, limit.most)
        )
    except BomError as error:
        return ProposedVerdict("", str(error))
    typed = f"{plain(number)} {unit_named(unit)}"
    if least is not None and value < least:
        return ProposedVerdict(VerdictWord.RENEW.value, f"renew: {typed} is below {plain(limit.least)} {limit.unit}")
    if most is not None and value > most:
        return ProposedVerdict(VerdictWord.RENEW.value, f"renew: {typed} is above {plain(limit.most)} {limit.unit}")
    return ProposedVerdict(VerdictWord.KEEP.value, f"good: {typed} is within the limit, {limit_says(limit)}")


def plain(number: Decimal | None) -> str:
    """A number without needless zeros."""
    return "" if number is None else formats().number(f"{number.normalize():f}")


def _by_part(rows: Iterable[Row]) -> dict[str, tuple[Row, ...]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row.item.part_number, []).append(row)
    return {part: tuple(some) for part, some in found.items()}
