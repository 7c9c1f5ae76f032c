"""Builders for small shops that are worked out by hand, and readers of the answer.

The shops are open Monday to Friday. Today is Wednesday 4 March 2026, and staging takes one working day, so a build on
Thursday 12 March needs its parts on Wednesday 11 March, which is five working days away.
"""

from datetime import date
from decimal import Decimal
from fractions import Fraction

from bom.answers.rows import as_json
from bom.plan import plan
from bom.values import ONE, Catalog, Item, Job, Line, Lot, Offer, OrderLine, ScopeSection, Shop, Verdict

TODAY = date(2026, 3, 4)
BUILD = date(2026, 3, 12)
NEED = "2026-03-11"
NBR, FKM = (("compound", "nbr"),), (("compound", "fkm"),)


def march(day):
    return date(2026, 3, day)


def renew(parent, child, count=1, **more):
    return Line(parent, child, count * ONE, "renew", **more)


def inspect(parent, child, rate, count=1, **more):
    """``rate`` is in 100 rebuilds; None when nobody knows it."""
    known = None if rate is None else Fraction(rate)
    return Line(parent, child, count * ONE, "inspect", renewals_per_100=known, **more)


def opens(parent, child, count=1, **more):
    return Line(parent, child, count * ONE, "open", **more)


def holds(parent, child, count=1, **more):
    """A line of a kit or of a made assembly."""
    return Line(parent, child, count * ONE, **more)


def job(name="J-1", build_on=BUILD, **more):
    return Job(name, "PUMP", more.pop("scope", "reseal"), build_on, **more)


def lot(part_number, count, code="L", **more):
    return Lot(part_number, code, count * ONE, **more)


def order(part_number, count, promised, name="PO-1", line="1"):
    return OrderLine(name, line, part_number, count * ONE, promised)


def offer(part_number, price="1.00", supplier="Norrvik", pack=1, **more):
    known = None if price is None else Decimal(price)
    return Offer(supplier, part_number, pack_size=pack * ONE, price_per_pack=known, **more)


def verdict(where, part_number, said="renew", name="J-1", **more):
    return Verdict(name, where, part_number, said, **more)


def kit(part_number="K", source="buy", **more):
    return Item(part_number, "kit", source=source, lead_days=more.pop("lead_days", 5), **more)


def make_shop(lines, *, items=(), sections=(("PUMP", 1),), jobs=None, fits=(), offers=(), scopes=(), **more):
    """A shop of one pump and one scope, "reseal", unless more are given.

    Items that are not given are bought parts, or assemblies if they have lines, with a lead of 5 working days.
    """
    given = {item.part_number: item for item in items}
    names = {name for line in lines for name in (line.parent, line.child)} | set(given) | {"PUMP"}
    for rows in (more.get("lots", ()), more.get("needs", ()), more.get("orders", ()), offers):
        names |= {row.part_number for row in rows}
    parents = {line.parent for line in lines}
    for name in sorted(names):
        kind = "pump" if name == "PUMP" else "assembly" if name in parents else "part"
        given.setdefault(name, Item(name, kind, lead_days=5))
    own = tuple(ScopeSection("PUMP", "reseal", section, count) for section, count in sections)
    catalog = Catalog(tuple(given.values()), tuple(lines), (*own, *scopes), tuple(fits), tuple(offers))
    return Shop(more.pop("as_of", TODAY), catalog, jobs=(job(),) if jobs is None else tuple(jobs), **more)


def answer(shop, **shown):
    return as_json(plan(shop), **shown)


def row_of(rows, name, key="part_number"):
    found = [row for row in rows if row[key] == name]
    assert len(found) == 1, f"{len(found)} rows with {key} = {name} in {rows}"
    return found[0]


def demand_of(shop, part_number):
    return row_of(answer(shop)["demand"], part_number)


def sure(shop):
    """What the jobs ask for, by part number."""
    return {row["part_number"]: row["sure"] for row in answer(shop)["demand"] if row["sure"]}


def pick(row, *keys):
    return tuple(row[key] for key in keys)


def statuses(found):
    return {row["job"]: row["status"] for row in found["jobs"]}
