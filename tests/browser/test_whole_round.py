"""Thirty lines for six jobs, walked by two clerks with scanners, gloves, a bad connection and the usual mistakes."""

import re

import pytest
from django.contrib.auth.models import Group
from django.core.management import call_command

from bom.values import ONE
from kits.people.models import User
from kits.picking.models import Confirmation, PickLine
from kits.stock.models import Balance
from kits.stock.queries import ledger_differences
from tests.browser.conftest import sit_down
from tests.kits.picking.bench_shop import BenchShop

expect = pytest.importorskip("playwright.sync_api").expect
DELAYS = (0, 100, 250, 500, 750, 1000, 1250, 1500)
SEEN = """
document.addEventListener("DOMContentLoaded", () => requestAnimationFrame(() => {
  const where = document.querySelector(".stop .kicker");
  if (!where) { return; }
  const targets = document.querySelectorAll(".stop button, .stop summary, .stop label.button, .walk a, #scan-code");
  const small = [...targets].filter(one => one.getBoundingClientRect().width > 0)
    .filter(one => Math.min(one.getBoundingClientRect().width, one.getBoundingClientRect().height) < 44)
    .map(one => one.textContent.trim() || one.name);
  const seen = JSON.parse(localStorage.getItem("seen") || "[]");
  seen.push({ line: Number(where.textContent.match(/Line (\\d+)/)[1]), at: Date.now() / 1000, small,
    high: document.documentElement.scrollHeight, wide: document.documentElement.scrollWidth });
  localStorage.setItem("seen", JSON.stringify(seen));
}));
"""


TYPED = """code => {
  const start = performance.now();
  [...code, "Enter"].forEach((key, number) => {
    const pressed = new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true });
    Object.defineProperty(pressed, "timeStamp", { value: start + 5 * number });
    document.activeElement.dispatchEvent(pressed);
  });
}"""
"""Keys at five milliseconds each by the clock of the keyboard, which a busy machine does not slow down."""


@pytest.fixture
def made(transactional_db):
    """A round of thirty lines: six sections of five parts, of which two share the nuts, and one has a part more."""
    shop = BenchShop()
    shop.clerk.groups.add(Group.objects.get(name="Storeroom clerk"))
    for number in range(1, 7):
        section = f"S{number}"
        shop.item(section, "assembly")
        shop.line("PUMP", section, 1, "open")
        shop.scope(section.lower(), section)
        parts = [f"P-{number}{n}" for n in range(1, {1: 5, 2: 5, 3: 7}.get(number, 6))]
        for part in parts:
            shop.item(part, material="steel")
            shop.line(section, part, 3, "renew", part)
            shop.stock(part, f"L{part[2:]}", "A2" if number < 4 else "H1", 20)
    for section in ("S1", "S2"):
        shop.line(section, "NUT", 2, "renew", "studs")
    jobs = [shop.job(f"J-{number}", f"s{number}") for number in range(1, 7)]
    made = shop.start(*jobs)
    assert made.lines.count() == 30
    return made


class Clerk:
    """Somebody with a tablet lying on its side, and a scanner."""

    def __init__(self, browser, address, made, name):
        person = User.objects.get(username=name)
        self.context = browser.new_context(viewport={"width": 1112, "height": 834}, has_touch=True)
        self.context.add_init_script(SEEN)
        self.page = self.context.new_page()
        sit_down(self.page, address, person)
        self.person, self.address, self.made = person, f"{address}/picking/{made.pk}/", made
        self.complaints = []
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.goto(self.address)

    @property
    def line(self):
        where = self.page.locator(".stop .kicker").first.inner_text()
        number = int(re.search(r"Line (\d+)", where)[1])
        return PickLine.objects.select_related("lot__item", "place").get(pick_round=self.made, number=number)

    def scan(self, code):
        self.page.wait_for_load_state()
        self.page.evaluate(TYPED, code)

    def scan_packet(self, line):
        self.scan(f"LOT {line.lot.item.part_number} {line.lot.lot}")
        expect(self.page.get_by_text("is right: now scan")).to_be_visible()

    def scan_bags(self, line):
        for bag in line.shares.order_by("bag__number").values_list("bag__number", flat=True):
            self.scan(f"BAG {bag}")
            if line.shares.count() > 1 and bag != line.shares.order_by("bag__number").last().bag.number:
                expect(self.page.get_by_text(f"Bag {bag} is right")).to_be_visible()
        self.leaves(line)

    def pick_by_scans(self):
        line = self.line
        self.scan_packet(line)
        self.scan_bags(line)
        return line

    def leaves(self, line):
        before = self.page.locator(".stop .kicker", has_text=re.compile(rf"Line {line.number} of"))
        expect(before).to_have_count(0)

    def full(self):
        """Where the large button lies, once it may be tapped."""
        button = self.page.get_by_role("button", name="Full")
        expect(button).to_be_visible()
        self.page.wait_for_timeout(1250)
        box = button.bounding_box()
        return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def otherwise(self):
        self.page.get_by_text("Short, miscounted or damaged").tap()

    def book_as_written(self, line):
        self.page.get_by_role("button", name="Book it as written").tap()
        self.leaves(line)

    def seen(self):
        return self.page.evaluate("JSON.parse(localStorage.getItem('seen'))")


@pytest.fixture
def clerks(browser, live_server, made):
    ann = User.objects.create_user("ann")
    ann.groups.add(Group.objects.get(name="Storeroom clerk"))
    both = [Clerk(browser, live_server.url, made, name) for name in ("clerk", "ann")]
    yield both
    assert [says for one in both for says in one.complaints] == []
    for one in both:
        one.context.close()


def held(line):
    return Balance.objects.filter(lot=line.lot, place=line.place, condition="usable").first().quantity // ONE


@pytest.mark.django_db(transaction=True)
def test_thirty_lines_are_walked_by_two_with_everything_that_goes_wrong(clerks, made):
    clerk, ann = clerks
    both_at_one_line(clerk, ann)
    share(clerk, ann)
    wrong_packet_books_nothing(clerk)
    short = one_is_short(clerk)
    miscounted = one_is_miscounted(clerk)
    damaged = one_is_damaged(clerk)
    one_is_taken_back(clerk)
    connection_drops_twice(ann)
    for delay in DELAYS:
        double_tap(ann, delay)
    for walker in (clerk, ann):
        while walker.page.locator("#scan-code").count():
            walker.pick_by_scans()
        expect(walker.page.locator(".answer")).to_contain_text(re.compile("Yours are done|lines are booked"))

    made.refresh_from_db()
    assert made.state == "finished"
    standing = Confirmation.objects.filter(undone_at__isnull=True)
    assert sorted(standing.values_list("line__number", flat=True)) == list(range(1, 31)), "each line once"
    assert Confirmation.objects.filter(undone_at__isnull=False).count() == 1
    assert {line.pk for line in made.lines.filter(state="short")} == {short.pk, damaged.pk}
    assert [held(line) for line in (short, miscounted, damaged)] == [18, 14, 15]
    assert ledger_differences() == []
    call_command("check_ledger", verbosity=0)
    every_line_was_on_the_screen(clerks)


def both_at_one_line(clerk, ann):
    """Two tap the same button at the same moment: one books, the other is told."""
    line = clerk.line
    assert ann.line == line
    clerk.full()
    ann.full()
    for one in (clerk, ann):
        one.page.evaluate(
            "document.querySelector('.book button').form.requestSubmit(document.querySelector('.book button'))"
        )
    told = re.compile("was booked already|has changed since the page was opened|1 of 30 lines booked")
    for one in (clerk, ann):
        expect(one.page.locator("main")).to_contain_text(told)
    assert Confirmation.objects.get().line == line


def share(clerk, ann):
    clerk.page.goto(clerk.address)
    clerk.page.get_by_text("Let it rest, hand it over or share it").tap()
    clerk.page.wait_for_timeout(1250)
    clerk.page.get_by_label("A colleague").select_option("ann")
    clerk.page.get_by_role("button", name="Share: the second half").tap()
    expect(clerk.page.get_by_text("ann walks the second half from now on")).to_be_visible()
    ann.page.goto(ann.address)
    assert clerk.line.number == 2
    assert ann.line.number > 12
    ann.page.goto(f"{ann.address}?line={clerk.line.pk}")
    assert ann.page.get_by_role("button", name="Full").count() == 0, "a line of the other is looked at, not booked"
    ann.page.goto(ann.address)


def wrong_packet_books_nothing(clerk):
    before, wrong = Confirmation.objects.count(), clerk.made.lines.select_related("lot__item").last().lot
    clerk.scan(f"LOT {wrong.item.part_number} {wrong.lot}")
    says = f"This is {wrong.item.part_number}, lot {wrong.lot}; line {clerk.line.number} wants"
    expect(clerk.page.get_by_role("alert")).to_contain_text(says)
    assert Confirmation.objects.count() == before


def one_is_short(clerk):
    """Two of three are there, though the book says twenty: the bin is counted."""
    line = clerk.pick_by_scans() and clerk.line
    clerk.otherwise()
    clerk.page.get_by_role("button", name=re.compile("^One less: J-")).first.tap()
    clerk.page.get_by_role("button", name="Book it as written").tap()
    expect(clerk.page.locator(".otherwise .errorlist")).to_contain_text("write how many lay there")
    clerk.page.get_by_role("textbox", name="Good pieces in it").tap()
    for figure in "20":
        clerk.page.get_by_role("button", name=figure, exact=True).tap()
    clerk.book_as_written(line)
    return line


def one_is_miscounted(clerk):
    """All three are taken, but the bin held 17."""
    line = clerk.line
    clerk.otherwise()
    clerk.page.get_by_role("textbox", name="Good pieces in it").tap()
    for figure in "17":
        clerk.page.get_by_role("button", name=figure, exact=True).tap()
    clerk.page.wait_for_timeout(1250)
    clerk.book_as_written(line)
    return line


def one_is_damaged(clerk):
    """Two good ones are taken of 17, three are pitted and leave the bin."""
    line = clerk.line
    clerk.otherwise()
    clerk.page.get_by_role("button", name=re.compile("^One less: J-")).first.tap()
    clerk.page.get_by_role("textbox", name="Good pieces in it").tap()
    for figure in "17":
        clerk.page.get_by_role("button", name=figure, exact=True).tap()
    for _ in range(3):
        clerk.page.get_by_role("button", name="One more: How many, besides the good ones").tap()
    clerk.page.get_by_label("What is wrong with them").select_option("pitted")
    clerk.page.wait_for_timeout(1250)
    clerk.book_as_written(line)
    return line


def one_is_taken_back(clerk):
    """Booked by scans, taken back, and one tap in the row of lines leads to it again."""
    line = clerk.pick_by_scans()
    clerk.page.wait_for_timeout(1250)
    clerk.page.get_by_role("button", name="Undo", exact=True).tap()
    expect(clerk.page.get_by_text("is taken back")).to_be_visible()
    assert clerk.line == line
    clerk.page.goto(clerk.address)
    clerk.page.locator(".walk a").nth(line.number - 1).tap()
    assert clerk.pick_by_scans() == line


def connection_drops_twice(ann):
    assert ann.pick_by_scans().shares.count() == 2, "both bags are scanned before it is booked"
    lost, line = ann.page.get_by_text("Not sent: there is no connection"), ann.line
    ann.context.set_offline(True)
    ann.scan(f"LOT {line.lot.item.part_number} {line.lot.lot}")
    expect(lost).to_be_visible()
    ann.context.set_offline(False)
    expect(ann.page.get_by_text("is right: now scan")).to_be_visible()
    ann.context.set_offline(True)
    ann.scan(f"BAG {line.shares.get().bag.number}")
    expect(lost).to_be_visible()
    ann.page.get_by_role("button", name="Send it now").tap()
    expect(lost).to_be_visible()
    assert not Confirmation.objects.filter(line=line).exists()
    ann.context.set_offline(False)
    ann.leaves(line)
    assert Confirmation.objects.filter(line=line).count() == 1


def double_tap(walker, delay):
    """A second tap books nothing that was not on the screen for a second."""
    line = walker.line
    x, y = walker.full()
    walker.page.touchscreen.tap(x, y)
    walker.page.wait_for_timeout(delay)
    walker.page.touchscreen.tap(x, y)
    walker.leaves(line)
    assert Confirmation.objects.filter(line=line).count() == 1


def every_line_was_on_the_screen(clerks):
    """By the clock of the tablets: what was tapped, for a second; and no page had to be moved."""
    for walker in clerks:
        seen = walker.seen()
        assert [one for one in seen if one["small"]] == []
        assert {one["wide"] for one in seen} == {1112}
        assert {one["high"] for one in seen} == {834}, "nothing of a line lies below the edge"
        for said in Confirmation.objects.filter(by=walker.person).select_related("line"):
            shown = [one["at"] for one in seen if one["line"] == said.line.number]
            rest = 0 if said.scanned else 1
            assert any(at + rest <= said.at.timestamp() + 0.05 for at in shown), said.line
