"""The strip report as it is written on the page of a job, position by position."""

import re
from decimal import Decimal

import pytest
from django.contrib.auth.models import Group

from kits.catalog.models import Item, StructureLine
from kits.people.models import User
from kits.people.roles import ADMINISTRATOR, PLANNER, ROLES, SERVICE_LEAD
from kits.planning.sheets import schedule
from kits.schedule.models import Batch, Job, JobStep, Verdict
from kits.service.models import WearLimit
from kits.web.views.jobs import strip_report
from tests.kits.web.hands import key_on
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
MAY_LOOK = {PLANNER.name, SERVICE_LEAD.name, ADMINISTRATOR.name}
PAGE, REPORT = "/jobs/J-1/", "/strip-report/J-1/"


@pytest.fixture
def sign_in(small_shop, client):
    def sign_in(role):
        person, _ = User.objects.get_or_create(username=role.split()[-1].lower())
        person.groups.set([Group.objects.get(name=role)])
        client.force_login(person)
        return client

    return sign_in


@pytest.fixture
def lead(sign_in):
    return sign_in("Service lead")


def sections_of(client):
    """The sections of the strip report: address and name of each."""
    return sections_on(client.get(REPORT))


def sections_on(answer):
    ways = re.search(r'(?s)<nav class="section-ways".*?</nav>', answer.content.decode()).group()
    return [
        (address, " ".join(name.split()))
        for address, name in re.findall(r'(?s)<a\s+href="([^"]+)"[^>]*>(.*?) <span', ways)
    ]


class Section:
    """The form of one section as the page shows it, to be filled in and sent."""

    def __init__(self, client, name, page=None):
        if page is None:
            page = client.get(REPORT)  # which shows the first section
            (_, first), *others = sections_on(page)
            page = page if first == name else next(address for address, told in others if told == name)
        html = (client.get(page) if isinstance(page, str) else page).content.decode()
        form = re.search(r'(?s)<form method="post" action="/strip-report/J-1/".*?</form>', html).group()
        self.client = client
        self.rows = list(dict.fromkeys(re.findall(r'<input type="radio" name="(v[0-9a-f]+)"', form)))
        self.fields = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form))
        self.fields |= dict(re.findall(r'<input type="text" name="([^"]+)" value="([^"]*)"', form))
        self.fields |= dict.fromkeys(re.findall(r'<input type="checkbox" name="([^"]+)"[^>]* checked', form), "on")
        self.fields |= dict(re.findall(r'<input type="radio" name="([^"]+)" value="(\w*)"[^>]* checked', form))

    def send(self, rest=False, **rows):
        """Rows by number: ``row_1="renew"``, ``found_1="scored"``."""
        said = dict(self.fields)
        for name, value in rows.items():
            word, number = name.split("_")
            letter = {"row": "v", "found": "f", "measured": "m", "alone": "a"}[word]
            said[letter + self.rows[int(number) - 1][1:]] = value
        return self.client.post(REPORT, said | ({"rest": "good"} if rest else {}))


def verdicts():
    return {(row.where, row.verdict, row.found, row.measured) for row in Verdict.objects.all()}


def test_each_position_of_a_section_has_a_row_of_its_own(lead):
    sheet = sheet_of(lead.get(PAGE))
    assert "Strip report 4 positions still to be looked at." in sheet
    assert "pump 1 / E-1 2 : 2 of 2 still to be looked at" in sheet
    report = sheet_of(lead.get(REPORT))
    assert "pump 1 / E-1 1 2 of 2 to look at pump 1 / E-1 2 2 of 2 to look at" in report
    assert report.count("Good Renew Missing Rework Not as listed Not seen") == 2
    assert "2 CK-1 1 / ball BA-1 ball" in report
    (first, _), _ = sections_of(lead)
    assert sheet_of(lead.get(first)) == report


def test_verdicts_are_written_with_what_was_found_and_measured(lead):
    answer = Section(lead, "pump 1 / E-1 1").send(row_1="renew", found_1="scored", measured_1="12.98 mm", row_2="keep")
    assert answer.status_code == 302
    assert verdicts() == {
        ("pump 1 / E-1 1 / CK-1 1 / ball", "renew", "scored", "12.98 mm"),
        ("pump 1 / E-1 1 / CK-1 2 / ball", "keep", "", ""),
    }
    assert "pump 1 / E-1 1: 2 verdicts written." in sheet_of(lead.get(REPORT))
    sheet = sheet_of(lead.get(PAGE))
    assert "pump 1 / E-1 1 : all 2 looked at" in sheet
    assert "Strip report 2 positions still to be looked at." in sheet


def test_sections_show_what_was_found_once_somebody_looked(lead):
    """Four balls: one pitted, one missing, one good, one that nobody has seen."""
    before = sheet_of(lead.get("/sections/J-1/"))
    assert "4 looked at, 35 in 100 renewed" in before
    Section(lead, "pump 1 / E-1 1").send(row_1="renew", found_1="pitted", row_2="keep")
    Section(lead, "pump 1 / E-1 2").send(row_1="missing")
    after = sheet_of(lead.get("/sections/J-1/"))
    assert ("4 1 × renewed (pitted); 1 × missing, replaced; 1 × good, goes back in; 1 × still to be looked at") in after
    assert "35 in 100" not in after


def test_position_that_follows_its_group_says_so(lead):
    """Both balls of a check valve's end stand or fall together: nobody looked at the second, the third was good."""
    StructureLine.objects.filter(child__part_number="BA-1").update(renew_together="balls", renew_together_over="pump")
    Section(lead, "pump 1 / E-1 1").send(row_1="renew", found_1="pitted", row_2="keep")
    sheet = sheet_of(lead.get(PAGE))
    assert "good, but renewed with its group" in sheet
    sections = sheet_of(lead.get("/sections/J-1/"))
    assert "4 1 × renewed (pitted); 1 × good, but renewed with its group; 2 × renewed with its group" in sections
    assert "Every position has been looked at." in sheet
    assert "pump 1 / E-1 2 : all 2 looked at" in sheet
    report = sheet_of(lead.get(REPORT))
    assert "CK-1 2 / ball BA-1 ball Goes with CK-1 1 / ball: renewed with it." in report
    assert "Stands or falls together with CK-1 2 / ball, E-1 2 / CK-1 1 / ball and E-1 2 / CK-1 2 / ball." in report


def test_a_position_leaves_its_group_with_a_reason(lead):
    StructureLine.objects.filter(child__part_number="BA-1").update(renew_together="balls", renew_together_over="pump")
    answer = Section(lead, "pump 1 / E-1 1").send(row_1="renew", found_1="pitted", row_2="keep", alone_2="on")
    assert answer.status_code == 409
    assert "CK-1 2 / ball is taken out of its group, and nothing says why" in sheet_of(answer)
    assert not verdicts()
    said = {"row_1": "renew", "found_1": "pitted", "row_2": "keep", "alone_2": "on", "found_2": "new last month"}
    assert Section(lead, "pump 1 / E-1 1").send(**said).status_code == 302
    assert Verdict.objects.get(verdict="keep").with_group is False
    report = sheet_of(lead.get(REPORT))
    assert "CK-1 2 / ball BA-1 ball Taken out of its group, which is CK-1 1 / ball" in report
    assert "good, goes back in (new last month)" in sheet_of(lead.get("/sections/J-1/"))
    assert "BA-1 good, goes back in new last month" in sheet_of(lead.get(PAGE))
    again = Section(lead, "pump 1 / E-1 1")
    del again.fields["a" + again.rows[1][1:]]
    assert again.send().status_code == 302
    assert Verdict.objects.get(verdict="keep").with_group is None


def limit_ball(**facts):
    item, assembly = (Item.objects.get(part_number=number) for number in ("BA-1", "CK-1"))
    return WearLimit.objects.create(
        item=item, assembly=assembly, measured="diameter", unit="mm", source="bench sheet 4", **facts
    )


def test_a_measured_value_proposes_the_verdict_and_stores_none(lead):
    """A limit of 11.09 mm is invented; 0.4366 in are 11.08964 mm, because an inch is 25.4 mm (NIST SP 811, B.8)."""
    limit_ball(least=Decimal("11.09"))
    section = Section(lead, "pump 1 / E-1 1")
    address = f"{REPORT}?section={section.fields['section']}&m{section.rows[0][1:]}=0.4366 in"
    assert "Proposed: renew: 0.4366 in is below 11.09 mm" in sheet_of(lead.get(address))
    answer = section.send(measured_1="0.4366 in", row_2="keep")
    assert answer.status_code == 422
    assert "What was measured proposes a verdict, and nothing was stored yet" in sheet_of(answer)
    assert not verdicts()
    assert Section(lead, "", answer).send().status_code == 302
    row = Verdict.objects.get(verdict="renew")
    assert (row.measured, row.limit, row.unit) == ("0.4366 in", "at least 11.09", "mm")
    assert Verdict.objects.get(verdict="keep").limit == ""


def test_of_a_long_section_stands_open_what_is_still_to_be_looked_at_or_looked_at_anew(lead, monkeypatch):
    def folds(answer):
        html = answer.content.decode()
        return re.findall(r"<details class=\"prints\"( open)?><summary>1", html)

    section = Section(lead, "pump 1 / E-1 1")
    assert folds(lead.get(REPORT)) == []
    monkeypatch.setattr(strip_report, "MOST_UNFOLDED", 1)
    assert folds(lead.get(REPORT)) == [" open", ""]
    limit_ball(least=Decimal("11.09"))
    answer = section.send(measured_2="11 mm")
    assert answer.status_code == 422
    assert folds(answer) == [" open", " open"], "what is proposed is seen before it is stored"
    section.send(row_1="keep")
    assert folds(lead.get(REPORT)) == ["", " open"]


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("11.10", "Proposed: good: 11.1 mm is within the limit, diameter at least 11.09, at most 11.2 mm"),
        ("11,3 mm", "Proposed: renew: 11.3 mm is above 11.2 mm"),
        ("11.1 g", "The unit 'g' does not measure what the stock unit 'mm' measures"),
        ("worn", "“worn” is not a number with a unit: write it as 12.98 mm."),
    ],
)
def test_what_was_measured_is_compared_or_says_why_not(lead, typed, says):
    limit_ball(least=Decimal("11.09"), most=Decimal("11.2"))
    section = Section(lead, "pump 1 / E-1 1")
    address = f"{REPORT}?section={section.fields['section']}&m{section.rows[0][1:]}={typed}"
    assert says in sheet_of(lead.get(address))


def test_what_was_measured_may_be_overruled(lead):
    limit_ball(least=Decimal("11.09"))
    assert Section(lead, "pump 1 / E-1 1").send(row_1="keep", measured_1="11.0").status_code == 302
    assert verdicts() == {("pump 1 / E-1 1 / CK-1 1 / ball", "keep", "", "11.0")}


def test_the_limit_of_the_narrowest_place_counts(lead):
    limit_ball(least=Decimal("11.09"))
    anywhere = limit_ball(least=Decimal("10"), position="ball")
    assert "Measured: diameter at least 10 mm" in sheet_of(lead.get(REPORT))
    anywhere.delete()
    assert "Measured: diameter at least 11.09 mm" in sheet_of(lead.get(REPORT))


def take_back(client):
    html = client.get(REPORT).content.decode()
    address = re.search(r'action="(/strip-back/\d+/J-1/)"', html).group(1)
    return address, {"key": key_on(client, REPORT, address), "section": ""}


def test_the_last_writing_is_taken_back_in_one_step(lead):
    Section(lead, "pump 1 / E-1 1").send(row_1="renew", found_1="scored", measured_1="11 mm")
    Section(lead, "pump 1 / E-1 1").send(rest=True, row_1="keep", found_1="", measured_1="")
    assert len(verdicts()) == 2
    address, said = take_back(lead)
    assert [lead.post(address, said).status_code for _ in range(2)] == [302, 302], "a double tap takes back once"
    assert verdicts() == {("pump 1 / E-1 1 / CK-1 1 / ball", "renew", "scored", "11 mm")}
    page = lead.get(REPORT)
    assert "Taken back 2 positions" in sheet_of(page)
    assert "/strip-back/" not in page.content.decode()


def test_what_was_overtaken_is_not_taken_back(lead, sign_in):
    Section(lead, "pump 1 / E-1 1").send(row_1="renew")
    address, said = take_back(lead)
    Section(sign_in("Planner"), "pump 1 / E-1 1").send(row_2="keep")
    answer = lead.post(address, said)
    assert answer.status_code == 409
    assert "Something else was written on the strip report of J-1 since" in sheet_of(answer)
    assert len(verdicts()) == 2


def test_one_job_is_not_taken_back_with_the_number_of_another(lead):
    Section(lead, "pump 1 / E-1 1").send(row_1="renew")
    address, said = take_back(lead)
    assert lead.post(address.replace("J-1", "J-2"), said).status_code == 409
    assert len(verdicts()) == 1


def test_what_a_writing_changes_stands_on_the_page_at_once(lead):
    """Three balls lie there at no cost known but the offer of 3.00; J-1 takes one, and J-2 asks for none for sure."""
    Section(lead, "pump 1 / E-1 1").send(row_1="renew", row_2="renew")
    told = sheet_of(lead.get(REPORT))
    assert "Written last 2 positions" in told
    assert "BA-1 ball none 2" in told
    assert re.search(r"still to be issued ([\d.]+) EUR .*?([\d.]+) EUR", told)
    before, now = re.search(r"still to be issued ([\d.]+) EUR .*?([\d.]+) EUR", told).groups()
    assert Decimal(now) - Decimal(before) == 6
    assert "Nobody else is touched." in told


def test_whoever_loses_a_piece_by_it_is_named(lead):
    Verdict.objects.create(
        job=Job.objects.get(job="J-2"),
        where="pump 1 / E-1 1 / CK-1 1 / ball",
        item=Item.objects.get(part_number="BA-1"),
        verdict="renew",
    )
    Section(lead, "pump 1 / E-1 1").send(row_1="renew", row_2="renew")
    other = next(address for address, name in sections_of(lead) if name == "pump 1 / E-1 2")
    Section(lead, "", other).send(row_1="renew")
    assert "J-2 loses 1 of BA-1 from the shelf" in sheet_of(lead.get(REPORT))
    address, said = take_back(lead)
    lead.post(address, said)
    assert "J-2 gains 1 of BA-1 on the shelf" in sheet_of(lead.get(REPORT))


def test_reader_sees_who_followed_whom(lead, sign_in):
    """Whoever may not write the report has it as a list; a job of the past has its verdicts alone."""
    StructureLine.objects.filter(child__part_number="BA-1").update(
        renew_together="balls", renew_together_over="assembly"
    )
    Section(lead, "pump 1 / E-1 1").send(row_1="renew", found_1="pitted", row_2="renew")
    Verdict.objects.filter(found="").update(with_group=True)
    clerk = sign_in("Storeroom clerk")
    sheet = sheet_of(clerk.get(PAGE))
    assert "pump 1 / E-1 1 / CK-1 1 / ball BA-1 renewed pitted" in sheet
    assert "pump 1 / E-1 1 / CK-1 2 / ball BA-1 renewed" in sheet
    Job.objects.filter(job="J-1").update(stage="shipped")
    assert "pump 1 / E-1 1 / CK-1 2 / ball BA-1 renewed with its group" in sheet_of(clerk.get(PAGE))


def test_a_pump_on_which_a_verdict_is_given_has_been_stripped(lead):
    Section(lead, "pump 1 / E-1 1").send(row_1="keep")
    step = JobStep.objects.get()
    assert (Job.objects.get(job="J-1").stage, step.before, step.after, step.by.username) == (
        "stripped", "expected", "stripped", "lead"
    )  # fmt: skip
    Section(lead, "pump 1 / E-1 2").send(row_1="keep")
    assert JobStep.objects.count() == 1


def test_all_the_rest_of_a_section_is_good_with_one_button(lead):
    assert Section(lead, "pump 1 / E-1 1").send(rest=True, row_2="missing").status_code == 302
    assert {(where, said) for where, said, *_ in verdicts()} == {
        ("pump 1 / E-1 1 / CK-1 1 / ball", "keep"),
        ("pump 1 / E-1 1 / CK-1 2 / ball", "missing"),
    }


def test_a_verdict_is_changed_and_taken_back(lead):
    Section(lead, "pump 1 / E-1 1").send(row_1="renew", found_1="scored", row_2="keep")
    Section(lead, "pump 1 / E-1 1").send(row_1="keep", found_1="", row_2="")
    assert verdicts() == {("pump 1 / E-1 1 / CK-1 1 / ball", "keep", "", "")}
    kept = Verdict.history.order_by("history_id").values_list("history_type", "verdict", "history_user__username")
    assert [row for row in kept if row[2]] == [
        ("+", "renew", "lead"), ("+", "keep", "lead"), ("~", "keep", "lead"), ("-", "keep", "lead"),
    ]  # fmt: skip


def test_what_somebody_else_wrote_meanwhile_is_not_written_over(lead):
    mine, second = Section(lead, "pump 1 / E-1 1"), Section(lead, "pump 1 / E-1 1")
    Section(lead, "pump 1 / E-1 1").send(row_1="renew", found_1="scored")
    assert mine.send(row_2="keep").status_code == 302, "another row is no matter"
    answer = second.send(row_1="keep", found_1="as new")
    assert answer.status_code == 409
    assert "Somebody else wrote of pump 1 / E-1 1 / CK-1 1 / ball meanwhile: it is renew by now." in sheet_of(answer)
    assert ("pump 1 / E-1 1 / CK-1 1 / ball", "renew", "scored", "") in verdicts()
    assert 'value="as new"' in answer.content.decode()


def test_whoever_was_overtaken_sees_what_stands_there_and_may_write_again(lead):
    mine = Section(lead, "pump 1 / E-1 1")
    Section(lead, "pump 1 / E-1 1").send(row_1="renew", row_2="missing", found_2="gone")
    answer = mine.send(row_1="keep")
    again = Section(lead, "pump 1 / E-1 1", answer)
    assert again.send().status_code == 302
    assert {(where[-8:], said, found) for where, said, found, _ in verdicts()} == {
        ("1 / ball", "keep", ""),
        ("2 / ball", "missing", "gone"),
    }


def test_a_second_tap_writes_nothing_twice(lead):
    section = Section(lead, "pump 1 / E-1 1")
    assert [section.send(row_1="renew").status_code for _ in range(2)] == [302, 302]
    assert len(verdicts()) == JobStep.objects.count() == 1


def test_what_was_found_needs_a_verdict_and_stays_typed(lead):
    answer = Section(lead, "pump 1 / E-1 1").send(found_1="scored")
    assert answer.status_code == 409
    assert "What was found on pump 1 / E-1 1 / CK-1 1 / ball has no verdict" in sheet_of(answer)
    assert 'value="scored"' in answer.content.decode()
    answer = Section(lead, "pump 1 / E-1 1").send(row_1="throw away")
    assert answer.status_code == 422
    assert "“throw away” is no verdict: choose one from the list." in sheet_of(answer)
    assert not verdicts()


def test_a_verdict_that_a_list_spelled_without_the_pump_is_the_same_position(lead):
    job, other = Job.objects.get(job="J-1"), Job.objects.get(job="J-2")
    Section(lead, "pump 1 / E-1 1").send(row_1="keep")
    Verdict.objects.update(where="E-1 1 / CK-1 1 / ball", folded="e-1 1 / ck-1 1 / ball")
    assert Section(lead, "pump 1 / E-1 1").send(row_1="renew").status_code == 302
    assert verdicts() == {("E-1 1 / CK-1 1 / ball", "renew", "", "")}
    assert (job.verdicts.count(), other.verdicts.count()) == (1, 0)


def test_the_strip_report_of_a_built_pump_stands(lead):
    section = Section(lead, "pump 1 / E-1 1")
    Job.objects.filter(job="J-1").update(stage="built")
    answer = section.send(row_1="keep")
    assert answer.status_code == 409
    assert "has no such section any more" in sheet_of(answer)
    assert not verdicts()


@pytest.mark.parametrize("role", [role.name for role in ROLES])
def test_who_may_write_a_strip_report(lead, sign_in, role):
    section = Section(lead, "pump 1 / E-1 1")
    section.client = sign_in(role)
    allowed = role in MAY_LOOK
    assert ("Write the strip report" in sheet_of(section.client.get(PAGE))) is allowed
    assert ("Store what was tapped" in sheet_of(section.client.get(REPORT))) is allowed
    assert "CK-1 1 / ball BA-1" in sheet_of(section.client.get(REPORT))
    assert section.send(row_1="keep").status_code == (302 if allowed else 403)
    assert len(verdicts()) == allowed


def test_the_verdicts_of_an_unknown_job_or_section_go_nowhere(lead):
    assert lead.post("/strip-report/NO-SUCH/", {"key": "1"}).status_code == 404
    assert lead.post(REPORT, {"section": "no such"}).status_code == 409


def test_an_unknown_section_and_a_job_without_positions_lead_to_the_job(lead):
    assert lead.get(f"{REPORT}?section=none").status_code == 404
    answer = lead.get("/strip-report/J-9/")
    assert answer.status_code == 200
    assert "J-9 opens nothing that is looked at, or asks for no parts any more" in sheet_of(answer)


def test_sections_and_kits_stand_on_a_sheet_of_their_own(lead):
    told, apart = sheet_of(lead.get(PAGE)), sheet_of(lead.get("/sections/J-1/"))
    assert "Running product" not in told
    assert "Running product" in apart
    assert re.search(r"\d+ lines in \d+ assembl", told)


def test_schedule_shows_some_batches_at_a_time_and_names_them_all(lead, monkeypatch):
    monkeypatch.setattr(schedule, "JOBS_A_PAGE", 1)
    Job.objects.filter(job="J-2").update(batch=Batch.objects.create(name="summer"))
    first, second = sheet_of(lead.get("/schedule/")), sheet_of(lead.get("/schedule/?page=2"))
    assert ("J-1" in first, "J-2" in first) == (True, False)
    assert ("J-1" in second, "J-2" in second) == (False, True)
    assert "spring summer" in first
    assert "Later batches" in first
    assert "Earlier batches" in second
    assert "2 jobs in 2 batches" in second
