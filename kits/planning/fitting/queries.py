"""What a scope may open and what it opens, and what a kit is said to fit: read for the pages on which it is said."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from kits.catalog.folding import fold
from kits.catalog.models import Item, KitFit, ScopeSection
from kits.catalog.words import ItemKind
from kits.planning.queries import lists_now


@dataclass(frozen=True, slots=True)
class SectionChoice:
    """A section that a scope of the pump may open: how many the pump holds, and how many the scope opens now."""

    item: int
    part_number: str
    what: str
    held: int
    opened: int


@dataclass(frozen=True, slots=True)
class ScopeChoices:
    """A scope as it is, or a new one without a name; ``seen`` tells whether it was changed since."""

    scope: str
    sections: tuple[SectionChoice, ...]
    use_kits: bool
    option: str
    signed_for: bool
    seen: str

    @property
    def is_new(self) -> bool:
        """Whether nothing is stored under its name."""
        return not any(section.opened for section in self.sections)


def scope_choices(pump: Item, scope: str) -> ScopeChoices:
    """Everything that the page of one scope shows; three statements."""
    rows = rows_of_scope(pump, scope)
    opened = {row.section_id: row.how_many for row in rows}
    held = lists_now().held_in(pump.part_number)
    items = {item.part_number: item for item in Item.objects.filter(part_number__in=held)}
    sections = (
        SectionChoice(item.pk, number, item.description, count, opened.get(item.pk, 0))
        for number, count in held.items()
        if (item := items.get(number))
    )
    first = rows[0] if rows else None
    return ScopeChoices(
        scope=first.scope if first else scope,
        sections=tuple(sections),
        use_kits=first.use_kits if first else True,
        option=first.option if first else "",
        signed_for=any(row.signed_for for row in rows),
        seen=seen_of(rows),
    )


def rows_of_scope(pump: Item, scope: str) -> list[ScopeSection]:
    """The rows of a scope, however its name is spelled."""
    return list(ScopeSection.objects.filter(pump=pump, folded=fold(scope)).order_by("pk")) if scope.strip() else []


def seen_of(rows: Iterable[ScopeSection]) -> str:
    """What tells one state of a scope from any other."""
    facts = sorted((row.section_id, row.how_many, row.use_kits, row.option, row.signed_for) for row in rows)
    return hashlib.sha256(repr(facts).encode()).hexdigest()[:16]


def fits_of(kit: Item) -> list[KitFit]:
    """What a kit is said to fit; one statement."""
    return list(KitFit.objects.filter(kit=kit).select_related("fits").order_by("fits__folded", "pk"))


def openable() -> list[tuple[str, str]]:
    """Number and description of everything that a kit may be made for; one statement."""
    kinds = (ItemKind.ASSEMBLY, ItemKind.PUMP)
    return list(Item.objects.filter(kind__in=kinds).order_by("folded").values_list("part_number", "description"))
