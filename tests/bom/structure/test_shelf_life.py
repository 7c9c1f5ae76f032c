from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bom.errors import ShelfLifeError
from bom.structure.cure import after_months, next_quarter, quarter_of
from bom.structure.shelf_life import (
    Cure,
    MinimumLife,
    has_minimum_life,
    is_elastomer,
    kit_last_use,
    last_use,
    life_of,
    oldest_cure_quarter,
    parse_cure,
    parse_life,
    parse_minimum_life,
    parse_use_by,
)

TODAY = date(2026, 3, 4)
DAY = timedelta(days=1)
FOURTH_OF_2020 = Cure(date(2020, 12, 31), is_quarter=True)

days = st.dates(date(1960, 1, 1), date(2080, 12, 31))
lives = st.integers(1, 480)


@pytest.mark.parametrize(
    "text",
    [
        "4Q20",
        "4q20",
        " 4Q 20 ",
        "4Q2020",
        "4Q-2020",
        "Q4 2020",
        "Q4/20",
        "2020-Q4",
        "2020–Q4",
        "2020Q4",
        "4/20",
        "4/2020",
    ],
)
def test_every_way_to_write_a_quarter_is_read_alike(text):
    assert parse_cure(text, TODAY) == FOURTH_OF_2020


@pytest.mark.parametrize("value", ["2020-11-15", date(2020, 11, 15), datetime(2020, 11, 15, 8, 30)])
def test_a_cure_day_is_read_from_text_date_or_moment(value):
    assert parse_cure(value, TODAY) == Cure(date(2020, 11, 15))


def test_a_slash_label_names_the_quarter_not_the_month():
    assert parse_cure("3/94", TODAY) == Cure(date(1994, 9, 30), is_quarter=True)


@pytest.mark.parametrize(
    ("text", "today", "last_day"),
    [
        ("1Q26", date(2026, 1, 1), date(2026, 3, 31)),  # begun today
        ("2Q26", date(2026, 3, 31), date(1926, 6, 30)),  # begins tomorrow
        ("4Q99", date(2026, 3, 4), date(1999, 12, 31)),
        ("1Q00", date(2026, 3, 4), date(2000, 3, 31)),
        ("4Q00", date(2100, 9, 30), date(2000, 12, 31)),
    ],
)
def test_a_two_digit_year_is_the_latest_whose_quarter_has_begun(text, today, last_day):
    assert parse_cure(text, today).on == last_day


@given(st.integers(1, 4), st.integers(0, 99), st.dates(date(1990, 1, 1), date(2150, 12, 31)))
def test_a_two_digit_year_lies_within_the_hundred_years_before_today(quarter, year, today):
    cure = parse_cure(f"{quarter}Q{year:02d}", today)
    assert cure.is_quarter
    assert cure.on.year % 100 == year
    begins_on = date(cure.on.year, 3 * quarter - 2, 1)
    assert begins_on <= today < date(cure.on.year + 100, 3 * quarter - 2, 1)


@pytest.mark.parametrize(
    "text",
    ["", "soon", "2020", "20Q4", "4Q", "4Q203", "03/94", "11/2020", "5Q20", "0Q20", "2020-Q5", "15.11.2020", "2020-11",
     "2020-02-30", "20201115", "٤Q20", "4Q0000", "0000-Q4", "Q42020"],
)  # fmt: skip
def test_a_cure_that_cannot_be_read_is_refused_with_its_value(text):
    with pytest.raises(ShelfLifeError) as refusal:
        parse_cure(text, TODAY)
    assert text in str(refusal.value)
    assert str(refusal.value).endswith(".")


@pytest.mark.parametrize("value", ["2Q2026", "2026-Q4", "2026-03-05", date(2026, 3, 5), datetime(2027, 1, 1)])
def test_a_cure_after_today_is_refused(value):
    with pytest.raises(ShelfLifeError, match="after today: nothing is cured ahead"):
        parse_cure(value, TODAY)


def test_a_quarter_that_still_runs_is_a_cure():
    assert parse_cure("1Q2026", TODAY).starts_on == date(2026, 4, 1)


@given(days, st.booleans())
def test_a_cure_reads_back_what_it_writes(day, whole_quarter):
    cure = quarter_of(day) if whole_quarter else Cure(day)
    assert parse_cure(str(cure), date(2081, 1, 1)) == cure


def test_a_quarter_counts_from_its_end_and_a_day_from_itself():
    assert FOURTH_OF_2020.starts_on == date(2021, 1, 1)
    assert Cure(date(2020, 11, 15)).starts_on == date(2020, 11, 15)


@pytest.mark.parametrize("text", ["2026-03", "2026/03", "03/2026", "3/2026", "2026-03-31"])
def test_a_use_by_month_means_its_last_day(text):
    assert parse_use_by(text) == date(2026, 3, 31)


def test_a_use_by_month_knows_leap_years_and_december():
    assert parse_use_by("02/2028") == date(2028, 2, 29)
    assert parse_use_by("12/2026") == date(2026, 12, 31)
    assert parse_use_by("12/9999") == date(9999, 12, 31)


def test_a_use_by_date_passes_through():
    assert parse_use_by(date(2026, 3, 5)) == date(2026, 3, 5)
    assert parse_use_by(datetime(2026, 3, 5, 12)) == date(2026, 3, 5)


@pytest.mark.parametrize("text", ["", "03/26", "13/2026", "2026-00", "2026", "never", "2026-02-29", "0000-03"])
def test_a_use_by_that_cannot_be_read_is_refused(text):
    with pytest.raises(ShelfLifeError, match=r"use-by date '.*' .*\.$"):
        parse_use_by(text)


@pytest.mark.parametrize(
    ("value", "months"),
    [("15", 180), (15, 180), (2.5, 30), ("0.5", 6), (Decimal("7"), 84), ("unlimited", None), (" Unlimited ", None)],
)
def test_a_life_is_read_in_years_and_given_in_months(value, months):
    assert parse_life(value) == months


@pytest.mark.parametrize(
    "value", ["", "long", "0", -1, "nan", "inf", float("nan"), True, "0.3", 101, "1e999999", "3 years"]
)
def test_a_life_that_is_no_number_of_months_is_refused(value):
    with pytest.raises(ShelfLifeError, match="shelf life"):
        parse_life(value)


@pytest.mark.parametrize("blank", [None, "", "  "])
def test_a_blank_life_is_refused_for_rubber_and_no_limit_for_metal(blank):
    with pytest.raises(ShelfLifeError, match="'PTFE/FKM' names an elastomer"):
        life_of(blank, "PTFE/FKM")
    assert life_of(blank, "440C steel") is None
    assert life_of(blank, "PTFE") is None


def test_a_stated_life_counts_whatever_the_material():
    assert life_of("15", "NBR") == 180
    assert life_of("unlimited", "FKM") is None
    assert life_of("5", "paper") == 60


def test_the_earlier_of_printed_and_computed_counts():
    assert last_use(FOURTH_OF_2020, 36, None) == date(2023, 12, 31)
    assert last_use(FOURTH_OF_2020, 36, date(2023, 6, 30)) == date(2023, 6, 30)
    assert last_use(FOURTH_OF_2020, 36, date(2024, 6, 30)) == date(2023, 12, 31)


def test_nothing_known_gives_no_last_use():
    assert last_use(None, 36, None) is None
    assert last_use(FOURTH_OF_2020, None, None) is None
    assert last_use(None, None, date(2023, 6, 30)) == date(2023, 6, 30)
    assert last_use(FOURTH_OF_2020, None, date(2023, 6, 30)) == date(2023, 6, 30)


def test_a_day_that_the_month_lacks_is_its_last_day():
    assert last_use(Cure(date(2019, 8, 31)), 6, None) == date(2020, 2, 28)
    assert last_use(Cure(date(2020, 2, 29)), 12, None) == date(2021, 2, 27)


def test_a_life_that_leaves_the_calendar_is_refused():
    with pytest.raises(ShelfLifeError, match="out of the calendar"):
        last_use(Cure(date(9990, 1, 1)), 1200, None)


@given(days, lives)
def test_a_life_in_whole_months_ends_the_day_before_its_anniversary(day, months):
    end = last_use(Cure(day), months, None)
    anniversary = end + DAY
    assert (anniversary.year - day.year) * 12 + anniversary.month - day.month == months
    assert anniversary.day == day.day or (anniversary + DAY).day == 1


@given(days, lives)
def test_a_life_counted_from_a_quarter_ends_with_a_month(day, months):
    assert (last_use(quarter_of(day), months, None) + DAY).day == 1


def test_a_kit_dies_with_its_earliest_piece_and_remembers_which():
    pieces = [("ball", None), ("o-ring", date(2030, 6, 30)), ("u-cup", date(2026, 3, 31))]
    assert kit_last_use(pieces) == ("u-cup", date(2026, 3, 31))
    assert kit_last_use([("ball", None)]) is None
    assert kit_last_use([]) is None


def test_the_oldest_cure_quarter_is_the_first_that_lasts_to_the_build():
    assert str(oldest_cure_quarter(date(2023, 12, 31), 36)) == "4Q2020"
    assert str(oldest_cure_quarter(date(2024, 1, 1), 36)) == "1Q2021"
    assert oldest_cure_quarter(date(2024, 1, 1), None) is None


@given(days, lives)
def test_the_oldest_cure_quarter_lasts_and_the_one_before_does_not(build, months):
    oldest = oldest_cure_quarter(build, months)
    assert last_use(oldest, months, None) >= build
    before = quarter_of(oldest.on - timedelta(days=100))
    assert next_quarter(before) == oldest
    assert last_use(before, months, None) < build


def test_the_minimum_life_at_receipt_tightens_the_oldest_quarter():
    received = date(2026, 3, 4)
    assert str(oldest_cure_quarter(date(2026, 4, 17), 60)) == "2Q2021"
    assert str(oldest_cure_quarter(date(2026, 4, 17), 60, MinimumLife(months=24), received)) == "1Q2023"
    assert str(oldest_cure_quarter(date(2026, 4, 17), 60, MinimumLife(percent=75), received)) == "4Q2024"
    late_build = oldest_cure_quarter(date(2030, 1, 1), 60, MinimumLife(months=24), received)
    assert str(late_build) == "1Q2025"


def test_a_minimum_above_the_whole_life_is_refused():
    with pytest.raises(ShelfLifeError, match="24 months at receipt cannot be met by a shelf life of 12 months"):
        oldest_cure_quarter(date(2026, 4, 17), 12, MinimumLife(months=24), TODAY)


@given(days, days, lives, st.integers(1, 100), st.integers(1, 240))
def test_the_oldest_quarter_meets_the_minimum_and_its_forerunner_fails_one_limit(
    build, received, months, percent, least
):
    minimum = MinimumLife(percent, min(least, months))
    oldest = oldest_cure_quarter(build, months, minimum, received)
    before = quarter_of(oldest.on - timedelta(days=100))
    assert has_minimum_life(oldest, months, None, received, minimum)
    assert last_use(oldest, months, None) >= build
    assert last_use(before, months, None) < build or not has_minimum_life(before, months, None, received, minimum)


@pytest.mark.parametrize(
    ("text", "minimum"),
    [
        ("75 %", MinimumLife(percent=75)),
        ("75%", MinimumLife(percent=75)),
        ("100 %", MinimumLife(percent=100)),
        ("24 m", MinimumLife(months=24)),
        (" 24M ", MinimumLife(months=24)),
    ],
)
def test_a_minimum_life_is_read_as_per_cent_or_months(text, minimum):
    assert parse_minimum_life(text) == minimum


@pytest.mark.parametrize("text", ["", "75", "0 %", "101 %", "0 m", "1201 m", "2 years", "-5 %", "7.5 %", "% 75"])
def test_a_minimum_life_that_cannot_be_read_is_refused(text):
    with pytest.raises(ShelfLifeError, match="minimum life at receipt"):
        parse_minimum_life(text)


@pytest.mark.parametrize(
    ("received", "enough"), [(date(2022, 1, 1), True), (date(2022, 1, 2), False), (date(2020, 11, 1), True)]
)
def test_months_left_are_counted_from_the_day_of_receipt(received, enough):
    assert has_minimum_life(FOURTH_OF_2020, 36, None, received, MinimumLife(months=24)) is enough


@pytest.mark.parametrize(("received", "enough"), [(date(2021, 10, 1), True), (date(2021, 10, 2), False)])
def test_per_cent_left_are_days_of_the_days_of_the_whole_life(received, enough):
    # 2021 to 2023 are 1095 days; three quarters of them are 821.25; 822 are left on 1 October 2021.
    assert has_minimum_life(FOURTH_OF_2020, 36, None, received, MinimumLife(percent=75)) is enough


def test_a_printed_day_shortens_what_is_left_and_not_the_whole():
    printed = date(2022, 12, 31)
    assert has_minimum_life(FOURTH_OF_2020, 36, printed, date(2021, 6, 1), MinimumLife(percent=50))
    assert not has_minimum_life(FOURTH_OF_2020, 36, printed, date(2021, 8, 1), MinimumLife(percent=50))


def test_a_printed_day_alone_is_measured_against_the_life_of_the_item():
    assert has_minimum_life(None, 36, date(2023, 12, 31), date(2021, 10, 1), MinimumLife(percent=75))
    assert not has_minimum_life(None, 36, date(2023, 12, 31), date(2021, 10, 2), MinimumLife(percent=75))
    assert not has_minimum_life(None, None, date(2023, 12, 31), date(2021, 1, 1), MinimumLife(percent=1))
    assert has_minimum_life(None, None, date(2023, 12, 31), date(2021, 1, 1), MinimumLife(months=36))


def test_a_limited_life_without_a_date_never_meets_a_minimum():
    assert not has_minimum_life(None, 36, None, TODAY, MinimumLife(months=1))
    assert has_minimum_life(None, None, None, TODAY, MinimumLife(months=24))


@pytest.mark.parametrize(
    "material",
    ["NBR", "nbr 70", "NBR70", "70NBR", "HNBR", "EPDM, 80", "FKM", "FFKM", "VMQ", "CR", "70CR", "AU, 93", "EU, 90",
     "PTFE/FKM", "PTFE+NBR", "UHMW-PE/EPDM", "steel/NBR, 70", "steel/CR", "steel with CR", "bonded bronze NBR",
     "PTFE, elastomer inside", "fabric in natural rubber", "Elastomer inside", "FEP encapsulated", "nitrile",
     "PEEK and FKM"],
)  # fmt: skip
def test_a_material_that_names_rubber_is_an_elastomer(material):
    assert is_elastomer(material)


@pytest.mark.parametrize(
    "material",
    ["", "PTFE", "PTFE, bronze-filled", "PTFE, no elastomer", "PEEK", "UHMW-PE", "17-4 PH steel", "440C steel",
     "302 steel", "100Cr6", "41Cr4", "42CrMo4", "Cr plated steel", "steel, CR plated", "Co-Cr alloy",
     "aluminium bronze", "brass", "gold Au", "silicon nitride", "stainless mesh", "fibre", "paper", "PA6",
     "rubber-free paper"],
)  # fmt: skip
def test_metal_and_plain_plastic_are_no_elastomers(material):
    assert not is_elastomer(material)


@given(days, st.integers(-600, 600))
def test_months_go_forward_and_back_within_the_month_that_was_meant(day, months):
    moved = after_months(day, months)
    assert (moved.year - day.year) * 12 + moved.month - day.month == months
    assert moved.day == day.day or (moved + DAY).day == 1
