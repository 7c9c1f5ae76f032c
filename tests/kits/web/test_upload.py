"""Lists come in by a page: first what they would change, then, on a word, the change itself."""

import io
import re
import zipfile
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.catalog.models import Item
from kits.exchange.models import Upload
from kits.exchange.uploads.outcome import outcome_from_json
from kits.schedule.models import Job
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
ONE_MORE = b"part_number,description,kind,stock_unit\nBA-1,ball 7/16,part,each\nBA-2,ball 1/4,part,each\n"


def send(keeper, content, name="items.csv"):
    return keeper.post("/upload/", {"lists": [SimpleUploadedFile(name, content)]}, follow=True)


def test_preview_shows_before_and_after_and_stores_nothing(small_shop, keeper):
    sheet = sheet_of(send(keeper, ONE_MORE))
    assert "Nothing is stored yet." in sheet
    assert "Items 1 new, 1 changed, 0 the same" in sheet
    assert "2 BA-1 description ball ball 7/16" in sheet
    assert "3 BA-2 new" in sheet
    assert not Item.objects.filter(part_number="BA-2").exists()


def test_confirmed_upload_is_loaded_once(small_shop, keeper):
    send(keeper, ONE_MORE)
    kept = Upload.objects.get()
    sheet = sheet_of(keeper.post(f"/upload/{kept.pk}/confirm/", {"load": "1"}, follow=True))
    assert "The lists are loaded" in sheet
    assert Item.objects.get(part_number="BA-1").description == "ball 7/16"
    again = sheet_of(keeper.post(f"/upload/{kept.pk}/confirm/", {"load": "1"}, follow=True))
    assert "does not wait for a confirmation any more" in again


def test_upload_put_aside_changes_nothing(small_shop, keeper):
    send(keeper, ONE_MORE)
    kept = Upload.objects.get()
    sheet = sheet_of(keeper.post(f"/upload/{kept.pk}/confirm/", {"withdraw": "1"}, follow=True))
    assert "nothing was changed" in sheet
    assert not Item.objects.filter(part_number="BA-2").exists()


def test_problem_is_shown_with_place_value_and_remedy(small_shop, keeper):
    sheet = sheet_of(send(keeper, b"part_number,description,kind,stock_unit\nBA-2,ball,part,furlong\n"))
    assert "1 problem: nothing was stored." in sheet
    assert "Items row 2, stock_unit furlong" in sheet
    keeper.post(f"/upload/{Upload.objects.get().pk}/confirm/", {"load": "1"})
    assert not Item.objects.filter(part_number="BA-2").exists()


def test_same_lists_again_change_nothing(small_shop, keeper):
    send(keeper, ONE_MORE)
    keeper.post(f"/upload/{Upload.objects.get().pk}/confirm/", {"load": "1"})
    assert "Nothing would change: everything in it is stored already." in sheet_of(send(keeper, ONE_MORE))


def test_the_search_field_stays_empty_beside_the_form(keeper):
    assert 'name="q" type="search" value=""' in keeper.get("/upload/").content.decode()


def test_no_file_is_named_beside_the_field(keeper):
    answer = keeper.post("/upload/", {})
    assert answer.status_code == 422
    assert "No file was chosen: choose a workbook" in sheet_of(answer)


def test_file_that_is_no_list_is_refused_with_the_reason(keeper):
    assert "this is not a workbook" in sheet_of(send(keeper, b"%PDF-1.7 nothing", "items.xlsx"))


def test_a_problem_in_an_archive_is_told_with_the_file_inside(small_shop, keeper):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("east/items.csv", "part_number,description,kind,stock_unit\nBA-9,ball,part,furlong\n")
    sheet = sheet_of(send(keeper, out.getvalue(), "lists.zip"))
    assert "lists.zip/east/items.csv, Items row 2, stock_unit furlong" in sheet


def test_too_many_files_are_refused(keeper):
    answer = keeper.post("/upload/", {"lists": [SimpleUploadedFile(f"{n}.csv", b"a") for n in range(21)]})
    assert "21 files are more than the 20 taken at once" in sheet_of(answer)


def test_who_has_no_role_may_look_but_not_upload(small_shop, client):
    client.force_login(person_of(""))
    assert client.get("/upload/").status_code == 403
    assert "Upload lists" not in sheet_of(client.get("/schedule/"))


ODD_DAY = b"job,pump,scope,build_date\nJ-7,P-1,full,2026-03-15\n"


def test_what_can_hardly_be_meant_is_asked_and_waits_for_a_yes(small_shop, reader):
    sheet = sheet_of(send(reader, ODD_DAY, "schedule.csv"))
    assert "What is asked under Is this meant? is meant Load these lists" in sheet
    assert "Schedule row 2, build_date 2026-03-15 the shop is closed on Sunday 15 Mar 2026" in sheet
    page = reader.get(f"/upload/{Upload.objects.get().pk}/").content.decode()
    assert re.search(r'name="withdraw"[^>]* formnovalidate', page), "putting it aside needs no yes"
    kept = Upload.objects.get()
    sheet = sheet_of(reader.post(f"/upload/{kept.pk}/confirm/", {"load": "1"}, follow=True))
    assert "Nothing is stored yet: say that what is asked about is meant, or put it right." in sheet
    assert "Schedule 1 new" in sheet, "everything is still there to be confirmed"
    assert not Job.objects.filter(job="J-7").exists()
    kept.refresh_from_db()
    meant = outcome_from_json(kept.outcome).asked
    sheet = sheet_of(reader.post(f"/upload/{kept.pk}/confirm/", {"load": "1", "meant": meant}, follow=True))
    assert "The lists are loaded" in sheet
    assert "Is this meant? It was asked about, and stored as it stands." in sheet
    assert Job.objects.get(job="J-7").build_on == date(2026, 3, 15)


def test_yes_to_questions_that_nobody_saw_stores_nothing(small_shop, reader):
    send(reader, ODD_DAY, "schedule.csv")
    kept = Upload.objects.get()
    sheet = sheet_of(reader.post(f"/upload/{kept.pk}/confirm/", {"load": "1", "meant": "another"}, follow=True))
    assert f"Something else is asked about upload {kept.pk} by now: look at it again." in sheet
    assert not Job.objects.filter(job="J-7").exists()


def test_preview_lists_what_of_the_load_no_job_can_ask_for(small_shop, keeper):
    text = b"parent,child,quantity,at_rebuild,position\nP-1,BA-1,1,renew,lid\n"
    sheet = sheet_of(send(keeper, text, "structure.csv"))
    assert "Never asked for It stands in the lists, but no job can ask for it as they are." in sheet
    assert "BA-1 directly under P-1, which no scope of it opens itself" in sheet
