"""A day that a list moves is kept with its job, by which list, who loaded it and when; jobs that it brings are not."""

import pytest
from django.utils import timezone

from kits.exchange.actions import keep_upload, load_upload
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.undo.actions import undo_upload
from kits.schedule.models import Job, JobChange
from tests.kits.persons import person_of
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db
MOVED = "job,pump,scope,build_date,batch,serial,stage\nJ-1,P-1,full,2026-03-18,spring,S-77,expected\n"
NEW = "J-50,P-1,full,2026-03-25,spring,,expected\n"


def test_a_day_moved_by_a_list_has_the_list_for_its_reason(db):
    load_small()
    planner = person_of("Planner")
    file = SheetFile("march/schedule.csv", (MOVED + NEW).encode())
    upload = keep_upload(files=[file], by=planner, at=timezone.now())
    load_upload(upload=upload, by=planner, at=timezone.now())
    assert Job.objects.filter(job="J-50").exists()
    change = JobChange.objects.get()
    assert (change.job.job, change.build_on_before.day, change.build_on.day) == ("J-1", 16, 18)
    assert (change.why, change.by) == ("by list march/schedule.csv", planner)
    undo_upload(upload=upload, by=planner, at=timezone.now())
    assert JobChange.objects.first().why == f"upload {upload.pk} was taken back"
