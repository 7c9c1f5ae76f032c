"""What the rows of a load may name: everything in the shop's records, and everything that the load itself brings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kits.catalog.folding import fold
from kits.catalog.models import FindingRule, Item, OtherNumber, ScopeSection, Setting
from kits.exchange.columns.catalog_layouts import ITEMS
from kits.exchange.columns.layout import Column
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.reading.cells.words import UNLIMITED
from kits.exchange.reading.headings import SheetHeadings
from kits.exchange.records.records import SheetRecord
from kits.purchasing.models import Supplier
from kits.schedule.models import Job
from kits.stock.models import Lot, Place


@dataclass(slots=True)
class ItemFacts:
    """What checks need to know of an item, as it will be after the load; empty where its own row could not be read."""

    part_number: str
    kind: str = ""
    stock_unit: str = ""
    source: str = "buy"
    material: str = ""
    has_life: bool = False
    is_new: bool = True


@dataclass(slots=True)
class Names:
    """Every name by its folded text: items with their facts, the others with their spelling.

    ``made_here`` has the part number for each lot code that the shop made up.
    """

    items: dict[str, ItemFacts]
    places: dict[str, str]
    suppliers: dict[str, str]
    jobs: dict[str, str]
    findings: dict[str, str]
    scopes: dict[tuple[str, str], str]
    use_kits: dict[tuple[str, str, str], bool]
    lots: set[tuple[str, str]]
    made_here: dict[str, str]
    settings: dict[str, str]
    parts: KnownMarks

    def item(self, number: object) -> ItemFacts | None:
        """The item of this number, however it is spelled."""
        return self.items.get(fold(str(number)))


def gather_marks(sheets: Sequence[SheetHeadings]) -> dict[str, KnownMarks]:
    """Known names by column, to tell what a damaged cell may have been; from the records and the files themselves."""
    texts = {
        "part": list(Item.objects.values_list("part_number", flat=True)),
        "place": list(Place.objects.values_list("place", flat=True)),
        "supplier": list(Supplier.objects.values_list("supplier", flat=True)),
        "job": list(Job.objects.values_list("job", flat=True)),
        "lot": list(Lot.objects.values_list("lot", flat=True)),
    }
    for headings in sheets:
        for position, column in headings.columns:
            if column.brings in texts:
                texts[column.brings] += _texts(headings, position)
    also: dict[str, str] = dict(OtherNumber.objects.values_list("number", "item__part_number"))
    also |= _other_numbers(sheets)
    marks = {kind: KnownMarks(known, also if kind == "part" else None) for kind, known in texts.items()}
    kinds = {column.name: _kind_of(column) for layout in LAYOUTS for column in layout.columns}
    return {name: marks[kind] for name, kind in kinds.items() if kind in marks}


def _kind_of(column: Column) -> str:
    """The kind of thing whose name stands in a column; empty where it names nothing."""
    return "part" if column.reads == "part" else column.names or column.brings


def _texts(headings: SheetHeadings, position: int) -> list[str]:
    cells = (row.values[position] for row in headings.rows if position < len(row.values))
    return [value.strip() for value in cells if isinstance(value, str)]


def _other_numbers(sheets: Sequence[SheetHeadings]) -> dict[str, str]:
    found: dict[str, str] = {}
    for headings in sheets:
        if headings.sheet is not ITEMS:
            continue
        places = {column.name: position for position, column in headings.columns}
        number, others = places.get("part_number", -1), places.get("other_numbers", -1)
        for row in headings.rows:
            if min(number, others) < 0 or max(number, others) >= len(row.values):
                continue
            owner, listed = row.values[number], row.values[others]
            if isinstance(owner, str) and isinstance(listed, str):
                found |= {other.strip(): owner.strip() for other in listed.split(";") if other.strip()}
    return found


def stored_names(parts: KnownMarks) -> Names:
    """Every name in the shop's records; what a load brings is laid over them."""
    names = Names(
        items={
            row[0]: ItemFacts(row[1], row[2], row[3], row[4], row[5], row[6] is not None or row[7], False)
            for row in _items()
        },
        places=dict(Place.objects.values_list("folded", "place")),
        suppliers=dict(Supplier.objects.values_list("folded", "supplier")),
        jobs=dict(Job.objects.values_list("folded", "job")),
        findings=dict(FindingRule.objects.order_by("-pk").values_list("folded", "finding")),
        scopes={},
        use_kits={},
        lots=set(Lot.objects.values_list("item__folded", "folded")),
        made_here=dict(Lot.objects.filter(made_here=True).values_list("folded", "item__part_number")),
        settings=dict(Setting.objects.values_list("folded", "value")),
        parts=parts,
    )
    for pump, folded, scope, section, use_kits in ScopeSection.objects.values_list(
        "pump__folded", "folded", "scope", "section__folded", "use_kits"
    ):
        names.scopes[pump, folded] = scope
        names.use_kits[pump, folded, section] = use_kits
    return names


def _items() -> Iterable[tuple[str, str, str, str, str, str, int | None, bool]]:
    return Item.objects.values_list(
        "folded", "part_number", "kind", "stock_unit", "source", "material", "shelf_life_months", "shelf_life_unlimited"
    )


def bring_item(names: Names, record: SheetRecord) -> None:
    """Lay the facts of a row of Items over those that are known."""
    number = record.text("part_number")
    if not number:
        return
    facts = names.items.setdefault(fold(number), ItemFacts(number))
    facts.part_number = number
    facts.kind = record.text("kind") or facts.kind
    if facts.is_new:
        facts.stock_unit = record.text("stock_unit") or facts.stock_unit
    if facts.is_new or "source" in record.values:
        facts.source = record.text("source") or usual_source(facts.kind)
    if "material" in record.values:
        facts.material = record.text("material")
    if "shelf_life_years" in record.values:
        life = record.values["shelf_life_years"]
        facts.has_life = life == UNLIMITED or life is not None


def bring_place(names: Names, record: SheetRecord) -> None:
    """Add a place."""
    names.places[fold(record.text("place"))] = record.text("place")


def bring_supplier(names: Names, record: SheetRecord) -> None:
    """Add a supplier."""
    names.suppliers[fold(record.text("supplier"))] = record.text("supplier")


def bring_job(names: Names, record: SheetRecord) -> None:
    """Add a job."""
    names.jobs[fold(record.text("job"))] = record.text("job")


def bring_finding(names: Names, record: SheetRecord) -> None:
    """Add a named finding."""
    names.findings.setdefault(fold(record.text("finding")), record.text("finding"))


def bring_scope(names: Names, record: SheetRecord) -> None:
    """Add a scope of a pump, and whether it uses kits."""
    key = (fold(record.text("pump")), fold(record.text("scope")))
    names.scopes.setdefault(key, record.text("scope"))
    if "use_kits" in record.values:
        names.use_kits[(*key, fold(record.text("section")))] = bool(record.values["use_kits"])


def bring_lot(names: Names, record: SheetRecord) -> None:
    """Add a lot of a part."""
    names.lots.add((fold(record.text("part_number")), fold(record.text("lot"))))


def bring_setting(names: Names, record: SheetRecord) -> None:
    """Note what a setting will be."""
    names.settings[fold(record.text("name"))] = record.text("value")


def usual_source(kind: str) -> str:
    """What a blank source means: kits are packed if they can be, else bought; everything else is bought."""
    return "pack_else_buy" if kind == "kit" else "buy"


def with_article(kind: str) -> str:
    """A kind of item in a sentence."""
    return f"an {kind}" if kind == "assembly" else f"a {kind}"
