"""What is worth a word once the lists stand together: what is renewed whole here and opened there, and what is idle."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from bom.questions.renew_or_open import Opening, opening_of
from bom.reading import Lists
from bom.values import ONE, Catalog
from kits.catalog.folding import fold
from kits.catalog.models import Item, StructureLine
from kits.catalog.words import AtRebuild, ItemKind
from kits.exchange.columns.catalog_layouts import KIT_FITS, SCOPES, STRUCTURE
from kits.exchange.problems.findings import Findings
from kits.exchange.records.records import SheetRecord
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.states import in_words

_NAMING = {STRUCTURE: ("parent", "child"), SCOPES: ("pump", "section"), KIT_FITS: ("kit", "fits")}
_MOST_PARTS = 6


@dataclass(frozen=True, slots=True)
class NamedParts:
    """The parts that the rows of a load name, kept when the rows themselves are let go.

    ``renewed`` are the rows that renew an assembly as a whole and did not do so before.
    """

    names: frozenset[str]
    renewed: tuple[tuple[str, int, str, str], ...]


def find_named_parts(records: Sequence[SheetRecord]) -> NamedParts:
    """The parts named by rows of Structure, Scopes and KitFits; read before the rows are stored."""
    names = frozenset(fold(record.text(column)) for record in records for column in _NAMING.get(record.sheet, ()))
    renewing = [
        record for record in records if record.sheet is STRUCTURE and record.values.get("at_rebuild") == AtRebuild.RENEW
    ]
    if not renewing:
        return NamedParts(names, ())
    assemblies = set(Item.objects.filter(kind=ItemKind.ASSEMBLY).values_list("folded", flat=True))
    assemblies |= {
        fold(record.text("part_number")) for record in records if record.text("kind") == ItemKind.ASSEMBLY.value
    }
    lines = StructureLine.objects.filter(at_rebuild=AtRebuild.RENEW, child__kind=ItemKind.ASSEMBLY)
    before = set(lines.values_list("parent__folded", "child__folded"))
    return NamedParts(names, tuple(_renewed(renewing, assemblies, before)))


def _renewed(
    records: Iterable[SheetRecord], assemblies: set[str], before: set[tuple[str, str]]
) -> Iterable[tuple[str, int, str, str]]:
    for record in records:
        parent, child = record.text("parent"), record.text("child")
        if fold(child) in assemblies and (fold(parent), fold(child)) not in before:
            yield record.file, record.row, parent, child


def add_afterthoughts(named: NamedParts, catalog: Catalog, findings: Findings) -> None:
    """Ask about assemblies that have two readings now, and list what of the load no job can ask for."""
    if not named.names:
        return
    lists = Lists.of(catalog)
    findings.never_asked += [
        idle
        for idle in lists.never_asked
        if not named.names.isdisjoint(fold(name) for name in (*idle.names, *idle.within))
    ]
    for file, row, parent, child in named.renewed:
        opening = opening_of(lists.compiled, child)
        if opening is not None:
            doubt = _two_readings(lists, opening, parent, child)
            findings.ask(STRUCTURE.name, row, "at_rebuild", doubt, file)


def _two_readings(lists: Lists, opening: Opening, parent: str, child: str) -> str:
    """What either reading of a line buys for each parent."""
    fitted = sum(held.quantity for held in lists.inside(parent) if held.child == child)
    names = item_names({child, *opening.renewed, *opening.looked_at})
    renewed, looked_at = (
        _amounts({part: each * (fitted // ONE) for part, each in amounts.items()}, names)
        for amounts in (opening.renewed, opening.looked_at)
    )
    inside = [f"ask for {renewed}"] if renewed else []
    inside += [f"look at {looked_at}"] if looked_at else []
    would = " and ".join(inside) or "ask for nothing"
    more = ", besides what options, days or serials decide" if opening.varies else ""
    return (
        f"the scope {opening.scope} of {opening.pump} opens {child}: renewed as a whole, each {parent} buys "
        f"{names[child].amount(fitted).text} × {child}; opened, it would {would}{more}"
    )


def _amounts(amounts: Mapping[str, int], names: Mapping[str, ItemName]) -> str:
    said = [f"{names[number].amount(amount).text} × {number}" for number, amount in sorted(amounts.items())]
    return in_words(said, longest=_MOST_PARTS)
