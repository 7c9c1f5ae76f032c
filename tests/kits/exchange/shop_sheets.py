"""A shop of the engine's own values, written as the sheets that a person would fill in."""

from dataclasses import replace
from decimal import Decimal

from bom.values import ONE, Shop
from kits.exchange.columns.layouts import BY_NAME


def as_kept(shop: Shop) -> Shop:
    """The shop as sheets can say it: one day of receipt for a lot, one number of days on the way for a supplier."""
    received, days = {}, {}
    lots = tuple(
        replace(lot, received=received.setdefault((lot.part_number, lot.lot), lot.received)) for lot in shop.lots
    )
    offers = tuple(
        replace(offer, transit_days=days.setdefault(offer.supplier, offer.transit_days))
        for offer in shop.catalog.offers
    )
    return replace(shop, lots=lots, catalog=replace(shop.catalog, offers=offers))


def sheets_of_shop(shop: Shop):
    """Rows by sheet, each with its headings."""
    catalog = shop.catalog
    sheets = {
        "Items": [item_row(item) for item in catalog.items],
        "Structure": [line_row(line, unit_of(shop, line.child)) for line in catalog.lines],
        "Scopes": [scope_row(row) for row in catalog.scopes],
        "KitFits": [fit_row(fit) for fit in catalog.kit_fits],
        "FindingRules": [rule_row(rule) for rule in catalog.finding_rules],
        "Suppliers": supplier_rows(shop),
        "Offers": [offer_row(offer) for offer in catalog.offers],
        "Places": [{"place": place} for place in sorted({lot.place for lot in shop.lots} | {"S1"})],
        "Lots": [lot_row(lot) for lot in shop.lots] + used_up_rows(shop),
        "Orders": [order_row(line) for line in shop.orders],
        "Schedule": [job_row(job) for job in shop.jobs],
        "OtherNeeds": [need_row(need) for need in shop.needs],
        "Issued": [issue_row(issue) for issue in shop.issues],
        "Verdicts": [verdict_row(verdict) for verdict in shop.verdicts],
        "Findings": [finding_row(finding) for finding in shop.findings],
        "Holidays": [{"date": day, "name": "closed"} for day in shop.holidays],
        "Settings": [
            {"name": "today", "value": shop.as_of.isoformat()},
            {"name": "currency", "value": "EUR"},
            {"name": "staging_days", "value": str(shop.staging_days)},
            {
                "name": "workdays",
                "value": " ".join(day for day, open_ in zip(WEEK, shop.workdays, strict=True) if open_),
            },
        ],
    }
    return {name: as_rows(name, rows) for name, rows in sheets.items()}


WEEK = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def as_rows(name, rows):
    headings = [column.name for column in BY_NAME[name].columns]
    assert all(set(row) <= set(headings) for row in rows), name
    return [headings, *([row.get(heading) for heading in headings] for row in rows)]


def amount(millionths):
    return Decimal(millionths) / ONE


def options_text(options):
    return "; ".join(f"{name}={value}" for name, value in options)


def yes_no(value):
    return None if value is None else "yes" if value else "no"


def unit_of(shop, part_number):
    countable = next(item.countable for item in shop.catalog.items if item.part_number == part_number)
    return "each" if countable else "mm"


def item_row(item):
    unlimited = not item.ageless and item.life_months is None
    return {
        "part_number": item.part_number,
        "description": f"thing {item.part_number}",
        "kind": item.kind,
        "stock_unit": "each" if item.countable else "mm",
        "shelf_life_years": item.life_months // 12 if item.life_months else "unlimited" if unlimited else None,
        "resealed_usable": yes_no(item.resealed_usable),
        "source": item.source,
        "get_as": item.get_as,
        "issue": "bench" if item.bench else "counted",
        "lead_time": item.lead_days,
        "safety_stock": amount(item.safety_stock),
        "how_sure_percent": item.how_sure_percent,
        "cleanliness": item.cleanliness,
        "default_option": options_text(item.default_options),
    }


def line_row(line, unit):
    return {
        "parent": line.parent,
        "child": line.child,
        "quantity": amount(line.quantity),
        "unit": unit,
        "at_rebuild": line.at_rebuild,
        "position": line.position,
        "quantity_is_for": line.quantity_is_for,
        "pump": line.pump,
        "renewals_per_100": None if line.renewals_per_100 is None else float(line.renewals_per_100),
        "renew_together": line.renew_together,
        "renew_together_over": line.renew_together_over,
        "option": options_text(line.options),
        "from_date": line.from_on,
        "to_date": line.to_on,
        "from_serial": line.from_serial,
        "to_serial": line.to_serial,
        "wetted": yes_no(line.wetted),
        "order": line.order,
    }


def scope_row(row):
    return {
        "pump": row.pump,
        "scope": row.scope,
        "section": row.section,
        "how_many": row.how_many,
        "use_kits": yes_no(row.use_kits),
        "option": options_text(row.options),
    }


def fit_row(fit):
    return {
        "kit": fit.kit,
        "fits": fit.fits,
        "option": options_text(fit.options),
        "instances": fit.instances,
        "set": fit.set_name,
        "preferred": yes_no(fit.preferred),
    }


def rule_row(rule):
    return {
        "finding": rule.finding,
        "assembly": rule.assembly,
        "effect": rule.effect,
        "part_number": rule.part_number,
        "quantity": amount(rule.quantity) if rule.quantity else None,
        "note": rule.note,
    }


def supplier_rows(shop):
    known = {
        offer.supplier: {
            "transit_days": offer.transit_days,
            "closed_from": offer.closed_from,
            "closed_to": offer.closed_to,
        }
        for offer in shop.catalog.offers
    }
    none = {"transit_days": 0, "closed_from": None, "closed_to": None}
    named = {*known, *(line.supplier for line in shop.orders)}
    return [{"supplier": name, "currency": "EUR", **known.get(name, none)} for name in sorted(named)]


def offer_row(offer):
    return {
        "supplier": offer.supplier,
        "part_number": offer.part_number,
        "supplier_part_number": offer.supplier_part_number,
        "pack_size": amount(offer.pack_size),
        "minimum_packs": offer.minimum_packs,
        "multiple_packs": offer.multiple_packs,
        "lead_time": offer.lead_days,
        "price_per_pack": offer.price_per_pack,
        "currency": "USD" if offer.foreign_currency else "EUR",
        "price_from_packs": offer.price_from_packs,
        "valid_to": offer.valid_to,
    }


def lot_row(lot):
    return {
        "part_number": lot.part_number,
        "lot": lot.lot,
        "quantity": amount(lot.quantity),
        "place": lot.place,
        "last_use": lot.last_use,
        "received": lot.received,
        "condition": lot.condition,
        "packet": lot.packet,
        "owner": lot.owner,
    }


def used_up_rows(shop):
    """Lots that lie with jobs and nowhere else."""
    there = {(lot.part_number, lot.lot) for lot in shop.lots}
    named = {(issue.part_number, issue.lot) for issue in shop.issues}
    return [{"part_number": number, "lot": lot, "quantity": 0, "place": "S1"} for number, lot in sorted(named - there)]


def order_row(line):
    return {
        "order": line.order,
        "line": line.line,
        "supplier": line.supplier,
        "part_number": line.part_number,
        "quantity": amount(line.quantity),
        "promised": line.promised,
    }


def job_row(job):
    return {
        "job": job.job,
        "pump": job.pump,
        "scope": job.scope,
        "build_date": job.build_on,
        "quantity": job.quantity,
        "batch": job.batch,
        "priority": job.priority,
        "option": options_text(job.options),
        "cleanliness": job.cleanliness,
        "use_kits": yes_no(job.use_kits),
        "serial": job.serial,
        "customer": job.customer,
        "strip_date": job.strip_on,
        "stage": job.stage,
        "held_because": "waits for the customer" if job.stage == "held" else None,
    }


def need_row(need):
    return {
        "need": need.need,
        "part_number": need.part_number,
        "quantity": amount(need.quantity),
        "need_date": need.need_on,
        "for_whom": need.for_whom,
        "priority": need.priority,
    }


def issue_row(issue):
    return {
        "job": issue.job,
        "part_number": issue.part_number,
        "lot": issue.lot,
        "quantity": amount(issue.quantity),
        "state": issue.state,
        "place": issue.place,
    }


def verdict_row(verdict):
    return {
        "job": verdict.job,
        "where": verdict.where,
        "part_number": verdict.part_number,
        "verdict": verdict.verdict,
        "found": verdict.found,
        "with_group": yes_no(verdict.with_group),
    }


def finding_row(finding):
    return {"job": finding.job, "finding": finding.finding, "section": finding.section, "note": finding.note}
