"""Codes that the shop makes up, for lots whose bag bears none and for kits put together here: no two are the same."""

from __future__ import annotations

from itertools import count

from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.stock.errors import StockRefusal
from kits.stock.models import Lot

ANOTHER_CODE = "mark the bag with another one, such as this with a letter behind it"
LONGEST_STEM = 90
"""What of a long code is taken over into a new one, so that a number fits behind it."""


def next_code(stem: str, between: str = "-") -> str:
    """Return the stem and the first number behind it that no lot of the shop has, of whatever item.

    Asked inside a transaction that has marked the shop: of two people at once the second waits, and then finds the
    code of the first one taken.
    """
    begins = f"{stem[:LONGEST_STEM]}{between}"
    taken = set(Lot.objects.filter(folded__startswith=fold(begins)).values_list("folded", flat=True))
    return next(code for number in count(1) if fold(code := f"{begins}{number}") not in taken)


def refuse_code_made_here(item: Item, code: str) -> None:
    """Refuse for a lot of an item the code that the shop made up for a lot of another one."""
    others = Lot.objects.filter(made_here=True, folded=fold(code)).exclude(item=item)
    if made := others.select_related("item").first():
        raise StockRefusal(f"{says_made_here(made.lot, made.item.part_number)}: {ANOTHER_CODE}.")


def says_made_here(code: str, part_number: str) -> str:
    """What is wrong with such a code."""
    return f"The code {code} was made up here for a lot of {part_number}"
