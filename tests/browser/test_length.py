"""No page of the demo is longer than three screens of a desk or five of a tablet, and its tables go into a spreadsheet.

Pages are found by following links, two of a kind: what stands on a page is another thing for each job, part and kit.
"""

import csv
import io
import re
from urllib.parse import parse_qsl, urlsplit

import pytest
from django.contrib.auth.models import Group

from kits.people.models import User
from tests.browser.looks import is_a_page

DESK, TABLET = {"width": 1280, "height": 900}, {"width": 834, "height": 1112}
LONGEST_AT_DESK, LONGEST_ON_TABLET = 3 * DESK["height"], 5 * TABLET["height"]
OF_A_KIND = 2
AT_LEAST = 100
MANY = 20
NO_PAGES = re.compile(r"export=|sort=|[?&]all=|/admin/|/static/|/sign-out|download|/prints?/|/upload/lists/")
"""Files, other orders of the same rows, pages with everything opened, and what is for paper."""
LINKS = "nodes => nodes.map(node => node.getAttribute('href').split('#')[0])"
NO_YEAR = re.compile(r"\d+ [A-Z][a-z]{2}")
HEIGHT = "document.documentElement.scrollHeight"
LISTS = (
    "/shortages/", "/shortages/wear/", "/shortages/orders/", "/shortages/pack/", "/shortages/lots/",
    "/batch-sheets/kinds/Spring refit/", "/batches/Spring refit/", "/job-list/", "/waiting/", "/freeing/",
    "/purchasing/", "/purchasing/orders/", "/purchasing/due/", "/purchasing/offers/", "/pumps-and-parts/?kind=part",
    "/storeroom/", "/storeroom/kits/", "/storeroom/movements/", "/storeroom/worth/", "/storeroom/use-first/",
    "/storeroom/ending/", "/storeroom/quarantine/", "/storeroom/disposal/", "/storeroom/receive/",
    "/storeroom/put-away/", "/storeroom/counts/", "/what-was-seen/", "/fluids/", "/new-jobs/", "/people/",
)  # fmt: skip
NOTHING_TO_OPEN = ("/batch-sheets/kinds/Spring refit/", "/fluids/")
"""A kind of part, and a rule, have no sheet of their own."""
SELECT = """() => {
    const tables = [...document.querySelectorAll('main table')].filter(one => one.querySelector('tbody tr'));
    if (!tables.length) return 0;
    const table = tables.reduce((most, one) => one.rows.length > most.rows.length ? one : most);
    getSelection().selectAllChildren(table);
    return [...table.tBodies].flatMap(body => [...body.rows])
        .filter(row => !row.matches('.why') && !row.querySelector('[scope=rowgroup]')).length;
}"""


def kind_of(address):
    """Addresses of one kind differ in what they are about."""
    parts = urlsplit(address)
    asked = "&".join(sorted(name for name, _ in parse_qsl(parts.query, keep_blank_values=True)))
    path = re.sub(r"/(parts|kits|pumps|jobs|last-buy)/[^/]+", r"/\1/*", parts.path)
    return re.sub(r"/[^/]*(\d|%20)[^/]*", "/*", path) + "?" + asked


@pytest.fixture
def desk(shop_address, page, sign_in):
    User.objects.get(username="planner").groups.set(Group.objects.all())
    page.set_viewport_size(DESK)
    sign_in(page, shop_address)
    return page


def addresses_from(page, shop_address):
    """Every page that can be reached from Today, a few of a kind, each opened."""
    to_do, known, seen = ["/"], {"/"}, {}
    while to_do:
        address = to_do.pop(0)
        kind = kind_of(address)
        if seen.get(kind, 0) >= OF_A_KIND:
            continue
        if not is_a_page(page, f"{shop_address}{address}"):
            continue
        seen[kind] = seen.get(kind, 0) + 1
        yield address
        here = urlsplit(page.url).path
        for link in page.eval_on_selector_all("a[href]", LINKS):
            to = here + link if link.startswith("?") else link
            if to.startswith("/") and to not in known and not NO_PAGES.search(to):
                known.add(to)
                to_do.append(to)


def test_no_page_is_longer_than_three_screens_of_a_desk_or_five_of_a_tablet(desk, shop_address):
    too_long, looked_at = [], 0
    sizes = [(DESK, LONGEST_AT_DESK), (TABLET, LONGEST_ON_TABLET)]
    for address in addresses_from(desk, shop_address):
        looked_at += 1
        for size, most in sizes:
            if size != desk.viewport_size:
                desk.set_viewport_size(size)
            height = desk.evaluate(HEIGHT)
            if height > most:
                too_long.append(f"{address}: {height} px at {size['width']}, {most} at most")
        sizes.reverse()
    assert too_long == [], "\n".join(too_long)
    assert looked_at >= AT_LEAST


@pytest.fixture
def copied(desk, shop_address):
    """What the longest table of a page puts on the clipboard, row by row, and how many records it shows."""
    desk.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=shop_address)

    def copy(address):
        desk.goto(f"{shop_address}{address}")
        records = desk.evaluate(SELECT)
        if records:
            desk.keyboard.press("Control+c")
        text = desk.evaluate("navigator.clipboard.readText()") if records else ""
        return [line.split("\t") for line in text.split("\n")], records

    return copy


def test_every_list_is_copied_as_one_row_a_record_and_a_fact_a_cell_and_its_rows_are_opened_by_keys(desk, copied):
    wrong, filled, closed = [], 0, []
    for address in LISTS:
        (heads, *rows), records = copied(address)
        if not records:
            continue
        filled += 1
        if len(rows) != records:
            wrong.append(f"{address}: {records} records, {len(rows)} rows")
        wrong += [f"{address}: {row} under {heads}" for row in rows if len(row) != len(heads)]
        wrong += [f"{address}: {cell} has no year" for row in rows for cell in row if NO_YEAR.fullmatch(cell)]
        if address not in NOTHING_TO_OPEN and not is_opened_by_keys(desk):
            closed.append(address)
    assert wrong == [], "\n".join(wrong)
    assert filled >= MANY
    assert closed == []


def is_opened_by_keys(page):
    """Whether a row of the list has a way to what it is about, which the focus reaches and Enter takes."""
    row = page.locator("main table tbody tr:not(.why):not(:has([scope=rowgroup]))").first
    way = row.locator("a[href]:not([hx-get])").first
    if not way.count():
        return False
    way.focus()
    assert way.evaluate("node => node === document.activeElement && node.tabIndex >= 0")
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url, before=page.url: url != before)
    return True


def test_shortages_are_copied_as_their_file_has_them_and_what_a_spreadsheet_would_work_out_as_text(
    desk, shop_address, copied
):
    """Number and description in two cells, days with their year."""
    (_, *rows), _ = copied("/shortages/")
    file = desk.request.get(f"{shop_address}/shortages/?export=csv").text().lstrip("\ufeff")
    listed = list(csv.DictReader(io.StringIO(file)))
    assert [row[:3] for row in rows] == [[one["Part"], one["What it is"], one["Short"]] for one in listed]
    assert all({one["First need"], one["Order by"]} <= set(row) for row, one in zip(rows, listed, strict=True))
    desk.evaluate("document.querySelector('main tbody td').textContent = '=1+1'")
    desk.evaluate(SELECT)
    desk.keyboard.press("Control+c")
    assert "\t'=1+1\t" in desk.evaluate("navigator.clipboard.readText()")
