"""Lists that were tables of their own, or had no field for words: narrowed, sorted and taken away like every other."""

import csv
import io

import pytest

from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
PARTS = "/pumps-and-parts/?kind=part"


@pytest.mark.parametrize(
    "address",
    [
        PARTS,
        "/purchasing/suppliers/",
        "/purchasing/rates/",
        "/purchasing/outside/?show=all",
        "/purchasing/returns/?show=all",
        "/purchasing/replies/",
        "/purchasing/no-longer-made/",
        "/gauges/",
        "/work-hours/",
        "/how-sure/",
        "/upload/history/",
    ],
)
def test_each_list_is_narrowed_sorted_and_taken_away(demo_shop, keeper, address):
    answer = keeper.get(address)
    shown, page = answer.context["list"], answer.content.decode()
    assert shown.choices, "its columns can be chosen"
    if shown.count:
        assert all(f"export={kind}" in page for kind in ("xlsx", "csv", "semicolon"))
        assert "sort=" in page
    if shown.whole > 1:
        assert 'name="find"' in page or 'name="q"' in page
        nothing = keeper.get(address, {**answer.wsgi_request.GET.dict(), "find": "zzz zzz", "q": "zzz zzz"})
        assert nothing.context["list"].count == 0
        assert nothing.status_code == 200


def test_parts_are_sorted_by_any_column_and_leave_as_they_are_shown(small_shop, reader):
    numbers = [row.part_number for row in reader.get(PARTS).context["list"].rows]
    assert numbers == sorted(numbers)
    back = [row.part_number for row in reader.get(f"{PARTS}&sort=-number").context["list"].rows]
    assert back == sorted(back, reverse=True)
    assert back[0] > numbers[-1], "the other end of the list"
    file = reader.get(f"{PARTS}&q=ball&export=csv").content.decode("utf-8-sig")
    heads, *rows = csv.reader(io.StringIO(file))
    assert heads == ["Number", "What it is", "Material", "Size", "Maker's number", "Home"]
    assert "BA-1" in [row[0] for row in rows]
    assert all("ball" in " ".join(row).lower() for row in rows)
    assert "Nothing bears these words" in sheet_of(reader.get(f"{PARTS}&q=zzz"))
