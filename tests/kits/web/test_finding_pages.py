"""Findings on the sheet of a job, on the small shop: two ends, in each two checks with a ball that is looked at."""

import pytest
from django.contrib.auth.models import Group

from bom.values import ONE
from kits.catalog.models import FindingRule, Item
from kits.people.models import User
from kits.people.roles import ROLES
from kits.schedule.models import Finding, Job
from kits.web.request_keys import new_key
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
MAY_NAME = {role.name for role in ROLES if "schedule" in role.works_in}


@pytest.fixture
def rules(small_shop):
    end, check, ball, seat = (Item.objects.get(part_number=number) for number in ("E-1", "CK-1", "BA-1", "SE-1"))
    FindingRule.objects.create(finding="metal in the oil", assembly=check, effect="renew", item=ball)
    FindingRule.objects.create(finding="bore honed", assembly=end, effect="add", item=seat, quantity=2 * ONE)


def name(client, finding="metal in the oil", section="", note=""):
    said = {"finding": finding, "section": section, "note": note}
    return client.post("/findings/add/J-1/", said, follow=True)


def test_a_named_finding_stands_on_the_sheet_and_is_planned(rules, reader):
    before = sheet_of(reader.get("/jobs/J-1/"))
    assert "Nothing has been named on this job." in before
    sheet = sheet_of(name(reader, note="a thimbleful"))
    assert "metal in the oil all that are opened renews BA-1 in CK-1 4 Mar 2026 a thimbleful" in sheet
    rows = sheet_of(reader.get("/strip-report/J-1/"))
    assert rows.count("Renewed anyhow: metal in the oil") == 2, "two check valves in the section that is shown"
    assert "Every position has been looked at." in sheet
    sections = sheet_of(reader.get("/sections/J-1/"))
    assert "renewed, because of finding 'metal in the oil'" in sections
    assert "looked at, 35 in 100" not in sections
    name(reader, "bore honed", "E-1")
    assert "bore honed E-1 adds 2 of SE-1 to each E-1" in sheet_of(reader.get("/jobs/J-1/"))


def test_where_the_number_comes_from_names_the_finding(rules, reader):
    name(reader)
    name(reader, "bore honed")
    assert "1 per CK-1 × 2 CK-1 per E-1 × 2 E-1 × 1 pump = 4, because of finding 'metal in the oil'" in sheet_of(
        reader.get("/parts/BA-1/")
    )
    assert "because of finding 'bore honed'" in sheet_of(reader.get("/parts/SE-1/"))


def test_a_finding_is_taken_back(rules, reader):
    name(reader)
    sheet = sheet_of(
        tap(
            reader,
            "/findings/remove/J-1/",
            {"finding": "metal in the oil", "section": ""},
            on="/jobs/J-1/",
            follow=True,
        )
    )
    assert "Nothing has been named on this job." in sheet
    assert not Finding.objects.exists()


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"finding": ""}, "No finding was chosen"),
        ({"finding": "rust"}, "Nothing says what the finding “rust” means"),
        ({"section": "CK-1"}, "opens no section “CK-1”"),
        ({"note": "x" * 501}, "A note has at most 500 characters"),
    ],
)
def test_what_cannot_be_is_refused_in_words(rules, reader, said, words):
    assert words in sheet_of(name(reader, **said))
    assert not Finding.objects.exists()


def test_a_finding_that_no_longer_means_anything_is_noticed(rules, reader):
    name(reader)
    FindingRule.objects.all().delete()
    assert "The finding 'metal in the oil' on J-1 changes nothing" in sheet_of(reader.get("/jobs/J-1/"))


def test_a_shipped_job_shows_what_was_found_on_it(rules, reader):
    Finding.objects.create(job=Finding.job.field.related_model.objects.get(job="J-9"), finding="metal in the oil")
    assert "metal in the oil" in sheet_of(reader.get("/jobs/J-9/"))


@pytest.mark.parametrize("role", [role.name for role in ROLES])
def test_only_those_who_work_in_the_schedule_name_findings(rules, client, role):
    person = User.objects.create_user("somebody")
    person.groups.add(Group.objects.get(name=role))
    client.force_login(person)
    Finding.objects.create(job=Finding.job.field.related_model.objects.get(job="J-2"), finding="bore honed")
    allowed = role in MAY_NAME
    assert (name(client).status_code == 200) is allowed
    assert ("/findings/add/J-2/" in client.get("/jobs/J-2/").content.decode()) is allowed
    assert ("/findings/remove/J-2/" in client.get("/jobs/J-2/").content.decode()) is allowed
    key = new_key("no finding", Job.objects.get(job="J-2").pk, "bore honed", "")
    client.post("/findings/remove/J-2/", {"key": key, "finding": "bore honed", "section": ""})
    assert Finding.objects.filter(job__job="J-2").exists() is not allowed


def test_an_unknown_job_leads_nowhere(rules, reader):
    assert reader.post("/findings/add/J-99/", {"finding": "bore honed"}).status_code == 404


def test_a_finding_that_was_named_anew_is_not_taken_back_by_the_old_request(rules, reader):
    name(reader)
    said = {"finding": "metal in the oil", "section": ""}
    said["key"] = key_on(reader, "/jobs/J-1/", "/findings/remove/J-1/", **said)
    reader.post("/findings/remove/J-1/", said)
    name(reader)
    reader.post("/findings/remove/J-1/", said)
    assert Finding.objects.count() == 1
