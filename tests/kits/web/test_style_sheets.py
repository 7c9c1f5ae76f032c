"""The style sheets: every layer has its turn in ``tokens.css``, and a class is defined in one place."""

import re
from collections import defaultdict

from tests.kits.web.test_tokens import STATIC, TOKENS

SHEETS = {path.name: path.read_text(encoding="utf-8") for path in sorted(STATIC.glob("*.css"))}


def read_rules(text):
    """Each style rule of a sheet: the at-rules around it but for its layer, and its selectors."""
    around, start = [], 0
    text = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)
    for found in re.finditer(r"[{};]", text):
        words = text[start : found.start()].strip()
        if found[0] == "{":
            if not words.startswith("@"):
                yield [rule for rule in around if not rule.startswith("@layer")], re.split(r",\s*", words)
            around.append(words)
        elif found[0] == "}":
            around.pop()
        start = found.end()


def test_the_layers_named_first_are_all_that_exist():
    named = re.search(r"@layer ([\w, ]+);", TOKENS)[1].split(", ")
    used = {name for text in SHEETS.values() for name in re.findall(r"@layer (\w+) \{", text)}
    assert used == set(named)


def test_a_class_is_defined_once():
    # What differs by width, hand or paper may stand with the sheet that needs it.
    where = defaultdict(list)
    for name, text in SHEETS.items():
        for around, selectors in read_rules(text):
            for selector in selectors:
                if not around and re.fullmatch(r"\.[\w-]+", selector):
                    where[selector].append(name)
    assert {selector: names for selector, names in where.items() if len(names) > 1} == {}
