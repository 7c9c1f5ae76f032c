"""How the framework writes numbers and days into templates and the back office: as the shop does."""

from __future__ import annotations

from kits.catalog.formats.in_force import DAY_MONTH, MONTH_DAY, YEAR_FIRST, formats

_DAYS = {DAY_MONTH: "j M Y", MONTH_DAY: "M j, Y", YEAR_FIRST: "Y-m-d"}
_DAYS_OF_A_MONTH = {DAY_MONTH: "j F", MONTH_DAY: "F j", YEAR_FIRST: "m-d"}


def __getattr__(name: str) -> str:
    order = formats().date_order
    match name:
        case "DECIMAL_SEPARATOR":
            return formats().separators[0]
        case "THOUSAND_SEPARATOR":
            return formats().separators[1]
        case "DATE_FORMAT" | "SHORT_DATE_FORMAT":
            return _DAYS[order]
        case "DATETIME_FORMAT" | "SHORT_DATETIME_FORMAT":
            return f"{_DAYS[order]}, H:i"
        case "TIME_FORMAT":
            return "H:i"
        case "MONTH_DAY_FORMAT":
            return _DAYS_OF_A_MONTH[order]
    raise AttributeError(name)
