"""Which materials are rubber, and so age on the shelf."""

from __future__ import annotations

import re

from bom.structure.cure import tidy_label

ELASTOMER_CODES = frozenset((
    "ACM", "AEM", "ANM", "AU", "BIIR", "BR", "CIIR", "CM", "CO", "CR", "CSM", "ECO", "EPDM", "EPM", "EPR", "EU",
    "EVM", "FEPM", "FFKM", "FKM", "FMQ", "FPM", "FVMQ", "GECO", "GPO", "HNBR", "IIR", "IR", "MQ", "NBR", "NR", "PMQ",
    "PU", "PUR", "PVMQ", "SBR", "TPE", "TPU", "VMQ", "XHNBR", "XIIR", "XNBR", "XSBR",
))  # fmt: skip
"""Rubber codes of ISO 1629, with the everyday codes of polyurethane and thermoplastic elastomers."""

ELASTOMER_WORDS = (
    "elastomer", "rubber", "nitrile", "polyurethane", "silicone", "fluorocarbon", "chloroprene", "encapsulated",
)  # fmt: skip
"""Words that say the same; an encapsulated seal has rubber under its skin (common practice, no source)."""

METAL_WORDS = (
    "steel", "stainless", "iron", "metal", "alloy", "brass", "bronze", "copper", "alumin", "nickel", "titan", "chrom",
    "cobalt", "gold", "zinc", "plated",
)  # fmt: skip

_DENIAL = re.compile(r"\b(?:no|non|without)[\s-]+(?:elastomer|rubber)s?\b|\b(?:elastomer|rubber)[\s-]free\b")
_PARTS = re.compile(r"[/+&,;]|\bwith\b|\band\b|\bon\b")
_CODE = re.compile(r"(?<![a-z])[a-z]+(?![a-z])")


def is_elastomer(material: str) -> bool:
    """Tell whether a material names an elastomer, alone or as a part of it (``PTFE/FKM``, ``elastomer inside``).

    A two-letter code beside a metal, or between digits, is a chemical symbol: ``Cr`` in ``100Cr6`` or in ``Cr plated
    steel`` is no chloroprene, while the ``CR`` of ``steel/CR`` is.

    Parameters
    ----------
    material : as the item states it

    Examples
    --------
    >>> [is_elastomer(text) for text in ("NBR, 70", "PTFE/FKM", "PTFE", "440C steel", "UHMW-PE, elastomer inside")]
    [True, True, False, False, True]
    """
    text = _DENIAL.sub(" ", tidy_label(material).casefold())
    return any(_names_elastomer(part) for part in _PARTS.split(text))


def _names_elastomer(part: str) -> bool:
    if any(word in part for word in ELASTOMER_WORDS):
        return True
    metal = any(word in part for word in METAL_WORDS)
    for found in _CODE.finditer(part):
        code = found[0].upper()
        between_digits = part[: found.start()][-1:].isdigit() and part[found.end() :][:1].isdigit()
        symbol = len(code) == 2 and (metal or between_digits)
        if code in ELASTOMER_CODES and not symbol:
            return True
    return False
