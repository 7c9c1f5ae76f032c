"""The demo shop read straight from its CSV files, by the plainest means, for the slow oracle.

Nothing is taken from the program's own reader or shelf-life rules. A cell that these few lines do not understand is an
error, never a guess.
"""

import csv
import re
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

from bom.values import (
    ONE,
    Catalog,
    FindingRule,
    Issue,
    Item,
    Job,
    KitFit,
    Line,
    Lot,
    Offer,
    OrderLine,
    OtherNeed,
    ScopeSection,
    Shop,
    Verdict,
)

FOLDER = Path(__file__).parent.parent / "demo_fixtures"
YES_NO = {"yes": True, "no": False}


def rows_of(sheet: str) -> list[dict]:
    with (FOLDER / f"{sheet}.csv").open(encoding="utf-8-sig", newline="") as file:
        return [{name: (value or "").strip() for name, value in row.items()} for row in csv.DictReader(file)]


def millionths(text: str) -> int:
    exact = Decimal(text) * ONE
    assert exact == int(exact), f"{text} has more than six decimals"
    return int(exact)


def a_date(text: str) -> date | None:
    return date.fromisoformat(text) if text else None


def options(text: str) -> tuple:
    pairs = (pair.split("=") for pair in text.split(";") if pair.strip())
    return tuple(sorted((name.strip().casefold(), value.strip().casefold()) for name, value in pairs))


def months_after(day: date, months: int) -> date:
    """The same day so many months on; the last day of a month that lacks it."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    wanted = day.day
    while True:
        try:
            return date(year, month + 1, wanted)
        except ValueError:
            wanted -= 1


def clock_starts(cure: str) -> date:
    """4Q20 starts on 1 January 2021; a cure day starts on itself."""
    quarter = re.fullmatch(r"([1-4])Q(\d\d)", cure)
    if not quarter:
        return date.fromisoformat(cure)
    return months_after(date(2000 + int(quarter[2]), 1, 1), 3 * int(quarter[1]))


def last_use(row: dict, life_months: int | None) -> date | None:
    """The earlier of the printed day and the one that the cure date and the life give."""
    days = [a_date(row["last_use"])]
    if row["cure"] and life_months is not None:
        days.append(months_after(clock_starts(row["cure"]), life_months) - timedelta(days=1))
    return min((day for day in days if day), default=None)


def lead_days(text: str) -> int | None:
    if not text:
        return None
    weeks = re.fullmatch(r"(\d+) ?w", text)
    return 5 * int(weeks[1]) if weeks else int(text)


def life_in_months(years: str) -> int | None:
    return None if years in ("", "unlimited") else int(Decimal(years) * 12)


def read_items() -> dict[str, Item]:
    items = {}
    for row in rows_of("items"):
        months = life_in_months(row["shelf_life_years"])
        items[row["part_number"]] = Item(
            row["part_number"],
            row["kind"],
            countable=row["stock_unit"] == "each",
            source=row["source"] or ("pack_else_buy" if row["kind"] == "kit" else "buy"),
            get_as=row.get("get_as") or None,
            bench=row["issue"] == "bench",
            lead_days=lead_days(row["lead_time"]),
            safety_stock=millionths(row["safety_stock"] or "0"),
            how_sure_percent=float(row["how_sure_percent"] or 90),
            limited_life=months is not None,
            ageless=not row["shelf_life_years"].strip(),
            life_months=months,
            resealed_usable=YES_NO[row["resealed_usable"] or "yes"],
            cleanliness=row["cleanliness"] or "normal",
            default_options=options(row["default_option"]),
        )
    return items


def read_lines(units: dict[str, str]) -> tuple[Line, ...]:
    lines = []
    for row in rows_of("structure"):
        assert row["unit"] in ("", units[row["child"]]), f"{row['child']}: only stock units are read here"
        rate = row["renewals_per_100"]
        lines.append(
            Line(
                row["parent"],
                row["child"],
                millionths(row["quantity"]),
                row["at_rebuild"],
                row["position"],
                quantity_is_for=row["quantity_is_for"] or "one_parent",
                pump=row["pump"] or None,
                renewals_per_100=Fraction(rate) if rate else None,
                renew_together=row["renew_together"],
                renew_together_over=row.get("renew_together_over") or "assembly",
                options=options(row["option"]),
                from_on=a_date(row["from_date"]),
                to_on=a_date(row["to_date"]),
                from_serial=row.get("from_serial", ""),
                to_serial=row["to_serial"],
                wetted=YES_NO[row["wetted"] or "no"],
                order=int(row["order"] or 0),
            )
        )
    return tuple(lines)


def read_catalog(items: dict[str, Item], currency: str) -> Catalog:
    units = {row["part_number"]: row["stock_unit"] for row in rows_of("items")}
    transit = {row["supplier"]: int(row.get("transit_days") or 0) for row in rows_of("suppliers")}
    scopes = tuple(
        ScopeSection(
            row["pump"],
            row["scope"],
            row["section"],
            int(row["how_many"]),
            YES_NO[row["use_kits"] or "yes"],
            options(row.get("option", "")),
        )
        for row in rows_of("scopes")
    )
    fits = tuple(
        KitFit(
            row["kit"],
            row["fits"],
            options(row["option"]),
            int(row["instances"] or 1),
            row.get("set", ""),
            YES_NO[row.get("preferred") or "no"],
        )
        for row in rows_of("kitfits")
    )
    offers = tuple(
        Offer(
            row["supplier"],
            row["part_number"],
            row.get("supplier_part_number", ""),
            millionths(row["pack_size"] or "1"),
            int(row["minimum_packs"] or 1),
            int(row["multiple_packs"] or 1),
            lead_days(row["lead_time"]),
            transit[row["supplier"]],
            Decimal(row["price_per_pack"]) if row["price_per_pack"] else None,
            (row["currency"] or currency) != currency,
            int(row["price_from_packs"] or 1),
            a_date(row.get("valid_to", "")),
        )
        for row in rows_of("offers")
    )
    rules = tuple(
        FindingRule(
            row["finding"],
            row["assembly"],
            row["effect"],
            row["part_number"],
            millionths(row["quantity"] or "0"),
            row["note"],
        )
        for row in rows_of("findingrules")
    )
    return Catalog(tuple(items.values()), read_lines(units), scopes, fits, offers, finding_rules=rules)


def read_lots(items: dict[str, Item]) -> tuple[Lot, ...]:
    cages = {row["place"] for row in rows_of("places") if row["kind"] == "quarantine"}
    return tuple(
        Lot(
            row["part_number"],
            row["lot"],
            millionths(row["quantity"]),
            row["place"],
            "quarantine" if row["place"] in cages else row["condition"] or "usable",
            row["packet"] or "sealed",
            last_use(row, items[row["part_number"]].life_months),
            a_date(row["received"]),
            row.get("owner", ""),
        )
        for row in rows_of("lots")
    )


def read_jobs() -> tuple[Job, ...]:
    return tuple(
        Job(
            row["job"],
            row["pump"],
            row["scope"],
            date.fromisoformat(row["build_date"]),
            int(row["quantity"] or 1),
            row["batch"],
            int(row["priority"] or 5),
            options(row["option"]),
            row["cleanliness"] or "normal",
            YES_NO[row["use_kits"]] if row.get("use_kits") else None,
            row["serial"],
            row["customer"],
            a_date(row["strip_date"]),
            row["stage"] or "expected",
        )
        for row in rows_of("schedule")
    )


def demo_shop() -> Shop:
    """The shop of the demo files on its day."""
    settings = {row["name"]: row["value"] for row in rows_of("settings")}
    items = read_items()
    return Shop(
        date.fromisoformat(settings["today"]),
        read_catalog(items, settings["currency"]),
        int(settings["staging_days"]),
        holidays=tuple(date.fromisoformat(row["date"]) for row in rows_of("holidays")),
        lots=read_lots(items),
        orders=tuple(
            OrderLine(
                row["order"],
                row["line"],
                row["part_number"],
                millionths(row["quantity"]),
                date.fromisoformat(row["promised"]),
                row["supplier"],
            )
            for row in rows_of("orders")
        ),
        jobs=read_jobs(),
        needs=tuple(
            OtherNeed(
                row["need"],
                row["part_number"],
                millionths(row["quantity"]),
                date.fromisoformat(row["need_date"]),
                row["for_whom"],
                int(row.get("priority") or 5),
            )
            for row in rows_of("otherneeds")
        ),
        issues=tuple(
            Issue(row["job"], row["part_number"], row["lot"], millionths(row["quantity"]), row["state"], row["place"])
            for row in rows_of("issued")
        ),
        verdicts=tuple(
            Verdict(
                row["job"],
                row["where"],
                row["part_number"],
                row["verdict"],
                row["found"],
                YES_NO[row["with_group"]] if row.get("with_group") else None,
            )
            for row in rows_of("verdicts")
        ),
    )
