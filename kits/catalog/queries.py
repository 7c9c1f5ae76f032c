"""Reads of the catalog: the shop's settings and closed days, and options in the shop's own spelling.

The engine compares options folded; pages show them as they were typed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date
from decimal import Decimal, InvalidOperation
from functools import cached_property

from bom.structure.calendar import ShopCalendar
from bom.values import Options
from kits.catalog.caching.asked_often import ask_often
from kits.catalog.caching.revisions import CATALOG_MARK, catalog_mark_seen, forget_catalog_mark
from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.formats.in_force import (
    A4,
    COMMA,
    DAY_MONTH,
    INCH,
    LETTER,
    MM,
    MONTH_DAY,
    POINT,
    YEAR_FIRST,
    Formats,
    write_as,
)
from kits.catalog.models import Holiday, Item, KitFit, Setting, StructureLine
from kits.catalog.options import spelled_options

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
USUAL_WEEK = (True, True, True, True, True, False, False)
SCAN_NEEDED, SCAN_ASKED, SCAN_LEFT = "needed", "asked", "left"
LONGEST_STAGING_DAYS = 250
USUAL_YEARS_AHEAD, MOST_YEARS_AHEAD = 2, 50
USUAL_PRICE_JUMP, MOST_PRICE_JUMP = 2, 100
MOST_PUMPS_A_DAY = 1000
USUAL_ORDER_PREFIX = "PO-"
USUAL_REQUEST_PREFIX, LONGEST_PREFIX = "ASK-", 20
USUAL_CEILING_PERCENT, MOST_PERCENT, MOST_MONEY = 65, 1000, 1_000_000
OptionWords = dict[tuple[str, str], str]
"""Folded name and value, and how the shop writes them."""


KNOWN_SETTINGS = (
    "today",
    "staging_days",
    "currency",
    "shop_name",
    "shop_address",
    "shop_contact",
    "request_prefix",
    "workdays",
    "years_ahead",
    "price_jump",
    "order_prefix",
    "pumps_a_day",
    "hourly_rate",
    "parts_markup_percent",
    "quote_ceiling_percent",
    "quotes_need_go_ahead",
    "scan_at_bin",
    "date_order",
    "decimal_mark",
    "week_begins",
    "paper",
    "sizes_first",
    "arrivals",
)
"""Every setting that something reads."""


class ShopSettings:
    """The shop's settings, read once; each is checked when it is asked for."""

    def __init__(self, values: dict[str, str]) -> None:
        self._values = values

    def text(self, name: str, default: str = "") -> str:
        """Return one setting as typed, or the default where it is missing or blank."""
        return self._values.get(fold(name), "").strip() or default

    @property
    def today(self) -> date | None:
        """The day that the shop's records stand still at, None to follow the calendar."""
        text = self.text("today")
        if not text:
            return None
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise Refusal(f"Setting today is “{text}”, which is no day: write it as 2026-03-04, or clear it.") from None

    @property
    def request_prefix(self) -> str:
        """What the numbers begin with that the shop gives its requests to suppliers."""
        prefix = self.text("request_prefix", USUAL_REQUEST_PREFIX)
        if "/" in prefix or len(prefix) > LONGEST_PREFIX:
            raise Refusal(
                f"Setting request_prefix is “{prefix}”: write at most {LONGEST_PREFIX} characters without a slash, "
                f"such as {USUAL_REQUEST_PREFIX}."
            )
        return prefix

    @property
    def staging_days(self) -> int:
        """The working days between the parts being here and the build."""
        return self._whole("staging_days", 1, 0, LONGEST_STAGING_DAYS)

    @property
    def years_ahead(self) -> int:
        """How far off a build day or a promise may lie before it is asked whether it is meant."""
        return self._whole("years_ahead", USUAL_YEARS_AHEAD, 1, MOST_YEARS_AHEAD)

    @property
    def price_jump(self) -> Decimal:
        """By which factor a quoted price may differ from the offer here before it is asked whether it is meant."""
        return self._number("price_jump", USUAL_PRICE_JUMP, 1, MOST_PRICE_JUMP)

    @property
    def pumps_a_day(self) -> int | None:
        """How many pumps the benches build in a day, None where nothing is said."""
        return self._whole("pumps_a_day", 0, 1, MOST_PUMPS_A_DAY) if self.text("pumps_a_day") else None

    @property
    def hourly_rate(self) -> Decimal | None:
        """What an hour of work is quoted at, None where the shop has not said."""
        return self._number("hourly_rate", 0, 0, MOST_MONEY) if self.text("hourly_rate") else None

    @property
    def parts_markup_percent(self) -> Decimal:
        """What a quote adds to the cost of parts."""
        return self._number("parts_markup_percent", 0, 0, MOST_PERCENT)

    @property
    def quote_ceiling_percent(self) -> Decimal:
        """Up to which share of the price of a new pump a rebuild is worth its price."""
        return self._number("quote_ceiling_percent", USUAL_CEILING_PERCENT, 1, MOST_PERCENT)

    @property
    def quotes_need_go_ahead(self) -> bool:
        """Whether a job waits for the customer's go-ahead."""
        text = fold(self.text("quotes_need_go_ahead", "no"))
        if text not in ("yes", "no"):
            raise Refusal(f"Setting quotes_need_go_ahead is “{text}”: write yes or no.")
        return text == "yes"

    @property
    def currency(self) -> str:
        """The shop's own currency, an empty text where it is not set."""
        return self.text("currency")

    @property
    def order_prefix(self) -> str:
        """What the numbers begin with that the shop gives its orders."""
        prefix = self.text("order_prefix", USUAL_ORDER_PREFIX)
        if len(prefix) > LONGEST_PREFIX:
            raise Refusal(
                f"Setting order_prefix is “{prefix}”: write at most {LONGEST_PREFIX} characters, such as "
                f"{USUAL_ORDER_PREFIX}."
            )
        return prefix

    @property
    def date_order(self) -> str:
        """In which order a day is written: ``day month``, ``month day`` or ``year first``."""
        return self._one_of("date_order", DAY_MONTH, MONTH_DAY, YEAR_FIRST)

    @property
    def decimal_mark(self) -> str:
        """What stands before decimals: a ``point`` or a ``comma``."""
        return self._one_of("decimal_mark", POINT, COMMA)

    @property
    def week_begins(self) -> int:
        """The day with which a week begins, counted from Monday, 0."""
        text = fold(self.text("week_begins", DAYS[0]))[:3]
        if text not in DAYS:
            raise Refusal(f"Setting week_begins is “{self.text('week_begins')}”: name a day, such as Monday or Sunday.")
        return DAYS.index(text)

    @property
    def paper(self) -> str:
        """The paper that is printed on: ``a4`` or ``letter``; blank where the printer decides."""
        return self._one_of("paper", A4, LETTER) if self.text("paper") else ""

    @property
    def sizes_first(self) -> str:
        """Whether a size is written in ``inch`` or in ``mm`` first; blank as it was written."""
        return self._one_of("sizes_first", INCH, MM) if self.text("sizes_first") else ""

    @cached_property
    def formats(self) -> Formats:
        """How the shop writes; what is set wrongly counts as left out here and is refused where it is written."""
        chosen = {}
        for name in ("date_order", "decimal_mark", "week_begins", "paper", "sizes_first"):
            try:
                chosen[name] = getattr(self, name)
            except Refusal:
                continue
        return Formats(**chosen)

    @property
    def scan_at_bin(self) -> str:
        """Whether a line of a round wants a scan: it is ``needed``, ``asked`` for, or ``left`` to the clerk."""
        text = fold(self.text("scan_at_bin", SCAN_ASKED))
        if text not in (SCAN_NEEDED, SCAN_ASKED, SCAN_LEFT):
            raise Refusal(
                f"Setting scan_at_bin is “{text}”: write needed, asked or left, for whether a line of a round is "
                "booked only after its bin or packet was scanned."
            )
        return text

    @property
    def arrivals(self) -> bool:
        """Whether no pump is opened here before its arrival was written."""
        text = self.text("arrivals", "no")
        if fold(text) not in ("yes", "no"):
            raise Refusal(f"Setting arrivals is “{text}”: write yes or no.")
        return fold(text) == "yes"

    @property
    def workdays(self) -> tuple[bool, ...]:
        """The seven days of the week, Monday first: whether the shop works."""
        text = self.text("workdays")
        if not text:
            return USUAL_WEEK
        named = {word[:3] for word in fold(text).replace(",", " ").replace(";", " ").split()}
        if not named <= set(DAYS):
            raise Refusal(f"Setting workdays is “{text}”: name the days of work, such as Mon Tue Wed Thu Fri.")
        return tuple(day in named for day in DAYS)

    def _one_of(self, name: str, usual: str, *others: str) -> str:
        text = fold(self.text(name, usual))
        if text not in (usual, *others):
            words = ", ".join((usual, *others)[:-1]) + f" or {(usual, *others)[-1]}"
            raise Refusal(f"Setting {name} is “{self.text(name)}”: write {words}.")
        return text

    def _whole(self, name: str, default: int, lowest: int, highest: int) -> int:
        number = self._number(name, default, lowest, highest, "a whole number")
        return int(number)

    def _number(self, name: str, default: int, lowest: int, highest: int, kind: str = "a number") -> Decimal:
        text = self.text(name)
        try:
            number = Decimal(text) if text else Decimal(default)
        except InvalidOperation:
            number = Decimal("NaN")
        part = number.is_finite() and number != number.to_integral_value() and kind == "a whole number"
        if not number.is_finite() or part or not lowest <= number <= highest:
            raise Refusal(f"Setting {name} is “{text}”: write {kind} from {lowest} to {highest}.")
        return number


def read_settings() -> ShopSettings:
    """Return the shop's settings; from now on days and numbers are written as they say."""
    held = _held.get()
    settings = held.get(catalog_mark_seen()) if held is not None else None
    if settings is None:
        rows = list(ask_often(lambda: Setting.objects.values_list("folded", "value", CATALOG_MARK)))
        settings = ShopSettings({name: value for name, value, _ in rows})
        if held is not None:
            held.update({catalog_mark_seen(): settings, **{mark: settings for *_, mark in rows}})
    write_as(settings.formats)
    return settings


_held: ContextVar[dict[str, ShopSettings] | None] = ContextVar("settings by the mark of their catalog", default=None)


@contextmanager
def settings_read_once() -> Iterator[None]:
    """Read the settings once within this: for a page that writes nothing and would ask for them at every turn.

    They are read again where a mark of the catalog is seen that is not theirs: what is kept under it is of one moment.
    """
    token = _held.set({})
    forget_catalog_mark()
    try:
        yield
    finally:
        _held.reset(token)


def read_holidays() -> tuple[date, ...]:
    """Return the days on which the shop is closed besides its week, in order."""
    return tuple(sorted(ask_often(lambda: Holiday.objects.values_list("date", flat=True))))


def read_calendar(settings: ShopSettings) -> ShopCalendar:
    """Return the shop's working days."""
    return ShopCalendar(settings.workdays, read_holidays())


def option_spellings() -> dict[tuple[str, str], tuple[str, str]]:
    """Every option that a line, a kit or a pump names, folded, and how the shop spells it; one statement."""
    texts = (
        StructureLine.objects.exclude(option="")
        .order_by()
        .values_list("option")
        .union(
            KitFit.objects.exclude(option="").order_by().values_list("option"),
            Item.objects.exclude(default_option="").order_by().values_list("default_option"),
        )
    )
    spelled: dict[tuple[str, str], tuple[str, str]] = {}
    for (text,) in texts:
        for name, value in spelled_options(text):
            spelled.setdefault((fold(name), fold(value)), (name, value))
    return spelled


def option_words() -> OptionWords:
    """Every option that a line, a kit or a pump names, in words; one statement."""
    return {
        pair: f"{name.replace('_', ' ')} {value.replace('_', ' ')}"
        for pair, (name, value) in option_spellings().items()
    }


def in_shop_words(options: Options | Iterable[tuple[str, str]], words: OptionWords) -> str:
    """Options as a reader sees them: ``compound FKM, service oxygen clean``."""
    return ", ".join(words.get(pair, f"{pair[0]} {pair[1]}") for pair in options)
