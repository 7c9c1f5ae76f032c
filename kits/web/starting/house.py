"""What a shop is: its name, its currency, the days on which its country rests; stored as its lists, to be taken back
like any other."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from datetime import date
from difflib import get_close_matches

from bom.errors import BomError
from kits.catalog.days.public_holidays import public_holidays, read_country
from kits.catalog.folding import fold
from kits.catalog.queries import KNOWN_SETTINGS
from kits.exchange.files.sheet_file import SheetFile

USUAL_YEARS = 3


def settings_list(said: Mapping[str, str]) -> SheetFile:
    """The settings that were said, as the list Settings."""
    return _list_of("settings", ("name", "value"), said.items())


def refuse_unknown(said: Iterable[str]) -> None:
    """Refuse a name that is no setting of the shop: whoever types one at a command means one."""
    for name in said:
        if fold(name) not in KNOWN_SETTINGS:
            near = get_close_matches(fold(name), KNOWN_SETTINGS, n=1)
            meant = (
                f"is {near[0]} meant?"
                if near
                else "the README names them; what the site is told has options of its own."
            )
            raise BomError(f"Nothing uses a setting of the shop named {name}: {meant}")


def holidays_list(country: str, first: int, years: int) -> SheetFile:
    """The public holidays of some years, as the list Holidays."""
    days = public_holidays(read_country(country), first, years)
    return _list_of("holidays", ("date", "name"), ((day.isoformat(), name[:200]) for day, name in days))


def year_of(day: date) -> int:
    """The first year whose holidays are stored."""
    return day.year


def _list_of(name: str, head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> SheetFile:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows([head, *rows])
    return SheetFile(f"{name}.csv", text.getvalue().encode())
