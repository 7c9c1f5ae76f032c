"""How a shop writes days, numbers, weeks, paper and sizes: one answer for every page, print and workbook."""

import io
import re
from datetime import date, datetime
from decimal import Decimal

import openpyxl
import pytest
from django.template import Context, Template
from django.utils.formats import date_format, localize

from bom.values import ONE
from kits.catalog.amounts import Amount, price_text
from kits.catalog.days.words import in_full, least_life, span_of, words_for_day
from kits.catalog.errors import Refusal
from kits.catalog.fields import QuantityFormField
from kits.catalog.formats.in_force import Formats, formats, write_as
from kits.catalog.models import Setting
from kits.catalog.queries import ShopSettings, read_settings
from kits.catalog.rings.sizes import in_both, written_size
from tests.kits.exchange.books import SHOP, load_sheets
from tests.kits.persons import person_of
from tests.kits.web.shops import load_demo, sheet_of

DAY = date(2026, 3, 4)


@pytest.fixture(autouse=True)
def as_before():
    """Whatever a test writes as, the next one begins as usual."""
    yield
    write_as(Formats())


@pytest.mark.parametrize(
    ("order", "full", "short", "spelled"),
    [
        ("day month", "4 Mar 2026", "4 Mar", "Wednesday 4 March 2026"),
        ("month day", "Mar 4, 2026", "Mar 4", "Wednesday, March 4, 2026"),
        ("year first", "2026-03-04", "2026-03-04", "Wednesday 4 March 2026"),
    ],
)
def test_days_stand_in_the_order_of_the_shop(order, full, short, spelled):
    """Year first is ISO 8601, and never goes without its year."""
    write_as(Formats(date_order=order))
    assert (in_full(DAY), words_for_day(DAY, DAY), formats().spelled_out(DAY)) == (full, short, spelled)


def test_a_comma_stands_before_decimals_wherever_a_number_is_written():
    """ISO 80000-1 takes point and comma alike, and parts thousands by a small space."""
    write_as(Formats(decimal_mark="comma"))
    assert (Amount(1_500_000, "mm").text, price_text(Decimal("9.5"))) == ("1,5 mm", "9,50")
    assert localize(Decimal("1234.5")) == "1234,5"
    written = Template('{{ price }} {{ price|floatformat:"2g" }}').render(Context({"price": Decimal("1234.5")}))
    assert written == "1234,5 1\u202f234,50"
    write_as(Formats())
    assert localize(Decimal("1234.5")) == "1234.5"


def test_what_is_shown_with_a_comma_is_taken_with_a_comma():
    write_as(Formats(decimal_mark="comma"))
    field = QuantityFormField()
    assert (field.prepare_value(3 * ONE // 2), field.to_python("1,5"), field.to_python("1.5")) == (
        "1,5",
        1_500_000,
        1_500_000,
    )


def test_drawings_keep_their_points():
    write_as(Formats(decimal_mark="comma"))
    shown = Template("{% load sheet %}{% bar marks 7 %}").render(Context({"marks": [("ready", 3)]}))
    assert "," not in shown.partition("<path")[2]


@pytest.mark.parametrize(("begins", "first"), [(0, date(2026, 3, 2)), (6, date(2026, 3, 1)), (2, DAY)])
def test_a_week_begins_as_the_shop_begins_it(begins, first):
    assert Formats(week_begins=begins).week_of(DAY) == first


@pytest.mark.parametrize(("months", "says"), [(6, "6 months"), (12, "1 year"), (30, "2 years 6 months"), (0, "")])
def test_a_shelf_life_is_told_in_years_and_months(months, says):
    assert span_of(months) == says


@pytest.mark.parametrize(("written", "says"), [("24 m", "2 years"), ("18M", "1 year 6 months"), ("75 %", "75 %")])
def test_a_least_life_in_months_is_not_taken_for_metres(written, says):
    assert least_life(written) == says


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("1/4 in", "1/4 in (6.35 mm)"),
        ("7/16 in", "7/16 in (11.11 mm)"),
        ("2.62 mm", "2.62 mm (0.103 in)"),
        ("3/4 in plunger", "3/4 in plunger"),
        ("M20 x 1.5", "M20 x 1.5"),
        ("1/0 in", "1/0 in"),
    ],
)
def test_one_length_stands_in_both_measures(written, says):
    """The inch is 25.4 mm exactly (NIST Special Publication 811, appendix B.8)."""
    assert in_both(written) == says


def test_sizes_stand_in_the_measure_that_the_shop_wants_first():
    size = written_size("0.734 x 0.139 in")
    assert size.text == "0.734 × 0.139 in (18.64 × 3.53 mm)"
    write_as(Formats(sizes_first="mm"))
    assert size.text == "18.64 × 3.53 mm (0.734 × 0.139 in)"
    assert (size.inches, size.millimetres) == ("0.734 × 0.139 in", "18.64 × 3.53 mm")


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("date_order", "whatever", "write day month, month day or year first"),
        ("decimal_mark", ";", "write point or comma"),
        ("week_begins", "Someday", "name a day, such as Monday or Sunday"),
        ("paper", "A3", "write a4 or letter"),
        ("sizes_first", "feet", "write inch or mm"),
    ],
)
def test_what_cannot_be_written_so_is_refused_and_counts_as_left_out(name, value, says):
    settings = ShopSettings({name: value})
    with pytest.raises(Refusal, match=says):
        getattr(settings, name)
    assert settings.formats == Formats()


def test_spelling_of_a_setting_does_not_matter():
    given = {"date_order": "Month Day", "decimal_mark": "COMMA", "week_begins": "Sunday", "paper": "Letter"}
    assert ShopSettings({**given, "sizes_first": "Inch"}).formats == Formats("month day", "comma", 6, "letter", "inch")


@pytest.mark.django_db
def test_pages_and_workbooks_are_written_alike(client):
    load_sheets(SHOP)
    given = {"date_order": "month day", "decimal_mark": "comma", "week_begins": "Sun", "paper": "letter"}
    Setting.objects.bulk_create(Setting(name=name, folded=name, value=value) for name, value in given.items())
    read_settings()
    client.force_login(person_of("Purchasing", "buyer"))
    assert date_format(date(2026, 3, 4)) == "Mar 4, 2026"
    assert date_format(datetime(2026, 3, 4, 14, 5), "DATETIME_FORMAT") == "Mar 4, 2026, 14:05"
    due = client.get("/purchasing/due/").content.decode()
    assert '<html lang="en" data-paper="letter">' in due
    assert "Mar 4" in due
    assert "9,50" in client.get("/purchasing/offers/").content.decode()
    heads = client.get("/calendar/").content.decode().partition('<table class="month">')[2]
    assert heads.index(">Sun<") < heads.index(">Mon<")
    book = openpyxl.load_workbook(io.BytesIO(client.get("/shortages/workbook/").content))
    assert {str(sheet.page_setup.paperSize) for sheet in book if sheet.page_setup.paperSize} == {"1"}


TYPED = re.compile(r"O-ring [^,]+,|[\d.]+ x [\d.]+ (?:in|mm)\b|M\d+ x [\d.]+|short by 1\.5 mm")
"""What the shop's lists and people say, which stays as it was typed."""


@pytest.mark.django_db
@pytest.mark.parametrize(
    "address",
    [
        "/parts/PL-34/",
        "/shortages/",
        "/shortages/wear/",
        "/storeroom/worth/",
        "/last-buy/PL-34/",
        "/batch-sheets/advice/Easter%20stop/",
        "/kits/K-E12F/",
    ],
)
def test_no_page_of_a_shop_that_writes_commas_has_a_point_in_a_number(client, address):
    load_demo()
    Setting.objects.create(name="decimal_mark", folded="decimal_mark", value="comma")
    client.force_login(person_of("Administrator"))
    says = TYPED.sub("", sheet_of(client.get(address)))
    assert re.search(r"\d,\d", says), "there is no figure with decimals on it"
    assert re.findall(r".{20}(?<![\d.])\d+\.\d+(?![\d.]).{10}", says) == []
