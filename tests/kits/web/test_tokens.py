"""The colours can be told apart: text 4.5 to 1 against every ground it stands on, shapes and fields 3 to 1."""

import re
from pathlib import Path

import pytest

import kits.web

STATIC = Path(kits.web.__file__).parent / "static" / "web"
TOKENS = (STATIC / "tokens.css").read_text(encoding="utf-8")
GROUNDS = ("paper", "sheet", "wash", "alarm")
TEXTS = ("ink", "soft", "accent", "ready", "waiting", "late", "short")
SETS = {
    "by day": ":root {\n    color-scheme: light;",
    "dark": "@media (prefers-color-scheme: dark) {",
    "more contrast": "@media (prefers-contrast: more) {",
    "more contrast, dark": "@media (prefers-contrast: more) and (prefers-color-scheme: dark) {",
    "print": "@media print {",
}


def colours_of(name):
    """The tokens of one set, on top of those by day."""
    found = {}
    for start in {SETS["by day"], SETS[name]}:
        block = TOKENS[TOKENS.index(start) :]
        block = block[: re.search(r"\n    \}|\n  \}", block).start()]
        own = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))
        found = {**own, **found} if start == SETS["by day"] else {**found, **own}
    return found


def luminance(colour):
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    """WCAG 2.2, relative luminance: (lighter + 0.05) / (darker + 0.05)."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("name", SETS)
def test_text_can_be_read_on_every_ground(name):
    colours = colours_of(name)
    poor = [
        (text, ground, round(contrast(colours[text], colours[ground]), 2))
        for text in TEXTS
        for ground in GROUNDS
        if contrast(colours[text], colours[ground]) < 4.5
    ]
    assert poor == []
    assert contrast(colours["on-accent"], colours["accent"]) >= 4.5


@pytest.mark.parametrize("name", SETS)
def test_every_set_names_every_colour(name):
    start = TOKENS.index(SETS[name])
    own = set(
        re.findall(
            r"--([\w-]+): #",
            TOKENS[start : start + TOKENS[start:].index("\n    }\n" if name != "by day" else "\n  }\n")],
        )
    )
    assert own >= {*GROUNDS, *TEXTS, "hair", "on-accent"}


def test_the_readers_own_colours_stand_for_every_colour():
    """CSS Color 4, section 6.2: the names by which a style sheet takes what the reader has set."""
    block = TOKENS[TOKENS.index("(forced-colors: active) {") :]
    own = dict(re.findall(r"--([\w-]+): (\w+);", block[: block.index("\n    }\n")]))
    assert own.keys() == {*GROUNDS, *TEXTS, "hair", "on-accent"}
    assert set(own.values()) <= {"Canvas", "CanvasText", "LinkText"}
    assert {own[name] for name in (*GROUNDS, "on-accent")} == {"Canvas"}
    assert "Canvas" not in {own[name] for name in (*TEXTS, "hair")}


def test_colours_are_named_in_the_tokens_only():
    named = {
        path.name: re.findall(r"#[0-9a-fA-F]{3,8}\b", path.read_text(encoding="utf-8"))
        for path in STATIC.glob("*.css")
        if path.name != "tokens.css"
    }
    # Paper takes plain black for the frame, whatever the set.
    assert {name: found for name, found in named.items() if set(found) - {"#000"}} == {}


def test_contrast_of_black_on_white_is_as_published():
    """WCAG 2.2, success criterion 1.4.3: the ratio runs from 1 to 21."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#777777") == pytest.approx(1)


def test_every_layer_has_its_place_and_print_comes_last():
    order = re.search(r"^@layer ([\w, ]+);", TOKENS, re.MULTILINE)[1].split(", ")
    used = {name for path in STATIC.glob("*.css") for name in re.findall(r"@layer (\w+) \{", path.read_text("utf-8"))}
    assert used == set(order)
    assert order[-1] == "print"
