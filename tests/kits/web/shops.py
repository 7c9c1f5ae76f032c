"""The shops that the pages are tried on, and what a page says to a reader."""

import html
import re
from datetime import date

from kits.exchange.actions import load_files
from kits.exchange.files.sheet_file import SheetFile
from tests.keeping import load_planned
from tests.kits.exchange.books import AT, FIXTURES, SHOP, load_sheets
from tests.kits.kept_rows import load_once, stored

SMALL = {
    **SHOP,
    "Items": [
        ["part_number", "description", "kind", "stock_unit", "material", "shelf_life_years", "default_option", "form"],
        ["P-1", "twin pump", "pump", "each", None, None, "compound=NBR", None],
        ["E-1", "liquid end", "assembly", "each", None, None, None, None],
        ["CK-1", "check valve", "assembly", "each", None, None, None, None],
        ["K-1", "end seal kit", "kit", "each", None, None, None, None],
        ["SE-1", "valve seat", "part", "each", "PEEK", None, None, "seat"],
        ["OR-014", "O-ring 014", "part", "each", "NBR", 15, None, "O-ring"],
        ["BA-1", "ball", "part", "each", "steel", None, None, "ball"],
        ["CO-1", "cord", "part", "mm", "NBR", 15, None, "cord"],
    ],
    "Structure": [
        ["parent", "child", "quantity", "unit", "at_rebuild", "renewals_per_100", "position", "option"],
        ["P-1", "E-1", 2, None, "open", None, "ends", None],
        ["E-1", "CK-1", 2, None, "open", None, "inlet; outlet", None],
        ["E-1", "OR-014", 3, None, "renew", None, "gland", "compound=NBR"],
        ["E-1", "CO-1", 31, "cm", "renew", None, "cover", None],
        ["CK-1", "SE-1", 1, None, "renew", None, "seat", None],
        ["CK-1", "BA-1", 1, None, "inspect", 35, "ball", None],
        ["K-1", "OR-014", 2, None, None, None, None, None],
        ["K-1", "SE-1", 3, None, None, None, None, None],
    ],
    "Lots": [
        ["part_number", "lot", "quantity", "place", "cure"],
        ["K-1", "KIT-9", 2, "A1", "4Q24"],
        ["OR-014", "L-1", 12, "A1", "4Q24"],
        ["BA-1", "B-7", 3, "A1", None],
        ["CO-1", "C-2", 500, "A1", "1Q25"],
    ],
    "Offers": [
        ["supplier", "part_number", "pack_size", "lead_time", "price_per_pack"],
        ["Ring House", "OR-014", 25, "2 w", 9.5],
        ["Ring House", "SE-1", 10, 5, 40],
        ["Ring House", "CO-1", 1000, 4, 12],
        ["Ring House", "BA-1", 1, 20, 3],
    ],
    "Orders": [
        ["order", "line", "supplier", "part_number", "quantity", "promised"],
        ["PO-1", "1", "Ring House", "SE-1", 1, date(2026, 3, 20)],
        ["PO-2", "1", "Ring House", "CO-1", 500, date(2026, 3, 2)],
    ],
    "Schedule": [
        ["job", "pump", "scope", "build_date", "batch", "serial", "stage"],
        ["J-1", "P-1", "full", date(2026, 3, 16), "spring", "S-77", "expected"],
        ["J-2", "P-1", "full", date(2026, 3, 24), "spring", None, "expected"],
        ["J-9", "P-1", "full", date(2026, 3, 2), "spring", None, "shipped"],
    ],
}


def load_small():
    load_planned("small", lambda: load_once("small", lambda: stored(load_sheets(SMALL))))


def load_demo():
    files = [SheetFile(path.name, path.read_bytes()) for path in sorted(FIXTURES.glob("*.csv"))]
    load_planned("demo", lambda: load_once("demo", lambda: stored(load_files(files=files, by=None, at=AT))))


def text_of(answer):
    """What a page says, without its marks and with every run of spaces as one."""
    page = answer.content.decode()
    page = re.sub(r"(?s)<(script|style|svg).*?</\1>", " ", page)
    page = re.sub(r"<[^>]+>", " ", page)
    return " ".join(html.unescape(page).split())


def sheet_of(answer):
    """What the sheet itself says, without the doors above it."""
    page = answer.content.decode()
    answer.content = page[page.index("<main") :].encode()
    return text_of(answer)


def lines_that_open(answer):
    """The lines of a page that open to how they come about: what each says, and where that is worked out."""
    page = answer.content.decode()
    found = re.findall(r'(?s)<details hx-get="([^"]+)"[^>]*><summary>(.*?)</summary>', page)
    return [(" ".join(html.unescape(says).split()), html.unescape(address)) for address, says in found]


def worked_out(reader, address):
    """What stands on the sheet on which one line is worked out."""
    answer = reader.get(address)
    assert answer.status_code == 200, address
    return sheet_of(answer).split("How it comes about ")[1]
