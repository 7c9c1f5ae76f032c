"""A clerk's whole day on the tablet, with a hand that is slow, hasty, and goes back: the books come out right."""

import json
import re
from datetime import timedelta
from urllib.parse import parse_qsl

import pytest
from django.contrib.auth.models import Group
from django.core.management import call_command
from django.urls import reverse
from playwright.sync_api import Error as PageError
from playwright.sync_api import expect

from bom.values import ONE
from kits.people.models import User
from kits.people.roles import CLEAN_WORK, SERVICE_LEAD, STOREROOM_CLERK
from kits.picking.models import Confirmation, PickRound
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job, JobStep
from kits.stock.models import Balance, Count, Posting
from kits.stock.queries import ledger_differences
from kits.web.request_keys import TOO_SOON
from tests.kits.web.shops import load_demo

WORD = "clerk at the bins"
VIEW = {"width": 834, "height": 1112}
REST_MS = 1300
DELAYS_MS = (0, 40, 150, 300, 600, 900)
SEEN = "lines seen"
WATCH = """
document.addEventListener('DOMContentLoaded', () => requestAnimationFrame(() => {
    const seen = JSON.parse(sessionStorage.getItem('lines seen') || '[]');
    for (const form of document.querySelectorAll('form.book'))
        seen.push([new URL(form.action).pathname, Date.now()]);
    sessionStorage.setItem('lines seen', JSON.stringify(seen));
}));"""
"""Writes down when each line to be booked came onto the screen."""


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": VIEW, "has_touch": True, "locale": "en-GB"}


@pytest.fixture
def people(transactional_db):
    load_demo()
    found = {}
    for name, groups in (("clerk", (STOREROOM_CLERK, CLEAN_WORK)), ("lead", (SERVICE_LEAD,))):
        found[name] = User.objects.create_user(name, password=WORD)
        found[name].groups.set(Group.objects.filter(name__in=[group.name for group in groups]))
    return found


def go_in(page, site, name, then):
    page.goto(f"{site}/sign-in/?next={then}")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(WORD)
    follow(page.get_by_role("button", name="Sign in"))


@pytest.fixture
def tablet(page, live_server, people):
    """A tablet on which the clerk of the demo shop has signed in; it may complain of what was refused only."""
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.add_init_script(WATCH)
    go_in(page, live_server.url, "clerk", "/picking/")
    yield page
    assert [says for says in complaints if "409 (Conflict)" not in says and "422 (" not in says] == []


def follow(control):
    """Tap what leads to another page, once it may be tapped, and wait for that page."""
    with control.page.expect_navigation():
        control.tap()


def settle(page):
    """Wait until a page has come to rest, with whatever taps it got meanwhile."""
    page.wait_for_timeout(400)
    while sends(page):  # no wait_for_function: their policy forbids it
        page.wait_for_timeout(50)
    page.wait_for_timeout(100)
    page.wait_for_load_state("load")


def sends(page):
    """Whether something tapped is kept until it is answered, or was answered and the page is being left."""
    try:
        return page.evaluate("sessionStorage.getItem('not-sent') !== null")
    except PageError as error:
        if "context was destroyed" not in str(error):
            raise
        return True


def full(page):
    return page.get_by_role("button", name="Full")


def booked():
    return Confirmation.objects.filter(undone_at__isnull=True).count()


def held(part, **where):
    return sum(Balance.objects.filter(lot__item__part_number=part, **where).values_list("quantity", flat=True)) / ONE


def part_on(page):
    return page.locator(".stop h2").inner_text()


def seen_on(page):
    """When each line came onto the screen for the first time, in milliseconds."""
    first = {}
    for path, at in json.loads(page.evaluate(f"sessionStorage.getItem({SEEN!r})")):
        first.setdefault(path, at)
    return first


def start_round(page, *jobs):
    ticked = page.get_by_role("checkbox", checked=True)
    while ticked.count():
        ticked.first.uncheck()
    for job in jobs:
        page.get_by_role("checkbox", name=f"Pick {job}").check()
    follow(page.get_by_role("button", name="Start a round for the ticked jobs"))
    return PickRound.objects.latest("pk")


def open_short(page):
    page.get_by_text("Short, miscounted or damaged").tap()


@pytest.mark.django_db(transaction=True)
def test_the_clerks_day(tablet, live_server, browser):
    made = start_round(tablet, "J-3101", "J-3102")
    tap_twice_at_every_delay(tablet)
    press_enter_again_and_again(tablet)
    go_back_and_send_again(tablet, live_server.url, made)
    say_what_the_bin_held(tablet)
    find_some_damaged_take_it_back_and_say_it_again(tablet)
    book_the_rest(tablet, made)
    every_booked_line_was_on_the_screen(tablet)
    suspect(tablet, live_server.url)
    close(tablet, live_server.url, browser)
    receive(tablet, live_server.url)
    count(tablet, live_server.url)
    pack(tablet, live_server.url)
    pick_clean_work_apart(tablet, live_server.url)
    every_booked_line_was_on_the_screen(tablet)
    the_books_prove_themselves()


def tap_twice(page, button, delay):
    """Tap where a button stands, and there again so many milliseconds later, whatever stands there by then."""
    page.wait_for_timeout(REST_MS)
    button.scroll_into_view_if_needed()
    box = button.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.touchscreen.tap(x, y)
    page.wait_for_timeout(delay)
    page.touchscreen.tap(x, y)
    settle(page)


@pytest.mark.django_db(transaction=True)
def test_without_scripts_a_second_tap_books_nothing_either(browser, tablet, live_server):
    """The style sheet keeps the finger off; where even that is missing, the server says why nothing was booked."""
    made = start_round(tablet, "J-3105")
    plain = browser.new_context(
        java_script_enabled=False, has_touch=True, storage_state=tablet.context.storage_state(), viewport=VIEW
    )
    page = plain.new_page()
    page.goto(f"{live_server.url}{reverse('pick_round', args=[made.pk])}")
    tap_twice(page, full(page), 300)
    assert (booked(), page.get_by_role("alert").count()) == (1, 0)
    page.route("**/forms.css", lambda route: route.abort())
    page.reload()
    page.wait_for_timeout(REST_MS)
    full(page).click()
    full(page).click()
    expect(page.get_by_role("alert")).to_have_text(TOO_SOON)
    assert booked() == 2
    plain.close()


def tap_twice_at_every_delay(page):
    """The second tap falls where the next line's button stands by then: it books nothing."""
    for delay in DELAYS_MS:
        before, line = booked(), page.locator(".stop .kicker").first.inner_text()
        tap_twice(page, full(page), delay)
        assert booked() == before + 1, f"a second tap {delay} ms later"
        expect(page.locator(".stop .kicker").first).not_to_have_text(line)


def press_enter_again_and_again(page):
    before = booked()
    page.wait_for_timeout(REST_MS)
    full(page).focus()
    for _ in range(4):
        page.keyboard.press("Enter")
        page.wait_for_timeout(120)
    settle(page)
    assert booked() == before + 1


def go_back_and_send_again(page, site, made):
    """A page that was overtaken, the same request once more, and another one under its key."""
    before = booked()
    stale = page.context.new_page()
    stale.goto(page.url)
    sent = []
    page.on("request", lambda request: sent.append(request) if request.method == "POST" else None)
    part = part_on(page)
    follow(full(page))
    assert booked() == before + 1
    page.go_back()
    page.wait_for_load_state("load")
    assert booked() == before + 1
    full(stale).tap()
    expect(stale.get_by_role("alert")).to_contain_text("was booked already by clerk")
    stale.close()
    (request,) = sent
    form = dict(parse_qsl(request.post_data))
    again = page.request.post(request.url, form=form, headers={"Referer": page.url})
    assert again.ok
    other = page.request.post(request.url, form={**form, "full": "2"}, headers={"Referer": page.url})
    assert (other.status, "was used already, for something else" in other.text()) == (409, True)
    assert booked() == before + 1, part
    page.goto(f"{site}{reverse('pick_round', args=[made.pk])}")
    page.reload()
    assert booked() == before + 1


def say_what_the_bin_held(page):
    """All that is asked for lies there, but fewer than in the book."""
    part, asked = part_on(page), page.locator(".bags .count").last.inner_text()
    book = held(part, job__isnull=True, condition="usable")
    open_short(page)
    page.get_by_role("textbox", name="Good pieces in it before any was taken").fill(str(int(book) - 1))
    follow(page.get_by_role("button", name="Book it as written"))
    assert Posting.objects.filter(kind="count").count() == 1, (part, asked)


def find_some_damaged_take_it_back_and_say_it_again(page):
    part = part_on(page)
    good = held(part, job__isnull=True, condition="usable")
    given = held(part, job__isnull=False)
    for taken_back in (True, False):
        open_short(page)
        page.get_by_role("textbox", name="How many, besides the good ones").fill("1")
        page.get_by_label("In other words").fill("nicked at the edge")
        follow(page.get_by_role("button", name="Book it as written"))
        assert held(part, condition="quarantine") == 1
        if taken_back:
            follow(page.get_by_role("button", name="Undo", exact=True))
            assert (held(part, condition="quarantine"), held(part, job__isnull=False)) == (0, given)
            assert held(part, job__isnull=True, condition="usable") == good


def book_the_rest(page, made):
    """The other lines, one of them short: J-3102 gets nothing of it, and asks for it again."""
    short = 0
    while full(page).count():
        other = page.get_by_role("textbox", name=re.compile("^J-3102, of"), include_hidden=True)
        if short or not other.count():
            follow(full(page))
            continue
        open_short(page)
        other.fill("0")
        page.get_by_label("Why not all").select_option(label="not wanted any more")
        follow(page.get_by_role("button", name="Book it as written"))
        short += 1
    made.refresh_from_db()
    assert (made.state, made.lines.filter(state="short").count(), short) == ("finished", 1, 1)


def every_booked_line_was_on_the_screen(page):
    """Whatever was booked, and be it taken back since, had been on the screen for a second before."""
    seen = seen_on(page)
    for said in Confirmation.objects.select_related("line"):
        path = reverse("book_line", args=[said.line.pick_round_id, said.line_id])
        shown_for = said.at.timestamp() * 1000 - seen[path]
        assert shown_for >= timedelta(seconds=1) / timedelta(milliseconds=1), (path, shown_for)


def suspect(page, site):
    """The balls that lie in a bag are suspected: nobody takes more of them, and the pump does not go on with them."""
    lot = Balance.objects.get(job__job="J-3101", quantity__gt=0, lot__item__part_number="BA-716").lot
    page.goto(f"{site}{reverse('suspect', args=[lot.pk])}")
    page.get_by_label("What is wrong, or who says so").fill("the maker wrote: too soft")
    follow(page.get_by_role("button", name="Freeze this lot"))
    assert not Balance.objects.filter(lot=lot, job__isnull=True, condition="usable", quantity__gt=0).exists()


def close(page, site, browser):
    """A job is closed when nothing is open or the lead has decided, and its pump is built then, and not tested."""
    bag = [(row.lot_id, row.quantity) for row in Balance.objects.filter(job__job="J-3102", quantity__gt=0)]
    for job, says in (("J-3102", "Nobody has said that the pump was stripped"), ("J-3101", "under suspicion")):
        page.goto(f"{site}{reverse('close_job', args=[job])}")
        expect(page.locator("main")).to_contain_text(says)
        assert page.get_by_role("button", name=re.compile("^Close")).count() == 0
    bench = browser.new_context(has_touch=True)
    lead = bench.new_page()
    go_in(lead, site, "lead", reverse("job", args=["J-3101"]))
    lead.get_by_label("Why it may go into this pump all the same").fill("measured here: hard enough")
    with lead.expect_navigation():
        lead.get_by_role("button", name="Let J-3101 have it").click()
    bench.close()
    page.goto(f"{site}{reverse('close_job', args=['J-3101'])}")
    tap_twice(page, page.get_by_role("button", name=re.compile("^Close the parts of J-3101")), 300)
    expect(page.locator("main")).to_contain_text("Closed by clerk")
    assert dict(Job.objects.filter(job__in=["J-3101", "J-3102"]).values_list("job", "stage")) == {
        "J-3101": "built",
        "J-3102": "here",
    }
    assert not Balance.objects.filter(job__job="J-3101", quantity__gt=0).exists()
    assert [(row.lot_id, row.quantity) for row in Balance.objects.filter(job__job="J-3102", quantity__gt=0)] == bag


def receive(page, site):
    line = OrderLine.objects.open().filter(item__shelf_life_months__isnull=True).first()
    page.goto(f"{site}{reverse('receive_line', args=[line.pk])}")
    page.get_by_label("How many").first.fill("1")
    page.get_by_label("Certificate number").first.fill("C-77")
    tap_twice(page, page.get_by_role("button", name="Receive it"), 60)
    expect(page.get_by_role("status").first).to_contain_text("is received: lot")
    assert (
        Posting.objects.filter(kind="receive", movements__balance__lot__item=line.item, by__isnull=False).count() == 1
    )


def count(page, site):
    page.goto(f"{site}{reverse('counts')}?find=WA-1")
    follow(page.get_by_role("button", name="Begin a sheet of what is ticked"))
    sheet = Count.objects.latest("pk")
    line = sheet.lines.select_related("balance__lot__item").first()
    right = line.balance.quantity // ONE
    for typed in (right - 1, right):
        field = page.locator(f"#n-{line.pk}")
        field.fill(str(typed))
        page.wait_for_timeout(REST_MS)
        page.keyboard.press("Enter")
        page.keyboard.press("Enter")
        settle(page)
    line.refresh_from_db()
    assert (line.state, line.first, line.last) == ("agreed", (right - 1) * ONE, right * ONE)


def pack(page, site):
    page.goto(f"{site}{reverse('pack_kit', args=['K-E34N'])}?count=1&lives_to=2026-03-25")
    page.get_by_label("Where the kits go").select_option("K2")
    follow(page.get_by_role("button", name="Pack 1"))
    assert Posting.objects.filter(kind="pack").count() == 1


def pick_clean_work_apart(page, site):
    page.goto(f"{site}{reverse('picking')}")
    page.get_by_role("checkbox", name="Pick J-3110").check()
    follow(page.get_by_role("button", name="Start a round that is oxygen-clean"))
    expect(page.get_by_role("heading", level=1)).to_contain_text("oxygen-clean")
    expect(page.locator(".bags")).to_contain_text("ordinary parts only")
    follow(full(page))


def the_books_prove_themselves():
    call_command("check_ledger")
    assert ledger_differences() == []
    assert not Job.objects.filter(stage="tested").exclude(steps__after="tested").exists()
    assert not JobStep.objects.filter(after="tested").exists()
