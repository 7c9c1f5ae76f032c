import pytest
from hypothesis import given
from hypothesis import strategies as st

from kits.catalog.folding import fold, fold_key


@pytest.mark.parametrize(
    "typed",
    ["2-014 A", " 2-014 a ", "2–014  A", "2—014\u00a0A", "2−014\tA", "2‑014\u202fA", "2-\u200b014 A", "2\u00ad-014 A"],
)
def test_spellings_of_one_number_fold_to_one_text(typed):
    assert fold(typed) == "2-014 a"


@pytest.mark.parametrize(("one", "other"), [("0012", "12"), ("OR-O", "OR-0"), ("2-014", "2014"), ("3E10", "3e+10")])
def test_numbers_that_look_alike_stay_apart(one, other):
    assert fold(one) != fold(other)


@given(st.text())
def test_folding_twice_changes_nothing(text):
    assert fold(fold(text)) == fold(text)


def test_a_key_keeps_its_parts_apart():
    assert fold_key("a b", "c") != fold_key("a", "b c")
    assert fold_key("", None) == fold_key(None, "")
