"""What an upload leaves open is asked on its page: which list it is, in which characters, and what nobody has yet."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from openpyxl import Workbook

from kits.catalog.models import Item, StructureLine
from kits.exchange.models import Upload, UploadState
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db

PARTS = (
    "Parts of the small pump,,,,\n,,,,\nItem no,Part no,Description,Qty,Material\n1,P-7,small pump,1,\n1.1,E-7,end,2,\n"
    "1.1.1,OR-7,ring,3,NBR\n1.1.2,BA-1,ball,1,steel\n1.2,HO-7,hose,25,\n,,Total,31,\n"
)


def send(keeper, content, name):
    return keeper.post("/upload/", {"lists": [SimpleUploadedFile(name, content)]}, follow=True)


def read(keeper, **said):
    upload = Upload.objects.first()
    return keeper.post(f"/upload/{upload.pk}/reading/", {key.replace("_", "."): text for key, text in said.items()})


def taken(keeper):
    """The field into which an uploaded list goes."""
    return keeper.get(read(keeper, list_0="indented").url).content.decode()


def test_a_parts_list_comes_in_from_a_file_with_its_new_items_and_nothing_typed_again(small_shop, keeper):
    sheet = sheet_of(send(keeper, PARTS.encode(), "parts 2026.csv"))
    assert "or say below which list it is" in sheet
    assert "Which list is parts 2026.csv?" in sheet
    assert "Item no Part no Description Qty Material" in sheet
    assert "1.1.1,OR-7,ring,3,NBR" in taken(keeper)
    answer = keeper.post("/upload/indented/", {"cells": PARTS, "at_rebuild": "renew"}, follow=True)
    sheet = sheet_of(answer)
    assert "4 numbers in it are no items: P-7 , E-7 , OR-7 , HO-7" in sheet
    assert "5 of 5 lines were understood" in sheet
    assert "columns not read: Material" in sheet
    upload = Upload.objects.first()
    review = keeper.get(f"/upload/{upload.pk}/items/").content.decode()
    assert 'value="small pump"' in review
    rows = {f"{n}-part_number": number for n, number in enumerate(("P-7", "E-7", "OR-7", "HO-7"))}
    rows |= {f"{n}-description": what for n, what in enumerate(("small pump", "end", "ring", "hose"))}
    rows |= {f"{n}-kind": kind for n, kind in enumerate(("pump", "assembly", "part", "part"))}
    rows |= {f"{n}-stock_unit": unit for n, unit in enumerate(("each", "each", "each", "mm"))}
    rows |= {f"{n}-take": "on" for n in range(4)}
    sheet = sheet_of(keeper.post(f"/upload/{upload.pk}/items/", rows, follow=True))
    assert "Items 4 new, 0 changed, 0 the same" in sheet
    assert "Structure 4 new, 0 changed, 0 the same" in sheet
    assert "5 of 5 lines were understood" in sheet
    assert Upload.objects.get(pk=upload.pk).state == UploadState.WITHDRAWN
    keeper.post(f"/upload/{Upload.objects.first().pk}/confirm/", {"load": "1"})
    assert [line.child.part_number for line in Item.objects.get(part_number="P-7").lines.all()] == ["E-7", "HO-7"]
    assert StructureLine.objects.get(child__part_number="E-7", parent__part_number="P-7").at_rebuild == "open"
    assert (Item.objects.get(part_number="HO-7").kind, Item.objects.get(part_number="HO-7").stock_unit) == (
        "part",
        "mm",
    )


def test_kinds_are_guessed_from_whether_they_hold_something(small_shop, keeper):
    keeper.post("/upload/indented/", {"cells": PARTS, "at_rebuild": "renew"})
    missing = Upload.objects.get().outcome["missing"]
    assert [(one["number"], one["what"], one["kind"], one["unit"]) for one in missing] == [
        ("P-7", "small pump", "pump", "each"),
        ("E-7", "end", "assembly", "each"),
        ("OR-7", "ring", "part", "each"),
        ("HO-7", "hose", "part", "each"),
    ]


def test_a_new_number_that_looks_like_one_that_is_there_says_so(small_shop, keeper):
    keeper.post("/upload/indented/", {"cells": "E-1\t1\n.OR-O14\t2", "at_rebuild": "renew"})
    assert "looks like OR-014" in sheet_of(keeper.get(f"/upload/{Upload.objects.get().pk}/items/"))


def test_a_workbook_is_asked_about_sheet_by_sheet(small_shop, keeper):
    book = Workbook()
    book.active.title = "Tabelle1"
    for row in (["level", "part no", "qty"], [0, "E-1", 1], [1, "BA-1", 2]):
        book.active.append(row)
    book.create_sheet("Notes").append(["nothing of use"])
    out = io.BytesIO()
    book.save(out)
    sheet = sheet_of(send(keeper, out.getvalue(), "list.xlsx"))
    assert "Which list is list.xlsx, sheet Tabelle1?" in sheet
    assert "Which list is list.xlsx, sheet Notes?" in sheet
    assert "level\tpart no\tqty\n0\tE-1\t1\n1\tBA-1\t2" in taken(keeper)


def test_a_text_in_other_characters_goes_into_the_field_as_it_was_chosen(small_shop, keeper):
    send(keeper, "level;part no;name;qty\n0;E-1;end;1\n1;BA-1;kulička;2\n".encode("cp1250"), "kusovnik.csv")
    read(keeper, charset_0="mac_roman")
    assert "kuliËka" in taken(keeper)
    read(keeper, charset_0="cp1250")
    assert "kulička" in taken(keeper)


def test_a_list_is_read_as_what_somebody_says_it_is(small_shop, keeper):
    send(keeper, b"date,name,value\n2026-12-25,x,y\n", "stuff.csv")
    sheet = sheet_of(keeper.get(read(keeper, list_0="Holidays").url))
    assert "The files were read again as you said." in sheet
    assert "Holidays 1 new" in sheet


def test_nothing_chosen_is_said_and_changes_nothing(small_shop, keeper):
    send(keeper, b"date,name,value\n2026-12-25,x,y\n", "stuff.csv")
    assert "Nothing was chosen" in sheet_of(keeper.get(read(keeper).url))
    assert Upload.objects.get().state == UploadState.REFUSED


def test_what_is_settled_is_not_read_again(small_shop, keeper):
    send(keeper, b"date,name,value\n2026-12-25,x,y\n", "stuff.csv")
    upload = Upload.objects.get()
    Upload.objects.update(state=UploadState.WITHDRAWN)
    answer = keeper.post(f"/upload/{upload.pk}/reading/", {"list.0": "Holidays"}, follow=True)
    assert "is settled, so it is not read again" in sheet_of(answer)


def test_a_row_that_is_not_whole_stands_again_with_what_is_wrong(small_shop, keeper):
    keeper.post("/upload/indented/", {"cells": "E-1\t1\n.X-1\t2", "at_rebuild": "renew"})
    address = f"/upload/{Upload.objects.get().pk}/items/"
    row = {"0-part_number": "X-1", "0-description": " ", "0-kind": "assembly", "0-stock_unit": "mm", "0-take": "on"}
    answer = keeper.post(address, row)
    assert answer.status_code == 422
    sheet = sheet_of(answer)
    assert "Say what it is, or take the tick away." in sheet
    assert "Only parts are measured: write each." in sheet
    assert "No row was ticked" in sheet_of(
        keeper.post(address, {**row, "0-take": "", "0-stock_unit": "each"}, follow=True)
    )


def test_items_are_added_once_however_often_it_is_tapped(small_shop, keeper):
    keeper.post("/upload/indented/", {"cells": "E-1\t1\n.X-1\t2", "at_rebuild": "renew"})
    address = f"/upload/{Upload.objects.get().pk}/items/"
    row = {"0-part_number": "X-1", "0-description": "x", "0-kind": "part", "0-stock_unit": "each", "0-take": "on"}
    keeper.post(address, row)
    assert "so it cannot be withdrawn" in sheet_of(keeper.post(address, row, follow=True))
    assert Upload.objects.count() == 2


def test_whoever_may_not_load_items_is_told_who_may(small_shop, client):
    client.force_login(person_of("Planner"))
    sheet = sheet_of(send(client, b"job,pump,scope,build_date\nJ-7,P-7,full,2026-03-20\n", "schedule.csv"))
    assert "Whoever may load the sheet Items can add it from here." in sheet
    assert client.get(f"/upload/{Upload.objects.get().pk}/items/").status_code == 403


def test_an_upload_without_rows_never_says_that_everything_is_stored(small_shop, keeper):
    sheet = sheet_of(send(keeper, b"part_number,description,kind,stock_unit\n", "items.csv"))
    assert "Nothing was found to load: no row of a list stands in it." in sheet
    assert "everything in it is stored already" not in sheet


TORN = "level,part,what,qty\n0,P-7,small pump,1\n1,E-7,end, left,1\n1,HO-7,hose,2\n"


def test_numbers_that_nobody_has_are_told_apart_from_the_other_problems(small_shop, keeper):
    keeper.post("/upload/indented/", {"cells": TORN, "at_rebuild": "renew"})
    page = keeper.get(f"/upload/{Upload.objects.get().pk}/")
    sheet = sheet_of(page)
    assert "1 problem, and 2 numbers that nobody has yet: nothing was stored" in sheet
    assert "Put the problems below right first: what you add here goes with the list as it stands." in sheet
    assert "there is no item" not in sheet.partition("Problems Where")[2]
    assert "Structure row 4, child HO-7 there is no item HO-7" in sheet
    outcome = page.context["outcome"]
    assert {*outcome.naming_missing, *page.context["problems"]} == {*outcome.problems}


def test_a_number_that_looks_like_a_known_one_stays_among_the_problems(small_shop, keeper):
    keeper.post("/upload/indented/", {"cells": "BA1\t2\nXY-7\t1", "parent": "E-1", "at_rebuild": "renew"})
    page = keeper.get(f"/upload/{Upload.objects.get().pk}/")
    assert [(one.value, one.remedy) for one in page.context["problems"]] == [
        ("BA1", "did you mean BA-1? Else add it to Items")
    ]


def test_what_could_not_be_read_still_keeps_the_list_out_when_its_new_items_are_added(small_shop, keeper):
    keeper.post("/upload/indented/", {"cells": TORN, "at_rebuild": "renew"})
    first = Upload.objects.get()
    rows = {"0-part_number": "P-7", "0-description": "pump", "0-kind": "pump", "0-stock_unit": "each", "0-take": "on"}
    rows |= {"1-part_number": "HO-7", "1-description": "hose", "1-kind": "part", "1-stock_unit": "each"}
    sheet = sheet_of(keeper.post(f"/upload/{first.pk}/items/", {**rows, "1-take": "on"}, follow=True))
    assert "1 problem: nothing was stored" in sheet
    assert "Structure row 3, child E-7 this row has more cells than there are headings" in sheet
    assert Upload.objects.first().state == UploadState.REFUSED
    assert not Item.objects.filter(part_number="P-7").exists()
