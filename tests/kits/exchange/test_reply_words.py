"""Words beside numbers in a supplier's reply. How suppliers write is common practice, no source."""

from datetime import date

import pytest

from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.replies.reply_words import (
    StatedCount,
    StatedPrice,
    count_in,
    money_in,
    numbers_in,
    says_alternative,
    says_no_bid,
    validity_in,
)


@pytest.mark.parametrize(
    "text",
    ["no bid", "No Bid", "NO-BID", "nobid", "no quote", "No quotation", "no offer", "cannot quote", "can't supply",
     "we regret", "regret", "declined", "n/b", "NB", "unable to quote this size", "no bid, tooling broken"],
)  # fmt: skip
def test_usual_spellings_of_a_refusal_are_known(text):
    assert says_no_bid(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "42",
        "nobody here",
        "no problem",
        "ex stock",
        "number follows",
        "passed on",
        "note: no bid bond",
        "NB: five bags at least",
    ],
)
def test_other_words_are_no_refusal(text):
    assert not says_no_bid(text)


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("€ 18,00", StatedPrice("18,00", ("EUR",), "")),
        ("18.00 EUR", StatedPrice("18.00", ("EUR",), "")),
        ("eur 1.250,00", StatedPrice("1.250,00", ("EUR",), "")),
        ("£12", StatedPrice("12", ("GBP",), "")),
        ("€ 1.80 each", StatedPrice("1.80", ("EUR",), "each")),
        ("1,80 / pc.", StatedPrice("1,80", (), "each")),
        ("9.50 per bag", StatedPrice("9.50", (), "pack")),
        ("18", None),
        ("18 thaler", None),
        ("18-20 EUR", None),
        ("ask", None),
    ],
)
def test_a_price_is_read_with_its_currency_and_what_it_is_for(text, read):
    assert money_in(text) == read


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("7 pcs", StatedCount("7", "each", "")),
        ("7pcs.", StatedCount("7", "each", "")),
        ("2 bags", StatedCount("2", "pack", "")),
        ("2 bags of 5", StatedCount("2", "pack", "5")),
        ("2 x box 25", StatedCount("2", "pack", "25")),
        ("1.5 m", StatedCount("1.5", "m", "")),
        ("7", None),
        ("7 rings", None),
        ("7 pcs or 8 pcs", None),
        ("10/2", None),
        ("pcs", None),
    ],
)
def test_a_quantity_is_read_with_what_is_counted(text, read):
    assert count_in(text) == read


def test_a_dollar_may_be_that_of_several_countries():
    assert {"USD", "CAD"} <= set(money_in("$ 18").currencies)


@pytest.mark.parametrize("note", ["we offer SE-9 instead", "Alternative: SE-9", "superseded by SE-9", "or equal"])
def test_a_note_that_speaks_of_something_else_is_heard(note):
    assert says_alternative(note)


@pytest.mark.parametrize("note", ["", "ex stock", "as last time", "offer valid 30 days", "certificate included"])
def test_other_notes_speak_of_nothing_else(note):
    assert not says_alternative(note)


def test_part_numbers_are_found_in_a_note_by_their_own_and_other_names():
    known = KnownMarks(["SE-9", "OR 011 N", "ball"], {"NS 4711": "SE-9"})
    assert numbers_in("we offer se-9, or OR 011 N (ball)", known) == ["OR 011 N", "SE-9"]
    assert numbers_in("now NS 4711.", known) == ["SE-9"]
    assert numbers_in("ex stock", known) == []


@pytest.mark.parametrize(
    ("note", "until"),
    [
        ("offer valid until 2026-04-30", date(2026, 4, 30)),
        ("validity: 30 days", date(2026, 4, 3)),
        ("price valid for 2 weeks", date(2026, 3, 18)),
        ("valid until 2026-02-30", None),
        ("ex stock", None),
    ],
)
def test_the_validity_is_found_in_a_note(note, until):
    assert validity_in(note, date(2026, 3, 4)) == until
