"""What each column means, in a sentence: stands beside the headings of the templates and on the page of all sheets."""

from __future__ import annotations

from dataclasses import dataclass

from kits.exchange.sheets.layouts import SHEETS, Column, Sheet
from kits.people.sheet_rights import who_loads


@dataclass(frozen=True, slots=True)
class ExplainedSheet:
    """A sheet with who loads it, and what each of its columns means."""

    sheet: Sheet
    who_loads: str
    columns: tuple[tuple[Column, str], ...]


_OF_ALL: dict[str, str] = {
    "part_number": "Our number of the part, kit, assembly or pump, as it stands in Items.",
    "quantity": "How many, in the unit of the column unit, or in the item's stock unit.",
    "unit": "Unit of the quantity; blank is the item's stock unit.",
    "option": "Only with these answers, such as compound=FKM; several with ; between.",
    "cleanliness": "The cleanliness that is asked for.",
    "supplier": "Name of the supplier, as in Suppliers.",
    "job": "Number of the job, as in Schedule.",
    "lot": "Number on the packet: maker's lot, or one of your own.",
    "place": "Bin or shelf, as in Places.",
    "priority": "1 is served first, 9 last.",
    "currency": "Currency code, such as EUR; blank is the shop's own.",
    "note": "Anything worth knowing.",
    "lead_time": "Working days from order to dispatch; weeks as 14 w.",
    "use_kits": "Whether seal kits are used where they fit.",
    "finding": "What was found, in a word or two, such as metal in the oil.",
    "pump": "Part number of the pump.",
    "scope": "How deep the rebuild goes, such as full reseal.",
}

_OF_SHEET: dict[str, dict[str, str]] = {
    "Items": {
        "part_number": "Your number. Text: 0012 stays 0012.",
        "description": "What it is, in your words.",
        "kind": "A part, an assembly that is opened, a kit, or a pump.",
        "stock_unit": "The unit in which it lies in stock.",
        "material": "ISO 1629 code of the rubber, PTFE, metal and so on.",
        "hardness": "Such as 90 A or 55 D.",
        "size": "Size as it is written on the packet.",
        "form": "O-ring, backup ring, cup seal, ball, spring ...",
        "cleanliness": "How clean it comes.",
        "shelf_life_years": "Years from cure to last use, or unlimited. Needed for rubber.",
        "resealed_usable": "Whether a packet that was opened and closed again may be used; a clean one never may.",
        "source": "Where it comes from. Blank: bought; kits are packed if they can be, else bought.",
        "get_as": "The kit or assembly that has to be bought to get this part.",
        "issue": "Counted pieces are planned; bench stock such as grease is not.",
        "lead_time": "Working days to get it, or to pack a kit; weeks as 14 w.",
        "safety_stock": "Pieces that should always be left.",
        "minimum": "Fewest on the shelf that are comfortable.",
        "maximum": "Most that should lie on the shelf.",
        "how_sure_percent": "How sure you want to be of having enough for wear that may be found.",
        "unit_cost": "Cost of one stock unit, for value on the shelf.",
        "min_life_at_receipt": "Life left when it arrives: 75 % of its shelf life, or 24 m for months.",
        "certificate_needed": "Whether it may only be taken in with a certificate.",
        "maker_code": "Short name of the maker.",
        "maker_number": "The maker's number.",
        "other_numbers": "Other numbers that it is known by, with ; between.",
        "home_place": "Where it belongs.",
        "default_option": "Of a pump: its usual answers, such as compound=NBR.",
        "notes": "Anything worth knowing.",
    },
    "Structure": {
        "parent": "The pump, assembly or kit that holds the part.",
        "child": "What it holds.",
        "quantity_is_for": "Whether the quantity is for one parent, or was counted over the whole pump.",
        "pump": "The pump in which a whole-pump quantity was counted.",
        "at_rebuild": "Opened, always renewed, inspected, or kept. Not needed in kits.",
        "renewals_per_100": "Of 100 inspected, how many are found worn.",
        "renew_together": "Name of a group: if one is renewed or missing, all of them are renewed.",
        "renew_together_over": "How far the group reaches.",
        "wetted": "Whether the pumped fluid touches it.",
        "position": "Where it sits; tells two lines of the same part apart.",
        "order": "Number that sorts the lines, in the order of assembly.",
        "orientation": "Which way round it goes.",
        "bench_note": "What the bench has to know.",
        "figure_item": "Item number in the drawing.",
        "source": "Drawing or list where this is stated.",
        "from_date": "First build day for which the line holds.",
        "to_date": "Last build day for which the line holds.",
        "from_serial": "First serial for which the line holds.",
        "to_serial": "Last serial for which the line holds.",
    },
    "Scopes": {
        "section": "Assembly that is opened.",
        "how_many": "How many of it are opened in one pump.",
        "option": "Answers that come with the scope, such as compound=EPDM.",
        "signed_for": "Whether somebody has to sign for the work.",
    },
    "KitFits": {
        "kit": "Part number of the kit.",
        "fits": "Assembly or pump that it is made for.",
        "instances": "How many of the assembly one kit serves.",
        "set": "Kits of different sets are used together; of one set only one is taken.",
        "preferred": "The one to take when several of a set fit.",
    },
    "FindingRules": {
        "assembly": "Assembly that the rule is about.",
        "effect": "Add parts to each one opened, or renew what would only be inspected.",
        "part_number": "The part to add, or to renew; blank with renew is everything in the assembly.",
        "quantity": "How many to add to each assembly.",
    },
    "Substitutes": {
        "substitute": "The part that may stand in.",
        "direction": "One way, or each for the other.",
        "approved_by": "Who allowed it.",
    },
    "Suppliers": {
        "supplier": "Name of the supplier.",
        "order_minimum_value": "Smallest order value that is accepted.",
        "small_order_charge": "Charge for orders below that value.",
        "certificate_charge": "Charge for a certificate.",
        "transit_days": "Working days from dispatch to our door.",
        "closed_from": "First day of a closure.",
        "closed_to": "Last day of a closure.",
    },
    "Offers": {
        "supplier_part_number": "The number to order by.",
        "pack_size": "Stock units in one pack.",
        "minimum_packs": "Fewest packs in one order.",
        "multiple_packs": "Packs are sold in multiples of this.",
        "price_per_pack": "Price of one pack.",
        "price_from_packs": "From how many packs the price holds; one row for each price break.",
        "quoted_on": "Day of the quotation.",
        "valid_to": "Last day on which the price holds.",
    },
    "Places": {
        "place": "Bin or shelf, as its label says.",
        "walk_order": "Number that sorts the places as one walks past them.",
        "kind": "A bin, a staging shelf, or quarantine.",
    },
    "Lots": {
        "quantity": "What lies there now. For a lot that is known already this is a count.",
        "cure": "Cure date of rubber: 4Q20, 2020-Q4 or a date.",
        "last_use": "Last day of use, if it stands on the packet.",
        "received": "Day on which it came in.",
        "condition": "Usable, or in quarantine.",
        "packet": "Sealed, opened and closed again, or loose.",
        "maker_batch": "Batch of the maker.",
        "certificate": "Number of the certificate.",
        "owner": "Customer to whom it belongs; blank is the shop.",
    },
    "KitContents": {
        "part_number": "Part number of the packed kit.",
        "lot": "Lot of the packed kit.",
        "holds": "Part number of the piece inside.",
        "of_lot": "Lot that the piece came from.",
        "quantity": "Pieces in one kit.",
        "owed": "Pieces that one kit still lacks.",
    },
    "Orders": {
        "order": "Number of the purchase order.",
        "line": "Line of the order.",
        "quantity": "What is still to come.",
        "promised": "Day at our door.",
    },
    "Schedule": {
        "job": "Number of the job.",
        "build_date": "Day on which it is built.",
        "quantity": "Pumps of this kind in the job.",
        "batch": "Batch that it is built in.",
        "option": "Answers for this job, such as compound=FKM.",
        "serial": "Serial number of the pump.",
        "customer": "Whose pump it is.",
        "strip_date": "Day on which it is opened.",
        "stage": "How far it has come; a job known here is built, tested and shipped on its page.",
        "held_because": "Why it is held; needed when it is.",
    },
    "OtherNeeds": {
        "need": "A name for it.",
        "need_date": "Day on which it is wanted.",
        "for_whom": "Who wants it.",
    },
    "Issued": {
        "state": "Reserved on the shelf, in the job's bag, given out, or given back.",
        "place": "Shelf on which it is reserved, or where the bag stands.",
    },
    "Verdicts": {
        "where": "Pump, section and position, as the sheet of the job prints it.",
        "verdict": "What was decided on this position.",
        "found": "What was seen; with with_group no, why the position goes its own way.",
        "measured": "What was measured.",
        "limit": "The limit that it is held against.",
        "unit": "Unit of the measurement.",
        "with_group": "Whether the parts that are renewed together go with it.",
    },
    "Findings": {
        "section": "Section in which it was found; blank is the whole pump.",
        "found_on": "Day on which it was found.",
    },
    "Holidays": {"date": "Day on which the shop is closed.", "name": "Why."},
    "Settings": {
        "name": "Name of the setting: today, staging_days, workdays, years_ahead, price_jump, currency, shop_name.",
        "value": "Its value. years_ahead: a build day or promise further off is asked about (2 when left out); "
        "price_jump: so is a quoted price that is so many times as high or low as before (2).",
    },
}

_READS = {
    "word": "One of: {words}.",
    "yes_no": "yes or no.",
    "whole": "A whole number, {least} or more.",
    "quantity": "A number above 0.",
    "stock": "A number, 0 or more.",
    "rate": "A number from 0 to 100.",
    "money": "A price, without the sign of the currency.",
    "day": "A date.",
    "use_by": "A date, or a month, which means its last day.",
}


def column_note(sheet: Sheet, column: Column) -> str:
    """What a column means, how its cells are written, and what a blank means."""
    parts = [_OF_SHEET[sheet.name].get(column.name) or _OF_ALL[column.name]]
    if column.reads in _READS:
        parts.append(_READS[column.reads].format(words=", ".join(column.words), least=column.least))
    if column.required:
        parts.append("Must be filled in.")
    elif column.default and column.default != "0":
        parts.append(f"Blank means {column.default}.")
    return " ".join(parts)


def explained_sheets() -> tuple[ExplainedSheet, ...]:
    """Every sheet with what its columns mean."""
    return tuple(
        ExplainedSheet(
            sheet, who_loads(sheet.name), tuple((column, column_note(sheet, column)) for column in sheet.columns)
        )
        for sheet in SHEETS
    )
