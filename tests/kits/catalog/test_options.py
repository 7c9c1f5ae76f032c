import pytest

from kits.catalog.options import OptionError, canonical_options, options_text, parse_options


def test_an_option_text_is_stored_in_one_order_and_spelled_as_typed():
    assert canonical_options(" service = normal ;compound=FKM;") == "compound=FKM;service=normal"
    assert canonical_options("  ") == ""


def test_the_engine_gets_folded_names_and_values():
    assert parse_options("Service=Oxygen_Clean; compound= FKM") == (("compound", "fkm"), ("service", "oxygen_clean"))
    assert options_text(parse_options("compound=FKM")) == "compound=fkm"


@pytest.mark.parametrize("text", ["FKM", "compound=", "=FKM", "compound=FKM=NBR"])
def test_a_text_that_is_no_pair_is_refused(text):
    with pytest.raises(OptionError, match="is not a name and a value"):
        canonical_options(text)


def test_a_name_given_twice_is_refused():
    with pytest.raises(OptionError, match="“Compound” is given twice"):
        canonical_options("compound=FKM; Compound=NBR")
