"""The invented shop put into the tables, as large as a shop gets: what the pages are measured on.

It goes in as text files through the same load that people use. Lots are spread over bins until there are as many rows
as asked for; the day that counts as today is a setting, so that the pages do not change with the calendar.
"""

import csv
import io
from collections import defaultdict
from dataclasses import replace
from decimal import Decimal

from bom.values import ONE
from tests.benchmarks.synthetic_catalog import AS_OF, SUPPLIERS
from tests.benchmarks.synthetic_lists import Size
from tests.benchmarks.synthetic_shop import make_shop, with_work_in_hand

FULL = Size(items=5_000, lines=30_000, jobs=400, days=130, kits=500)
LOTS, ORDERS = 20_000, 3_000
BINS = 997


def draw_shop(size=FULL, seed=7):
    """The shop as values: lots and order lines brought to the numbers asked for."""
    shop = with_work_in_hand(make_shop(size, seed), seed)
    catalog = replace(shop.catalog, kit_fits=tuple(_sound_fits(shop.catalog)))
    return replace(
        shop, catalog=catalog, lots=tuple(_spread(shop.lots, LOTS)), orders=tuple(_spread_orders(shop.orders, ORDERS))
    )


def _sound_fits(catalog):
    """The fits whose kit still holds something of its assembly, after the lists were cut to length."""
    held = defaultdict(set)
    for line in catalog.lines:
        held[line.parent].add(line.child)

    def everything_in(assembly):
        return held[assembly].union(*(everything_in(child) for child in held[assembly] if child in held))

    return [fit for fit in catalog.kit_fits if held[fit.kit] & everything_in(fit.fits)]


def _spread(lots, count):
    """Split lots over further bins until there are so many."""
    lots = list(lots)
    for round_, _ in enumerate(range(count)):
        if len(lots) >= count or round_ >= len(lots):
            break
        lot = lots[round_]
        part = lot.quantity // (2 * ONE) * ONE
        if part:
            lots[round_] = replace(lot, quantity=lot.quantity - part)
            lots.append(
                replace(lot, quantity=part, place=f"Bin {(round_ * 7 + 1) % BINS}", lot=f"{lot.lot}/{len(lots)}")
            )
    return lots


def _spread_orders(orders, count):
    orders = list(orders)[:count]
    for number in range(count - len(orders)):
        line = orders[number]
        orders.append(replace(line, line=f"{line.line}b", quantity=max(ONE, line.quantity // ONE // 2 * ONE)))
    return orders


def sheets_of(shop):
    """The sheets of a shop as name -> headings and rows."""
    items = {item.part_number: item for item in shop.catalog.items}
    places = sorted({lot.place for lot in shop.lots})
    return {
        "Settings": [("name", "value"), ("today", AS_OF.isoformat()), ("staging_days", "1"), ("currency", "EUR")],
        "Places": [("place", "walk_order"), *((place, number + 1) for number, place in enumerate(places))],
        "Suppliers": [("supplier", "currency", "transit_days"), *((name, "EUR", 2) for name in SUPPLIERS)],
        "Items": [_ITEMS, *map(_item, shop.catalog.items)],
        "Structure": [_LINES, *(_line(line, items) for line in shop.catalog.lines)],
        "Scopes": [
            ("pump", "scope", "section", "how_many", "use_kits", "option"),
            *map(_scope, shop.catalog.scopes),
        ],
        "KitFits": [
            ("kit", "fits", "option", "instances"),
            *((fit.kit, fit.fits, _options(fit.options), fit.instances) for fit in shop.catalog.kit_fits),
        ],
        "Offers": [_OFFERS, *map(_offer, shop.catalog.offers)],
        "Schedule": [_JOBS, *map(_job, shop.jobs)],
        "Lots": [_LOTS, *map(_lot, shop.lots)],
        "Orders": [
            ("order", "line", "supplier", "part_number", "quantity", "promised"),
            *((o.order, o.line, SUPPLIERS[n % 30], o.part_number, _number(o.quantity), o.promised)
              for n, o in enumerate(shop.orders)),
        ],
        "Issued": [
            ("job", "part_number", "lot", "quantity", "state"),
            *(_summed(((i.job, i.part_number, i.lot, i.state), i.quantity) for i in shop.issues)),
        ],
        "Verdicts": [
            ("job", "where", "part_number", "verdict", "found"),
            *((v.job, v.where, v.part_number, v.verdict, v.found) for v in shop.verdicts),
        ],
    }  # fmt: skip


def text_files(shop):
    """The sheets as comma-separated files: name -> bytes."""
    files = {}
    for name, rows in sheets_of(shop).items():
        out = io.StringIO()
        csv.writer(out).writerows(rows)
        files[f"{name}.csv"] = out.getvalue().encode()
    return files


_ITEMS = ("part_number", "description", "kind", "stock_unit", "material", "shelf_life_years", "source", "issue",
          "lead_time", "safety_stock", "how_sure_percent", "unit_cost", "default_option")  # fmt: skip
_LINES = ("parent", "child", "quantity", "at_rebuild", "renewals_per_100", "renew_together", "renew_together_over",
          "option", "position", "order", "from_date", "to_date", "from_serial", "to_serial")  # fmt: skip
_OFFERS = ("supplier", "part_number", "supplier_part_number", "pack_size", "lead_time", "price_per_pack", "currency",
           "price_from_packs")  # fmt: skip
_JOBS = ("job", "pump", "scope", "build_date", "quantity", "batch", "priority", "option", "serial", "customer",
         "strip_date", "stage")  # fmt: skip
_LOTS = ("part_number", "lot", "quantity", "place", "last_use", "received", "condition", "packet", "owner")


def _item(item):
    rubber = item.kind == "part" and item.limited_life
    return (
        item.part_number, f"{item.kind} {item.part_number}", item.kind, "each" if item.countable else "mm",
        "NBR" if rubber else "steel" if item.kind == "part" else "", item.life_months // 12 if rubber else "",
        item.source, "bench" if item.bench else "counted", item.lead_days, _number(item.safety_stock),
        item.how_sure_percent, "", _options(item.default_options),
    )  # fmt: skip


def _line(line, items):
    return (
        line.parent, line.child, _number(line.quantity), line.at_rebuild,
        "" if line.renewals_per_100 is None else float(line.renewals_per_100), line.renew_together,
        line.renew_together_over, _options(line.options), line.position, line.order, line.from_on, line.to_on,
        line.from_serial, line.to_serial,
    )  # fmt: skip


def _scope(row):
    return row.pump, row.scope, row.section, row.how_many, "yes" if row.use_kits else "no", _options(row.options)


def _offer(offer):
    return (
        offer.supplier, offer.part_number, offer.supplier_part_number, _number(offer.pack_size), offer.lead_days,
        offer.price_per_pack.quantize(Decimal("0.01")), "EUR", offer.price_from_packs,
    )  # fmt: skip


def _job(job):
    return (
        job.job, job.pump, job.scope, job.build_on, job.quantity, job.batch, job.priority, _options(job.options),
        job.serial, job.customer, job.strip_on, job.stage,
    )  # fmt: skip


def _lot(lot):
    return (
        lot.part_number, lot.lot, _number(lot.quantity), lot.place, lot.last_use, lot.received, lot.condition,
        lot.packet, lot.owner,
    )  # fmt: skip


def _summed(rows):
    totals = {}
    for key, quantity in rows:
        totals[key] = totals.get(key, 0) + quantity
    return [(job, part, lot, _number(quantity), state) for (job, part, lot, state), quantity in totals.items()]


def _number(millionths):
    return Decimal(millionths) / ONE if millionths % ONE else millionths // ONE


def _options(options):
    return ";".join(f"{name}={value}" for name, value in options)


def store(shop):
    """Load a shop into the database that Django names, and return how many rows went in."""
    from django.utils import timezone

    from kits.exchange.actions import load_by_command
    from kits.exchange.files.sheet_file import SheetFile

    files = [SheetFile(name, content) for name, content in text_files(shop).items()]
    outcome = load_by_command(files=files, ran_by="the benchmark", at=timezone.now())
    if outcome.problems:
        raise SystemExit("\n".join(problem.says for problem in outcome.problems[:8]))
    return sum(content.count(b"\n") - 1 for content in text_files(shop).values())
