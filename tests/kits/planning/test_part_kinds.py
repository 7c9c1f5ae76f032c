import csv

import pytest

from kits.planning.words.part_kinds import KINDS, TURNED, part_kind, turned_to
from kits.web.part_symbols import OPEN_TO_LEFT, SYMBOLS, symbol_of
from tests.kits.exchange.books import FIXTURES


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("O-ring", "o_ring"),
        ("O-ring cord 2.62 mm", "o_ring_cord"),
        ("backup rings", "backup_ring"),
        ("ball cage", "cage"),
        ("Ball", "ball"),
        ("gland nut", "nut"),
        ("pilot seat disc", "disc"),
        ("seats", "seat"),
        ("thing", ""),
        ("nutmeg", ""),
    ],
)
def test_the_longest_word_of_a_part_says_what_it_is(words, kind):
    assert part_kind(words) == kind


def test_every_kind_has_a_symbol_and_every_turned_kind_one_that_is_open_to_a_side():
    assert {kind for kind, _ in KINDS} <= set(SYMBOLS)
    assert set(OPEN_TO_LEFT) == TURNED
    assert symbol_of("no such kind").symbol == SYMBOLS[""]


def test_a_seal_is_turned_only_where_its_list_says_so():
    assert symbol_of("cup_seal").symbol == SYMBOLS["cup_seal"]
    open_to = [
        symbol_of("cup_seal", turned_to("cup_seal", f"lips face the {side}")) for side in ("liquid", "air drive")
    ]
    assert [(one.symbol == OPEN_TO_LEFT["cup_seal"], one.turned) for one in open_to] == [(True, False), (True, True)]
    assert turned_to("cup_seal", "the soft one") == ""
    assert turned_to("backup_ring", "on the side away from the liquid") == ""


def test_no_part_of_the_invented_pumps_is_of_an_unknown_kind():
    with (FIXTURES / "items.csv").open(encoding="utf-8") as file:
        items = [row for row in csv.DictReader(file) if row["kind"] == "part"]
    unknown = [row["part_number"] for row in items if not part_kind(row["form"] or row["description"].split(",")[0])]
    assert unknown == []
