"""Naming a finding on a job and taking it back."""

from datetime import date

import pytest

from kits.catalog.caching.revisions import read_marks
from kits.catalog.models import FindingRule, Item, ScopeSection
from kits.schedule.actions import add_finding, remove_finding
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Finding, Job

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 4)


@pytest.fixture
def job():
    pump, end = (
        Item.objects.create(part_number=number, description=number, kind=kind, stock_unit="each")
        for number, kind in (("P", "pump"), ("E-1", "assembly"))
    )
    ScopeSection.objects.create(pump=pump, scope="full", section=end, how_many=2)
    FindingRule.objects.create(finding="metal in the oil", assembly=end, effect="renew")
    return Job.objects.create(job="J-1", pump=pump, scope="Full", build_on=date(2026, 3, 16))


def name(job, finding="metal in the oil", section="", note=""):
    return add_finding(job=job, finding=finding, section=section, found_on=DAY, note=note)


def test_a_finding_is_stored_as_the_rules_spell_it(job):
    before = read_marks()
    row = name(job, "Metal in  the OIL", "e-1", " a thimbleful ")
    assert (row.finding, row.section.part_number) == ("metal in the oil", "E-1")
    assert (row.found_on, row.note) == (DAY, "a thimbleful")
    assert read_marks() != before, "kept plans are out of date"


def test_all_sections_and_one_section_are_two_findings(job):
    name(job)
    name(job, section="E-1")
    assert Finding.objects.count() == 2


@pytest.mark.parametrize("section", ["", "E-1"])
def test_the_same_finding_is_not_named_twice(job, section):
    name(job, section=section)
    with pytest.raises(ScheduleRefusal, match="has the finding “metal in the oil” there already"):
        name(job, "METAL in the oil", section)
    assert Finding.objects.count() == 1


def test_a_finding_without_a_rule_is_refused(job):
    with pytest.raises(ScheduleRefusal, match=r"finding “rust” means; known are: metal in the oil\..* FindingRules"):
        name(job, "rust")


def test_a_section_that_the_job_does_not_open_is_refused(job):
    with pytest.raises(ScheduleRefusal, match="opens no section “E-2”; it opens: E-1"):
        name(job, section="E-2")


def test_a_finding_is_taken_back_where_it_was_named(job):
    name(job)
    name(job, section="E-1")
    before = read_marks()
    remove_finding(job=job, finding="Metal in the oil", section="e-1")
    assert [row.section for row in Finding.objects.all()] == [None]
    remove_finding(job=job, finding="metal in the oil", section="")
    assert not Finding.objects.exists()
    remove_finding(job=job, finding="metal in the oil", section="")
    assert read_marks() != before
