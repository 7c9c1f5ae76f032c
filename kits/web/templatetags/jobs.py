"""What templates write of jobs alike: the line of sheets that stands at the top of each page of a job."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django import template

from kits.catalog.amounts import price_text
from kits.catalog.formats.in_force import formats
from kits.web.templatetags.sheet import address_of

register = template.Library()

SHEETS = (
    ("job", "Job"),
    ("arrival", "Arrival"),
    ("job_sections", "Sections and kits"),
    ("strip_report", "Strip report"),
    ("quote", "Quote"),
    ("tray", "Tray"),
    ("test_sheet", "Test"),
    ("rebuild_record", "Record"),
)
"""The sheets of a job in the order of the work: the name of the address, which takes the job, and the word."""


@dataclass(frozen=True, slots=True)
class SheetWay:
    """A sheet of a job in the line: its word, where it is, and whether it is the one that is shown."""

    word: str
    url: str
    here: bool


@register.inclusion_tag("web/jobs/ways.html")
def ways(job: str, here: str = "job") -> dict[str, object]:
    """The line of sheets of a job, those that have a page; ``here`` is the address by which this one goes."""
    found = [SheetWay(word, address_of(name, job), name == here) for name, word in SHEETS]
    return {"job": job, "ways": [way for way in found if way.url]}


@register.filter
def plain(number: Decimal | None) -> str:
    """A number without needless zeros; nothing where there is none."""
    return "" if number is None else formats().number(f"{number.normalize():f}")


@register.filter
def years(number: Fraction) -> str:
    """A span of years: ``10 years``, ``2.5 years``."""
    figure = formats().number(f"{float(number):.1f}".removesuffix(".0"))
    return f"{figure} year{'' if figure == '1' else 's'}"


@register.filter
def chance(number: float) -> str:
    """A chance as it is shown: ``91.4 %``, and never all of it."""
    return "more than 99.99 %" if number > 0.9999 else formats().number(f"{number * 100:.1f} %")


@register.filter
def money(price: Decimal | None) -> str:
    """A price with two decimals, or as many more as it has; nothing where there is none."""
    return "" if price is None else price_text(price)
