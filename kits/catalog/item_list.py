"""The list behind "Pumps and parts": items of one kind, found by any of their numbers or words."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.words import ItemKind

ROWS_PER_PAGE = 100
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
    """One page of items of one kind, and how many there are of each kind."""

    kind: str
    name: str
    words: str
    kinds: tuple[KindCount, ...]
    rows: tuple[Item, ...]
    page: Page[Item]


def item_list(*, kind: str, words: str, page: int) -> ItemList:
    """Items of one kind whose number, description, size or material holds all the words; three statements."""
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
    pages = Paginator(found.order_by("folded"), ROWS_PER_PAGE)
    shown = pages.get_page(page)
    return ItemList(chosen, KIND_NAMES[ItemKind(chosen)], words, kinds, tuple(shown.object_list), shown)
