"""The list behind "Pumps and parts": items of one kind, found by any of their numbers or words."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, Q

from kits.catalog.caching.late_rows import QueryFacts
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.words import ItemKind

KIND_NAMES = {
    ItemKind.PUMP: "Pumps",
    ItemKind.ASSEMBLY: "Assemblies",
    ItemKind.KIT: "Kits",
    ItemKind.PART: "Parts",
}


@dataclass(frozen=True, slots=True)
class KindCount:
    """How many items of one kind there are."""

    kind: str
    name: str
    count: int


@dataclass(frozen=True, slots=True)
class ItemList:
    """The items of one kind, read when they are shown, and how many there are of each kind."""

    kind: str
    name: str
    words: str
    kinds: tuple[KindCount, ...]
    rows: QueryFacts


def item_list(*, kind: str, words: str) -> ItemList:
    """Items of one kind whose number, description, size or material holds all the words; one statement."""
    counted = dict(Item.objects.order_by().values_list("kind").annotate(Count("id")))
    kinds = tuple(KindCount(kind, name, counted[kind]) for kind, name in KIND_NAMES.items() if counted.get(kind))
    chosen = kind if counted.get(kind) else kinds[0].kind if kinds else ItemKind.PART
    found = Item.objects.filter(kind=chosen)
    for word in words.split():
        found = found.filter(
            Q(folded__contains=fold(word))
            | Q(description__icontains=word)
            | Q(material__icontains=word)
            | Q(size__icontains=word)
            | Q(form__icontains=word)
            | Q(folded_maker_number__contains=fold(word))
        )
    return ItemList(chosen, KIND_NAMES[ItemKind(chosen)], words, kinds, QueryFacts(found.order_by("folded")))
