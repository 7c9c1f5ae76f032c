"""If-Match: rows are stored only if the list is as it was read, however often and in however many steps they come."""

import pytest

from kits.exchange.models import Upload
from kits.schedule.models import Job
from tests.kits.api.test_writing import job_row

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("small_shop")]
SCHEDULE = "/lists/Schedule"


@pytest.fixture
def planner(program_of):
    return program_of("Planner")


def priority():
    return Job.objects.get(job="J-1").priority


def test_what_was_stored_is_not_called_changed_when_it_is_sent_again(planner):
    mark, sent = planner.get(SCHEDULE).headers["ETag"], job_row(planner, priority=2)
    first = planner.post(f"{SCHEDULE}?load=true", sent, key="again-0001", If_Match=mark)
    again = planner.post(f"{SCHEDULE}?load=true", sent, key="again-0001", If_Match=mark)
    assert (first.status_code, first.json()["state"]) == (201, "loaded")
    assert (again.status_code, again.json()) == (201, first.json())


@pytest.mark.parametrize("said", ["0123abcd", "W/0123abcd", "", ","])
def test_a_condition_that_names_no_tag_is_refused(planner, said):
    answer = planner.post(f"{SCHEDULE}?load=true", job_row(planner, priority=2), key="no-tag-001", If_Match=said)
    assert (answer.status_code, "If-Match" in answer.json()["detail"]) == (422, True)
    assert priority() == 5
    assert not Upload.objects.exists()


def test_of_several_tags_one_is_enough(planner):
    mark, sent = planner.get(SCHEDULE).headers["ETag"], job_row(planner, priority=2)
    other = planner.post(f"{SCHEDULE}?load=true", sent, key="several-01", If_Match='"older", "oldest"')
    assert other.status_code == 412
    assert planner.post(f"{SCHEDULE}?load=true", sent, key="several-02", If_Match=f'"older", {mark}').status_code == 201


def test_any_state_will_do_where_the_condition_is_a_star(planner):
    sent = job_row(planner, priority=2)
    assert planner.post(f"{SCHEDULE}?load=true", sent, key="star-00001", If_Match="*").status_code == 201


def test_the_condition_of_rows_that_were_only_checked_is_asked_again_when_they_are_loaded(planner):
    mark = planner.get(SCHEDULE).headers["ETag"]
    said = planner.post(SCHEDULE, job_row(planner, priority=2), key="later-0001", If_Match=mark).json()
    assert planner.post(f"{SCHEDULE}?load=true", job_row(planner, priority=4), key="later-0002").status_code == 201
    late = planner.post(f"/uploads/{said['upload']}/load", {})
    assert (late.status_code, late.json()["title"]) == (412, "Changed meanwhile")
    assert priority() == 4
    mark = planner.get(SCHEDULE).headers["ETag"]
    said = planner.post(SCHEDULE, job_row(planner, priority=3), key="later-0003", If_Match=mark).json()
    for _ in range(2):
        assert planner.post(f"/uploads/{said['upload']}/load", {}).json()["state"] == "loaded"
    assert priority() == 3
