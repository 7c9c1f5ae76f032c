"""Cautions about compounds in fluids from published lists, for a shop to start its own table with.

Each is a warning and none a permission: a sign names many mixtures, and how one of them bears a fluid is measured at a
temperature over a time (ISO 1817, ASTM D471), not read off two names. Classes of fluids are those of ISO 6743-4, signs
of rubbers those of ISO 1629. Facts are restated from pages on chemical
resistance and the compatibility of seals; what they leave open is left to the seal maker.
"""

from __future__ import annotations

from kits.service.words import RuleSays

RESISTANCE = "lexicon of poesia.ch, indicative; glossary of pti-latam.com"
GLOSSARY = "glossary of pti-latam.com"
HANDBOOKS = "trade handbooks, in words"
MEMORY = "from memory, no list seen"
NO, USUAL, ASK = RuleSays.FORBIDDEN, RuleSays.ALLOWED, RuleSays.ASK

PUBLISHED: tuple[tuple[str, str, RuleSays, str, str], ...] = (
    ("mineral oil", "EPDM", NO, RESISTANCE, "classes HH, HL, HM, HV; also greases of mineral oil"),
    ("mineral oil", "VMQ", ASK, RESISTANCE, "said to be sensitive"),
    ("mineral oil", "NBR", USUAL, RESISTANCE, ""),
    ("mineral oil", "HNBR", USUAL, RESISTANCE, ""),
    ("mineral oil", "FKM", USUAL, RESISTANCE, ""),
    ("hot water or steam", "FKM", NO, RESISTANCE, ""),
    ("hot water or steam", "EPDM", USUAL, RESISTANCE, ""),
    ("ketones", "NBR", NO, GLOSSARY, ""),
    ("ketones", "FKM", NO, GLOSSARY, ""),
    ("amines", "FKM", NO, GLOSSARY, ""),
    ("phosphate ester", "NBR", NO, HANDBOOKS, "class HFDR"),
    ("phosphate ester", "EPDM", USUAL, HANDBOOKS, "with silicone grease only: mineral grease ruins EPDM"),
    ("phosphate ester", "FKM", ASK, MEMORY, "grades differ"),
    ("polyol ester", "NBR", ASK, GLOSSARY, "esters are said to attack it"),
    ("water glycol", "NBR", USUAL, HANDBOOKS, "class HFC"),
    ("water glycol", "EPDM", USUAL, HANDBOOKS, "class HFC"),
    ("water glycol", "AU", NO, HANDBOOKS, "class HFC; polyurethane of the polyester kind"),
    ("water with oil", "AU", NO, HANDBOOKS, "class HFA; polyurethane of the polyester kind"),
)
"""Fluid, compound, what is said of it, where, and what besides."""
