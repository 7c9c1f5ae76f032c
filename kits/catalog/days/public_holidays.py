"""The public holidays of a country, of years ahead, as a library has them by its law."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kits.catalog.errors import Refusal

MOST_YEARS = 10
"""By own judgement: a law changes, and what is stored too far ahead is looked at by nobody."""


@dataclass(frozen=True, slots=True)
class Country:
    """A country by its ISO 3166-1 sign, and of it a part, such as a province, where that has days of its own."""

    code: str
    part: str = ""


def read_country(text: str) -> Country:
    """Return the country that is written ``DE`` or ``DE-BY``; refuse one that the library does not know."""
    import holidays  # takes long to load, and is asked once a year

    code, _, part = text.strip().upper().partition("-")
    known = holidays.list_supported_countries()
    if code not in known:
        raise Refusal(
            f"{text.strip()} is no country whose holidays are known: write its two letters, such as DE, GB or US, or "
            "leave it out and enter the days on the calendar."
        )
    parts = {str(one).upper(): str(one) for one in known[code]}
    if part and part not in parts:
        raise Refusal(f"{code} has no part {part}: write {code} alone, or one of {', '.join(sorted(parts.values()))}.")
    return Country(code, parts.get(part, ""))


def public_holidays(country: Country, first: int, years: int) -> list[tuple[date, str]]:
    """Return the days of some years, from the first on, with their names in the country's own language."""
    import holidays

    if not 1 <= years <= MOST_YEARS:
        raise Refusal(f"{years} years of holidays are asked for: write 1 to {MOST_YEARS}.")
    found = holidays.country_holidays(country.code, subdiv=country.part or None, years=range(first, first + years))
    return sorted((day, str(name)) for day, name in found.items() if first <= day.year < first + years)
