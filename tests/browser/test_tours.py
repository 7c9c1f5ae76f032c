"""The walks of the README, step by step as they are written there, in a demo made and served by its commands."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import LONG_MS
from tests.served_demo import TOP, demo_site

REST_MS = 1300
PEOPLE = {"planner": "planner", "storeroom clerk": "clerk", "purchaser": "purchaser", "service lead": "lead"}
TABLET = ("clerk", "lead")
STEPS: dict[str, list] = {}


def step(who, *words):
    """Take a function for the next step of one person; ``words`` stand in the README, and are looked for there."""

    def keep(function):
        STEPS.setdefault(who, []).append((words, function))
        return function

    return keep


def read_walks():
    """Return the numbered sentences of each person."""
    chapter = (TOP / "README.md").read_text(encoding="utf-8").split("## Five minutes with each of the four")[1]
    walks = re.split(r"^\*\*The (.+?)\*\*", chapter.split("\n## ")[0], flags=re.MULTILINE)[1:]
    return {
        PEOPLE[who]: re.findall(r"^\d+\. (.+)$", text, re.MULTILINE)
        for who, text in zip(walks[::2], walks[1::2], strict=True)
    }


def tap(control):
    """Tap what books something, once it may be tapped."""
    control.page.wait_for_timeout(REST_MS)
    control.click()


def go(page, *names):
    for name in names:
        page.get_by_role("link", name=name, exact=True).first.click()


def says(page, *words):
    for one in words:
        expect(page.locator("main")).to_contain_text(one)


@step("planner", "*Today*", "4 of 5 jobs of next week can be built on their day", "a call about order PO-7102")
def planner_today(page):
    says(page, "4 of 5 jobs of next week", "What helps most is PO-7102: call about it")


@step("planner", "*Schedule*, *Easter stop*", "2 of 11 jobs can be built on their day", "it frees 4")
def planner_batch(page):
    go(page, "Schedule", "Easter stop")
    says(page, "2 of 11 jobs can be built on their day.")
    first = page.locator("section", has=page.get_by_role("heading", name="What frees most")).locator("tbody tr").first
    for one in ("PO-7102", "call about it", "J-3114, J-3116, J-3119, J-3123"):
        expect(first).to_contain_text(one)


@step("planner", "*Try a change*", "J-3111 to 20 April 2026", "J-3115 and J-3118 gain, J-3111 loses")
def planner_tries(page):
    go(page, "Schedule", "Try a change")
    page.get_by_label("Job", exact=True).select_option(value="J-3111")
    page.get_by_label("Build it on").fill("2026-04-20")
    page.get_by_role("button", name="Set both plans side by side").click()
    says(page, "J-3115 gains", "J-3118 gains", "J-3111 loses", "Nothing is stored yet.")


@step(
    "planner",
    *("*New jobs*, SKARN-64T", "X-501 to X-505", "11 May 2026, two a day", "*Set both plans side by side*"),
    *("*Put the jobs on the schedule*", "*Take it back in one step*"),
)
def planner_enters(page):
    go(page, "Schedule", "New jobs", "SKARN-64T")
    page.get_by_label("Scope").select_option("full reseal")
    page.get_by_label("Serial numbers, one a line").fill("\n".join(f"X-50{number}" for number in range(1, 6)))
    page.get_by_label("Build it on").fill("2026-05-11")
    page.get_by_label("Builds a day").fill("2")
    page.get_by_role("button", name="Set both plans side by side").click()
    tap(page.get_by_role("button", name="Put the jobs on the schedule"))
    says(page, "5 jobs put on the schedule")
    go(page, "Take it back in one step")
    tap(page.get_by_role("button", name=re.compile(r"Take upload \d+ back")))
    says(page, "every row it touched is as it was before")


@step("planner", "*Propose days*", "it proves that there are none")
def planner_proposes(page):
    go(page, "Schedule", "Propose days")
    says(page, "came out no better", "Proved best")


@step("clerk", "*Today*", "6 jobs have parts on the shelf that wait to be picked", "4 of them can be picked in full")
def clerk_today(page):
    says(page, "6 jobs of the next 10 working days have parts on the shelf", "4 of them can be picked in full")


@step("clerk", "*Picking*", "ticked these 4", "*Start a round for the ticked jobs*", "19 lines into 4 bags")
def clerk_starts(page):
    go(page, "Picking")
    assert page.locator("main input[type=checkbox]:checked").count() == 4
    tap(page.get_by_role("button", name="Start a round for the ticked jobs"))
    says(page, "0 of 19 lines booked")


@step("clerk", "*Labels of the bags*", "back to the round")
def clerk_labels(page):
    go(page, "Labels of the bags")
    says(page, "4 bags.")
    go(page, "Back to the round")


def scan(page, code):
    page.wait_for_timeout(REST_MS)
    page.get_by_label("Code of the bin, the packet or a bag").fill(code)
    page.get_by_role("button", name="Take it", exact=True).click()


@step("clerk", "`LOT OR-014-N90 NV-2402`", "nothing is booked")
def clerk_scans_wrong(page):
    scan(page, "LOT OR-014-N90 NV-2402")
    says(page, "This is OR-014-N90, lot NV-2402; line 1 wants K-CV, lot CV-402, from K1. Nothing was booked.")


@step("clerk", "`LOT K-CV CV-402` is right", "`BAG 1`, `BAG 2`, `BAG 3`", "the line is booked")
def clerk_scans_right(page):
    scan(page, "LOT K-CV CV-402")
    says(page, "is right: now scan the bags 1, 2, 3")
    for bag in (1, 2, 3):
        scan(page, f"BAG {bag}")
    says(page, "1 of 19 lines booked", "Line 2 of 19")


@step("clerk", "*Undo*", "back on the shelf", "*Storeroom*, *Movements* shows both")
def clerk_undoes(page):
    tap(page.get_by_role("button", name="Undo", exact=True))
    says(page, "0 of 19 lines booked")
    go(page, "Storeroom", "Movements")
    expect(page.get_by_role("cell", name="CV-402")).not_to_have_count(0)


@step(
    "purchaser", "2 parts have to be ordered this week, one of them late already", "10 jobs depend on one overdue line"
)
def purchaser_today(page):
    says(page, "2 parts have to be ordered this week, 1 of them late already", "1 order line is overdue, and 10 jobs")


@step("purchaser", "*Shortages*: 6 parts are short", "*2 short* beside BR-112", "J-3106 and J-3112 miss one each")
def purchaser_reads(page):
    go(page, "Shortages")
    says(page, "6 parts are short and on no order")
    page.locator("summary", has_text="5 needed − 3 from the shelf = 2 short").click()
    says(page, "J-3106: 4 needed, 1 missing", "of which kit K-E12N brings 4", "J-3112: 1 needed, 1 missing")


@step("purchaser", "*Ask suppliers*", "tick Norrvik Seals, reply by 9 March 2026", "*Make the requests*", "a workbook")
def purchaser_asks(page):
    go(page, "Ask suppliers")
    page.get_by_label("Norrvik Seals", exact=True).check()
    page.get_by_label("Reply by").fill("2026-03-09")
    tap(page.get_by_role("button", name="Make the requests"))
    says(page, "ASK-")


@step(
    "purchaser",
    *("*Orders and drafts*, *Draft orders from what is short*, *Draft the ticked lines*", "3 suppliers"),
)
def purchaser_drafts(page):
    go(page, "Purchasing", "Orders and drafts", "Draft orders from what is short")
    tap(page.get_by_role("button", name="Draft the ticked lines"))
    says(page, "3 drafts wait to be sent")


@step("purchaser", "Open the one with Norrvik Seals", "say that it was sent", "3 parts")
def purchaser_sends(page):
    page.locator("tr", has_text="drafted").filter(has_text="Norrvik Seals").get_by_role("link").first.click()
    tap(page.get_by_role("button", name="It was sent"))
    go(page, "Shortages")
    says(page, "3 parts are short and on no order")


@step("purchaser", "*Lines to ask about*, PO-7102: it frees 5 jobs", "*Write down a call*", "to call again")
def purchaser_calls(page):
    go(page, "Purchasing", "Lines to ask about")
    row = page.locator("tr", has_text="PO-7102")
    expect(row.get_by_role("cell", name="5", exact=True)).to_be_visible()
    row.get_by_role("link", name="PO-7102").click()
    page.get_by_text("Write down a call").click()
    page.get_by_label("Who was asked").fill("the desk")
    page.get_by_label("What was said").fill("on the lorry tomorrow")
    page.get_by_label("Next call on").fill("2026-03-06")
    tap(page.get_by_role("button", name="Keep the call"))
    says(page, "on the lorry tomorrow")


@step("lead", "*Today*, J-3102", "it may not be opened yet", "*Arrival*", "no paper", "agreed with nobody")
def lead_today(page):
    go(page, "J-3102")
    says(page, "ready to strip as far as its parts go; it may not be opened yet")
    go(page, "Arrival")
    says(page, "no paper was seen", "is agreed with nobody")


@step("lead", "*Let it pass, signed*, for both", "Now it may be opened")
def lead_signs(page):
    for reason in ("drained and flushed here", "the customer’s order names it"):
        page.get_by_text("Let it pass, signed").first.click()
        page.get_by_label("Why it may pass all the same").first.fill(reason)
        tap(page.get_by_role("button", name="I answer for it").first)
        page.wait_for_load_state("networkidle")
    says(page, "may be opened")


@step("lead", "*Strip report*: 19 positions", "2.2 mm", "2.4 mm", "*Renew* is proposed")
def lead_measures(page):
    go(page, "Strip report")
    says(page, "19 positions still to be looked at")
    page.get_by_label("Measured: thickness at least 2.4 mm").first.fill("2.2 mm")
    page.get_by_label("What was found").first.click()
    says(page, "Proposed: renew: 2.2 mm is below 2.4 mm")


@step("lead", "*Store* shows the proposal, *Store* again keeps it", "*Take it back*")
def lead_stores(page):
    tap(page.locator("#store"))
    says(page, "nothing was stored yet")
    tap(page.locator("#store"))
    expect(page.get_by_role("region", name="The job before and after")).to_contain_text("WB-6")
    tap(page.get_by_role("button", name="Take it back"))
    says(page, "Taken back: 1 position as before.")


def test_every_step_of_the_readme_is_taken_here():
    walks = read_walks()
    assert list(walks) == list(STEPS)
    for who, sentences in walks.items():
        assert len(sentences) == len(STEPS[who]), who
        for sentence, (words, function) in zip(sentences, STEPS[who], strict=True):
            assert [one for one in words if one not in sentence] == [], function.__name__


@pytest.mark.parametrize("order", [list(STEPS), list(STEPS)[::-1]], ids=["as they stand", "backwards"])
def test_walks_come_out_as_the_readme_says_after_each_other(browser, order):
    with demo_site() as address:
        for who in order:
            size = {"width": 1112, "height": 834} if who in TABLET else {"width": 1280, "height": 900}
            page = browser.new_context(viewport=size).new_page()
            page.set_default_timeout(LONG_MS)
            said = []
            page.on("console", lambda message, said=said: said.append(message.text))
            page.goto(f"{address}/sign-in/")
            page.get_by_label("Name").fill(who)
            page.get_by_label("Password").fill(f"{who}-of-the-demo")
            page.get_by_role("button", name="Sign in").click()
            for _, take in STEPS[who]:
                take(page)
            assert [words for words in said if "409" not in words and "422" not in words] == []
            page.context.close()
