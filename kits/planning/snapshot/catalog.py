"""The catalog as the engine takes it: one statement for each table, kept until the catalog is written to again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, NamedTuple

from bom.structure.shelf_life import MinimumLife, parse_minimum_life
from bom.values import Catalog, FindingRule, Item, KitFit, Line, Offer, ScopeSection
from kits.catalog import models as catalog
from kits.catalog.caching.asked_often import ask_often
from kits.catalog.caching.revisions import may_keep_under
from kits.catalog.folding import fold
from kits.catalog.options import parse_options
from kits.catalog.words import IssueBy, StockUnit
from kits.purchasing import models as purchasing

ROWS_AT_ONCE = 2000

_kept: dict[tuple[str, str], Catalog] = {}
"""The last catalog read, under its mark and the currency that its prices are compared with."""


def read_catalog(mark: str, home_currency: str) -> Catalog:
    """Return the catalog with this mark; a catalog that nobody marked is read anew each time."""
    may_keep = may_keep_under(mark)
    kept = _kept.get((mark, home_currency)) if may_keep else None
    if kept is not None:
        return kept
    known: dict[str, str] = {}
    read = Catalog(
        items=_items(known),
        lines=_lines(known),
        scopes=_scopes(),
        kit_fits=_kit_fits(),
        offers=_offers(fold(home_currency)),
        revision=mark,
        finding_rules=_finding_rules(),
    )
    if may_keep:
        _kept.clear()
        _kept[mark, home_currency] = read
    return read


def forget_catalog() -> None:
    """Read the catalog anew next time, whatever its mark: another database may bear the same."""
    _kept.clear()


def _read(rows: Iterable[tuple[Any, ...]], known: dict[str, str]) -> Iterator[tuple[Any, ...]]:
    """The rows one by one, equal texts being one: a hundred thousand lines name the same items and words."""
    for row in rows:
        yield tuple(known.setdefault(value, value) if value.__class__ is str else value for value in row)


class _ItemRow(NamedTuple):
    part_number: str
    kind: str
    stock_unit: str
    source: str
    get_as: str | None
    issue: str
    lead_days: int | None
    safety_stock: int
    how_sure_percent: Decimal
    shelf_life_months: int | None
    shelf_life_unlimited: bool
    resealed_usable: bool
    cleanliness: str
    min_life_at_receipt: str
    default_option: str


_ITEM_COLUMNS = tuple("get_as__part_number" if name == "get_as" else name for name in _ItemRow._fields)


def _items(known: dict[str, str]) -> tuple[Item, ...]:
    rows = ask_often(lambda: catalog.Item.objects.order_by("folded").values_list(*_ITEM_COLUMNS), ROWS_AT_ONCE)
    return tuple(_item(_ItemRow(*row)) for row in _read(rows, known))


def _item(row: _ItemRow) -> Item:
    least = parse_minimum_life(row.min_life_at_receipt) if row.min_life_at_receipt else MinimumLife()
    return Item(
        part_number=row.part_number,
        kind=row.kind,
        countable=row.stock_unit == StockUnit.EACH,
        source=row.source,
        get_as=row.get_as,
        bench=row.issue == IssueBy.BENCH,
        lead_days=row.lead_days,
        safety_stock=row.safety_stock,
        how_sure_percent=float(row.how_sure_percent),
        limited_life=row.shelf_life_months is not None,
        ageless=row.shelf_life_months is None and not row.shelf_life_unlimited,
        life_months=row.shelf_life_months,
        resealed_usable=row.resealed_usable,
        cleanliness=row.cleanliness,
        min_life_percent=least.percent,
        min_life_months=least.months,
        default_options=parse_options(row.default_option),
    )


def _lines(known: dict[str, str]) -> tuple[Line, ...]:
    rows = ask_often(
        lambda: catalog.StructureLine.objects.order_by("parent__folded", "order", "pk").values_list(
            "parent__part_number",
            "child__part_number",
            "quantity",
            "at_rebuild",
            "position",
            "quantity_is_for",
            "pump__part_number",
            "renewals_per_100",
            "renew_together",
            "renew_together_over",
            "option",
            "from_on",
            "to_on",
            "from_serial",
            "to_serial",
            "wetted",
            "order",
        ),
        ROWS_AT_ONCE,
    )
    return tuple(
        Line(
            parent=row[0],
            child=row[1],
            quantity=row[2],
            at_rebuild=row[3],
            position=row[4],
            quantity_is_for=row[5],
            pump=row[6],
            renewals_per_100=_rate(row[7]),
            renew_together=row[8],
            renew_together_over=row[9],
            options=parse_options(row[10]),
            from_on=row[11],
            to_on=row[12],
            from_serial=row[13],
            to_serial=row[14],
            wetted=row[15],
            order=row[16],
        )
        for row in _read(rows, known)
    )


@lru_cache(maxsize=4096)
def _rate(per_100: Decimal | None) -> Fraction | None:
    return None if per_100 is None else Fraction(per_100)


def _scopes() -> tuple[ScopeSection, ...]:
    rows = ask_often(
        lambda: catalog.ScopeSection.objects.order_by("pump__folded", "folded", "pk").values_list(
            "pump__part_number", "scope", "folded", "section__part_number", "how_many", "use_kits", "option"
        )
    )
    spelled: dict[tuple[str, str], str] = {}
    return tuple(
        ScopeSection(
            pump=pump,
            scope=spelled.setdefault((pump, folded), scope),
            section=section,
            how_many=how_many,
            use_kits=use_kits,
            options=parse_options(option),
        )
        for pump, scope, folded, section, how_many, use_kits, option in rows
    )


def _kit_fits() -> tuple[KitFit, ...]:
    rows = ask_often(
        lambda: catalog.KitFit.objects.order_by("kit__folded", "pk").values_list(
            "kit__part_number", "fits__part_number", "option", "instances", "set_name", "preferred"
        )
    )
    spelled: dict[str, str] = {}
    return tuple(
        KitFit(
            kit=kit,
            fits=fits,
            options=parse_options(option),
            instances=instances,
            set_name=spelled.setdefault(fold(set_name), set_name),
            preferred=preferred,
        )
        for kit, fits, option, instances, set_name, preferred in rows
    )


def _finding_rules() -> tuple[FindingRule, ...]:
    rows = ask_often(
        lambda: catalog.FindingRule.objects.order_by("folded", "pk").values_list(
            "finding", "folded", "assembly__part_number", "effect", "item__part_number", "quantity", "note"
        )
    )
    spelled: dict[str, str] = {}
    return tuple(
        FindingRule(spelled.setdefault(folded, finding), assembly, effect, part_number or "", quantity or 0, note)
        for finding, folded, assembly, effect, part_number, quantity, note in rows
    )


def _offers(home: str) -> tuple[Offer, ...]:
    rows = ask_often(
        lambda: purchasing.Offer.objects.order_by("item__folded", "supplier__folded", "pk").values_list(
            "supplier__supplier",
            "item__part_number",
            "supplier_part_number",
            "pack_size",
            "minimum_packs",
            "multiple_packs",
            "lead_days",
            "supplier__transit_days",
            "price_per_pack",
            "price_from_packs",
            "valid_to_on",
            "currency",
            "supplier__currency",
            "supplier__closed_from_on",
            "supplier__closed_to_on",
        )
    )
    return tuple(
        Offer(
            *row[:9],
            foreign_currency=_foreign(row[11] or row[12], home),
            price_from_packs=row[9],
            valid_to=row[10],
            closed_from=row[13],
            closed_to=row[14],
        )
        for row in rows
    )


def _foreign(currency: str, home: str) -> str:
    return currency if home and fold(currency) not in ("", home) else ""
