"""What kind of part an item is, by the words of its form or description, and which way round it is fitted."""

from __future__ import annotations

import re
from functools import lru_cache

from kits.planning.words.item_names import ItemName

KINDS = (
    ("o_ring_cord", ("o-ring cord", "cord")),
    ("backup_ring", ("backup ring", "back-up ring", "anti-extrusion ring", "support ring")),
    ("retaining_ring", ("retaining ring", "snap ring", "circlip")),
    ("o_ring", ("o-ring", "o ring", "quad ring", "x-ring")),
    ("cup_seal", ("cup seal", "lip seal", "u-cup", "u cup", "rod seal", "piston seal", "plunger seal", "packing")),
    ("wiper", ("wiper", "scraper")),
    ("band", ("wear band", "guide band", "wear ring", "guide ring", "band")),
    ("bearing", ("bearing", "bush", "bushing")),
    ("bumper", ("bumper", "buffer")),
    ("disc", ("seat disc", "disc", "poppet", "valve plate")),
    ("seat", ("seat",)),
    ("cage", ("ball cage", "cage", "retainer", "guide")),
    ("ball", ("ball",)),
    ("spring", ("spring",)),
    ("spool", ("spool",)),
    ("sleeve", ("sleeve", "sleeve set", "liner")),
    ("nut", ("nut",)),
    ("screw", ("screw", "bolt", "stud", "tie rod")),
    ("rod", ("plunger", "piston rod", "rod", "stem", "shaft", "pin")),
    ("piston", ("piston",)),
    ("gasket", ("gasket", "flat seal")),
    ("washer", ("washer",)),
    ("screen", ("screen", "filter", "strainer", "element", "muffler")),
    ("body", ("body", "barrel", "housing", "cylinder", "cap", "head", "cover", "plug")),
    ("grease", ("grease", "oil", "lubricant", "thread locker", "locker", "sealant", "paste")),
)
"""Each kind with its words. The longest word that is found decides; of two as long, the one that stands last."""

TURNED = frozenset({"cup_seal", "wiper", "disc"})
"""Kinds that are fitted one way round, and whose symbol shows it."""

_FINDS = tuple(
    (kind, word, re.compile(rf"(?<![a-z]){re.escape(word)}(?:s|es)?(?![a-z])"))
    for kind, words in KINDS
    for word in words
)
_FACES = re.compile(r"\b(?:faces?|facing|towards?|to|open to|on)\s+(?:the\s+)?(?:side of the\s+)?(liquid|air)\b")
_AWAY = re.compile(r"\baway from (?:the )?(liquid|air)\b")


@lru_cache(maxsize=4096)
def part_kind(words: str) -> str:
    """The kind that the words of a part mean; empty where they name none.

    >>> part_kind("cup seal"), part_kind("self-locking nut M10"), part_kind("ball cage"), part_kind("thing")
    ('cup_seal', 'nut', 'cage', '')
    """
    folded = " ".join(words.casefold().split())
    found = [(len(word), match.start(), kind) for kind, word, finds in _FINDS for match in finds.finditer(folded)]
    return max(found)[2] if found else ""


def kind_of(name: ItemName) -> str:
    """The kind of an item by its form, else by what stands first in its description; empty where neither says."""
    return part_kind(name.kind) or part_kind(name.what.split(",")[0])


def turned_to(kind: str, orientation: str) -> str:
    """The side, liquid or air, to which a part is fitted open; empty where its list does not say.

    >>> turned_to("cup_seal", "lips face the liquid"), turned_to("wiper", "lip towards the air drive")
    ('liquid', 'air')
    >>> turned_to("cup_seal", "lips away from the air"), turned_to("o_ring", "towards the liquid")
    ('liquid', '')
    """
    if kind not in TURNED:
        return ""
    folded = orientation.casefold()
    if away := _AWAY.search(folded):
        return "air" if away[1] == "liquid" else "liquid"
    faces = _FACES.search(folded)
    return faces[1] if faces else ""
