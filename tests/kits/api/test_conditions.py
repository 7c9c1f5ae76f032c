"""If-Match: rows are stored only if the list is as it was read, however often and in however many steps they come."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

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


def send_files(program, *files, key, load=False, **headers):
    said = {"Authorization": f"Bearer {program.secret}", "Idempotency-Key": key, **headers}
    sent = {"files": [SimpleUploadedFile(name, text.encode()) for name, text in files]}
    return program.client.post(f"/api/v1/uploads{'?load=true' if load else ''}", sent, headers=said)


HOLIDAYS = ("holidays.csv", "date,name\n2026-05-01,First of May\n")


def jobs(priority):
    return "schedule.csv", f"job,pump,scope,build_date,priority\nJ-1,P-1,full,2026-03-16,{priority}\n"


def test_files_are_stored_only_if_each_of_their_lists_is_as_it_was_read(planner):
    marks = ", ".join(planner.get(f"/lists/{name}").headers["ETag"] for name in ("Schedule", "Holidays"))
    planner.post(f"{SCHEDULE}?load=true", job_row(planner, priority=4), key="files-0001")
    late = send_files(planner, jobs(2), HOLIDAYS, key="files-0002", load=True, **{"If-Match": marks})
    assert (late.status_code, "The list Schedule has changed" in late.json()["detail"]) == (412, True)
    assert send_files(planner, HOLIDAYS, key="files-0003", load=True, **{"If-Match": marks}).status_code == 201
    marks = planner.get(SCHEDULE).headers["ETag"]
    only_one = send_files(planner, jobs(2), HOLIDAYS, key="files-0004", load=True, **{"If-Match": marks})
    assert (only_one.status_code, "The list Holidays has" in only_one.json()["detail"]) == (412, True)
    assert priority() == 4
    assert send_files(planner, jobs(2), key="files-0005", load=True, **{"If-Match": marks}).status_code == 201
    assert priority() == 2


def test_the_condition_of_files_is_asked_again_when_they_are_loaded(planner):
    mark = {"If-Match": planner.get(SCHEDULE).headers["ETag"]}
    said = send_files(planner, jobs(2), key="files-0006", **mark).json()
    planner.post(f"{SCHEDULE}?load=true", job_row(planner, customer="Quay"), key="files-0007")
    assert planner.post(f"/uploads/{said['upload']}/load", {}).status_code == 412
    assert priority() == 5
    assert send_files(planner, jobs(2), key="files-0006", **mark).status_code == 412


class TestWhatWasShown:
    """Without a tag, too, nothing is overwritten of which the check told something else."""

    def test_rows_that_were_checked_are_not_loaded_over_what_somebody_stored_since(self, planner):
        said = planner.post(SCHEDULE, job_row(planner, priority=2), key="shown-0001").json()
        planner.post(f"{SCHEDULE}?load=true", job_row(planner, priority=4), key="shown-0002")
        late = planner.post(f"/uploads/{said['upload']}/load", {})
        assert (late.status_code, late.json()["title"]) == (412, "Changed meanwhile")
        assert priority() == 4
        assert planner.get(f"/uploads/{said['upload']}").json()["state"] == "checked"
        assert planner.post(f"/uploads/{said['upload']}/load", {}).json()["state"] == "loaded"
        assert priority() == 2

    def test_what_somebody_stored_elsewhere_in_the_list_is_no_reason(self, planner):
        said = planner.post(SCHEDULE, job_row(planner, priority=2), key="shown-0003").json()
        row = {**job_row(planner)["rows"][0], "job": "J-NEW"}
        planner.post(f"{SCHEDULE}?load=true", {"rows": [row]}, key="shown-0004")
        assert planner.post(f"/uploads/{said['upload']}/load", {}).json()["state"] == "loaded"

    def test_a_page_that_shows_rows_does_not_load_them_over_what_a_program_stored_since(self, planner):
        """Nor by a second tap, or from another tab, where the rows stand as they were first shown."""
        said = planner.post(SCHEDULE, job_row(planner, priority=2), key="shown-0005").json()
        page = Client()
        page.force_login(planner.person)
        address = f"/upload/{said['upload']}/"
        sent = as_shown(page, address)
        planner.post(f"{SCHEDULE}?load=true", job_row(planner, priority=4), key="shown-0006")
        for _ in range(2):
            answer = page.post(f"{address}confirm/", sent, follow=True).content.decode()
            assert "somebody has changed what was shown" in " ".join(answer.split())
            assert priority() == 4
        page.post(f"{address}confirm/", as_shown(page, address))
        assert priority() == 2

    def test_a_program_that_says_what_it_saw_may_send_its_load_again(self, planner):
        said = planner.post(SCHEDULE, job_row(planner, priority=2), key="shown-0007").json()
        planner.post(f"{SCHEDULE}?load=true", job_row(planner, priority=4), key="shown-0008")
        load = f"/uploads/{said['upload']}/load"
        for _ in range(2):
            assert planner.post(load, {"shows": said["shows"]}).status_code == 412
        assert priority() == 4
        seen = planner.get(f"/uploads/{said['upload']}").json()["shows"]
        assert planner.post(load, {"shows": seen}).json()["state"] == "loaded"


def as_shown(page, address):
    """What the button of the preview sends."""
    return {"load": "1", "shown": re.search(r'name="shown"\s+value="(\w+)"', page.get(address).content.decode())[1]}
