"""What has to be said of a new job: the scopes of its pump, and the options that its lists ask about."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bom.reading import Lists
from bom.values import Options
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.queries import option_spellings
from kits.catalog.words import ItemKind
from kits.planning.queries import lists_now


@dataclass(frozen=True, slots=True)
class AskedOption:
    """An option that the lists of a pump name: its values as the shop spells them, and the pump's own answer."""

    name: str
    values: tuple[str, ...]
    usual: str


@dataclass(frozen=True, slots=True)
class PumpChoices:
    """A pump with its scopes and the options that are asked of a job of it."""

    part_number: str
    what: str
    scopes: tuple[str, ...]
    options: tuple[AskedOption, ...]


@dataclass(frozen=True, slots=True)
class KnownPump:
    """A pump that can be put on the schedule."""

    part_number: str
    what: str


def known_pumps() -> tuple[KnownPump, ...]:
    """The pumps that know a scope, by number; one statement beside the lists."""
    scopes = lists_now().scopes_by_pump
    pumps = Item.objects.filter(kind=ItemKind.PUMP).order_by("folded").values_list("part_number", "description")
    return tuple(KnownPump(number, what) for number, what in pumps if number in scopes)


def pump_choices(number: str) -> PumpChoices | None:
    """A pump by number, however it is spelled; None where no pump of it knows a scope. Two statements."""
    lists = lists_now()
    item = Item.objects.filter(folded=fold(number), kind=ItemKind.PUMP).first()
    if item is None or item.part_number not in lists.scopes_by_pump:
        return None
    pump = item.part_number
    return PumpChoices(
        part_number=pump,
        what=item.description,
        scopes=tuple(lists.scopes_by_pump[pump]),
        options=tuple(asked_options(named_options(lists, pump), lists.items[pump].default_options)),
    )


def named_options(lists: Lists, pump: str) -> list[tuple[str, str]]:
    """The options, folded, that the lines of a pump and the kits for it name, in the order of its lists."""
    named: dict[tuple[str, str], None] = {}
    seen, open_now = {pump}, [pump]
    while open_now:
        assembly = open_now.pop(0)
        for fit in lists.fits_of(assembly):
            named.update(dict.fromkeys(fit.options))
        for held in lists.inside(assembly):
            named.update(dict.fromkeys(held.line.options))
            if held.child not in seen:
                seen.add(held.child)
                open_now.append(held.child)
    return list(named)


def asked_options(named: Iterable[tuple[str, str]], usual: Options) -> Iterator[AskedOption]:
    """Each option once with its values, spelled as the shop does; one statement."""
    spelled, own = option_spellings(), dict(usual)
    values: dict[str, list[tuple[str, str]]] = {}
    for pair in (*named, *usual):
        known = values.setdefault(pair[0], [])
        if pair not in known:
            known.append(pair)
    for name, pairs in values.items():
        texts = [spelled.get(pair, pair) for pair in pairs]
        answer = spelled.get((name, own[name]), (name, own[name]))[1] if name in own else ""
        yield AskedOption(texts[0][0], tuple(value for _, value in texts), answer)
