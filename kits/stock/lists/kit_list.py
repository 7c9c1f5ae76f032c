"""The list of kits on the shelf: chosen and put in order by plain facts, with rows for those that are shown."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from kits.catalog.caching.late_rows import BatchRows
from kits.catalog.words import ItemKind
from kits.stock.last_use import last_use_day
from kits.stock.lists.shelf_facts import ShelfFact, shelf_facts
from kits.stock.models import KitPiece
from kits.stock.packed_kits.kit_lots import KitLotRow, kit_lots
from kits.stock.packed_kits.last_uses import earliest


def kit_list(*, today: date, only: str, words: str) -> Sequence[KitLotRow]:
    """The kits on the shelf by kit, last day and place: all, or those that hold the words and are as ``only`` says.

    *differs*: hold other than their list; *owed*: owe a piece; *unrecorded*: contents not recorded.
    """
    ends, owing = _recorded()

    def last_use_on(fact: ShelfFact) -> date | None:
        return earliest(fact.last_use_on, ends.get(fact.lot_id))

    found = [fact for fact in shelf_facts() if fact.item.kind == ItemKind.KIT and _holds(fact, words)]
    if only == "owed":
        found = [fact for fact in found if fact.lot_id in owing]
    elif only == "unrecorded":
        found = [fact for fact in found if fact.lot_id not in ends]
    elif only == "differs":
        found = list(_differing([fact for fact in found if fact.lot_id in ends], today))
    found.sort(key=lambda fact: (fact.item.part_number, last_use_on(fact) or date.max, fact.lot, fact.place))
    return BatchRows(found, lambda facts: _rows(facts, today))


def _holds(fact: ShelfFact, words: str) -> bool:
    text = f"{fact.item.part_number} {fact.lot} {fact.place} {fact.item.description}".casefold()
    return all(word.casefold() in text for word in words.split())


def _recorded() -> tuple[dict[int, date | None], frozenset[int]]:
    """The kit lots whose contents are recorded, with the last day of the pieces in them, and those that owe a piece."""
    ends: dict[int, date | None] = {}
    owing = set()
    for kit_lot, quantity, owed, cure_on, printed_on, months in KitPiece.objects.order_by().values_list(
        "kit_lot_id",
        "quantity",
        "owed",
        "piece_lot__cure_on",
        "piece_lot__printed_last_use_on",
        "piece_lot__item__shelf_life_months",
    ):
        ends[kit_lot] = earliest(ends.get(kit_lot), last_use_day(cure_on, printed_on, months) if quantity else None)
        if owed:
            owing.add(kit_lot)
    return ends, frozenset(owing)


def _differing(facts: Sequence[ShelfFact], today: date) -> Iterator[ShelfFact]:
    return (fact for fact, row in zip(facts, _rows(facts, today), strict=True) if row.differences)


def _rows(facts: Sequence[ShelfFact], today: date) -> list[KitLotRow]:
    found = {row.balance_id: row for row in kit_lots(today=today, balance_ids=[fact.balance_id for fact in facts])}
    return [found[fact.balance_id] for fact in facts if fact.balance_id in found]
