"""Options in the shop's own spelling: the engine compares them folded, pages show them as they were typed."""

from __future__ import annotations

from collections.abc import Iterable

from bom.values import Options
from kits.catalog.folding import fold
from kits.catalog.models import Item, KitFit, StructureLine
from kits.catalog.options import spelled_options

OptionWords = dict[tuple[str, str], str]
"""Folded name and value, and how the shop writes them."""


def option_spellings() -> dict[tuple[str, str], tuple[str, str]]:
    """Every option that a line, a kit or a pump names, folded, and how the shop spells it; one statement."""
    texts = (
        StructureLine.objects.exclude(option="")
        .order_by()
        .values_list("option")
        .union(
            KitFit.objects.exclude(option="").order_by().values_list("option"),
            Item.objects.exclude(default_option="").order_by().values_list("default_option"),
        )
    )
    spelled: dict[tuple[str, str], tuple[str, str]] = {}
    for (text,) in texts:
        for name, value in spelled_options(text):
            spelled.setdefault((fold(name), fold(value)), (name, value))
    return spelled


def option_words() -> OptionWords:
    """Every option that a line, a kit or a pump names, in words; one statement."""
    return {
        pair: f"{name.replace('_', ' ')} {value.replace('_', ' ')}"
        for pair, (name, value) in option_spellings().items()
    }


def in_shop_words(options: Options | Iterable[tuple[str, str]], words: OptionWords) -> str:
    """Options as a reader sees them: ``compound FKM, service oxygen clean``."""
    return ", ".join(words.get(pair, f"{pair[0]} {pair[1]}") for pair in options)
