"""What a supplier confirms of an order, typed or brought as its workbook: compared line by line, then taken once."""

import io
from datetime import date, datetime

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.catalog.models import Item, Setting
from kits.purchasing.models import LineTerms, Offer, OrderLine, PurchaseOrder, Supplier
from tests.kits.persons import person_of
from tests.kits.web.hands import key_in, key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
DRAFT, PAGE, BOOK = "/purchasing/draft/", "/purchasing/orders/confirm/PO-3/", "/purchasing/orders/workbook/PO-3/"


@pytest.fixture
def buyer(client, small_shop):
    """Purchasing has sent PO-3 to Ring House: line 1 is cord, line 2 kits, both for 13 March."""
    client.force_login(person_of("Purchasing", "purchaser"))
    house, kit = Supplier.objects.get(), Item.objects.get(part_number="K-1")
    Offer.objects.create(supplier=house, item=kit, lead_days=5, price_per_pack=20, currency="EUR")
    page = client.get(DRAFT)
    said = {"key": key_in(page)}
    for line in page.context["form"].lines:
        if line.part_number in {"CO-1", "K-1"} and line.is_ticked:
            said |= {f"take-{line.name}": "on", f"packs-{line.name}": 2, f"wanted-{line.name}": "2026-03-13"}
            said[f"price-{line.name}"] = "12.00"
    client.post(DRAFT, said)
    order = PurchaseOrder.objects.get()
    sheet = f"/purchasing/orders/sheet/{order.number}/"
    tap(client, f"{DRAFT}{order.pk}/send/", {"sent_on": "2026-03-04"}, on=sheet)
    return client


def line_of(part):
    return OrderLine.objects.get(order="PO-3", item__part_number=part)


def typed(client, **of_parts):
    """What the form says as it stands, some of it changed: CO_1={"packs": 3}; ``take`` None unticks a line."""
    page = client.get(PAGE)
    said = {"key": key_in(page)}
    for row in page.context["form"].rows:
        fields = {"take": "on", "packs": row.packs.value(), "price": row.price.value(), "day": row.day.value()}
        fields |= of_parts.get(row.line.item.part_number.replace("-", "_"), {})
        said |= {f"{what}-{row.line.line_id}": value for what, value in fields.items() if value is not None}
    return said


def workbook(client):
    return openpyxl.load_workbook(io.BytesIO(client.get(BOOK).content))


def fill(book, **of_parts):
    sheet = book.active
    top = next(cell.row for cell in sheet["A"] if cell.value == "Line and number")
    head = {cell.value: cell.column for cell in sheet[top]}
    for part, said in of_parts.items():
        row = next(cell.row for cell in sheet["A"][top:] if part.replace("_", "-") in str(cell.value).split())
        for words, value in said.items():
            sheet.cell(row, head[words]).value = value
    return book


def bring(client, book):
    out = io.BytesIO()
    book.save(out)
    return client.post(PAGE, {"filled": SimpleUploadedFile("back.xlsx", out.getvalue())})


def test_what_is_typed_stands_beside_the_order_before_it_is_taken(buyer):
    said = typed(buyer, CO_1={"packs": 3, "price": "11.50", "day": "2026-03-20"})
    compared = buyer.post(PAGE, said)
    shown = sheet_of(compared)
    assert "packs 2 → 3" in shown
    assert "price 12.00 → 11.50" in shown
    assert "7 days later" in shown
    assert line_of("CO-1").promised_on == date(2026, 3, 13), "nothing was taken by the comparison"
    said["compared"] = compared.context["compared"]
    taken = buyer.post(PAGE, said, follow=True)
    assert "Taken. 1 of the lines changed what was ordered." in sheet_of(taken)
    buyer.post(PAGE, said)
    line, terms = line_of("CO-1"), LineTerms.objects.get(order_line__item__part_number="CO-1")
    assert (line.promised_on, terms.packs, f"{terms.price_per_pack:.2f}") == (date(2026, 3, 20), 3, "11.50")
    assert line.changes.filter(kind="confirmed").count() == 1
    assert LineTerms.objects.get(order_line__item__part_number="K-1").confirmed_on == date(2026, 3, 4)


def test_what_was_changed_after_the_comparison_is_compared_again(buyer):
    said = typed(buyer)
    said["compared"] = buyer.post(PAGE, said).context["compared"]
    said[f"packs-{line_of('CO-1').pk}"] = 5
    again = buyer.post(PAGE, said)
    assert "packs 2 → 5" in sheet_of(again)
    assert not LineTerms.objects.filter(confirmed_on__isnull=False).exists()


def test_a_line_that_is_not_ticked_stays_unconfirmed(buyer):
    said = typed(buyer, CO_1={"take": None})
    said["compared"] = buyer.post(PAGE, said).context["compared"]
    buyer.post(PAGE, said)
    confirmed = LineTerms.objects.filter(confirmed_on__isnull=False)
    assert [terms.item.part_number for terms in confirmed] == ["K-1"]


@pytest.mark.parametrize(
    ("what", "value", "words"),
    [
        ("packs", "a few", "“a few” packs cannot be ordered"),
        ("price", "dear", "“dear” is no price"),
        ("day", "soon", "“soon” is no day"),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_field_and_kept(buyer, what, value, words):
    answer = buyer.post(PAGE, typed(buyer, CO_1={what: value}))
    assert answer.status_code == 422
    assert words in sheet_of(answer)
    assert f'value="{value}"' in answer.content.decode()


def test_the_workbook_fills_the_form_and_what_it_leaves_blank_is_not_ticked(buyer):
    day = {"Packs confirmed": 2, "Price confirmed": 12, "Promised at our door": datetime(2026, 3, 20)}
    answer = bring(buyer, fill(workbook(buyer), CO_1=day))
    shown = sheet_of(answer)
    assert "1 of 2 lines is filled in; 1 is not, and not ticked" in shown
    ticks = {row.line.item.part_number: row.take.value() for row in answer.context["form"].rows}
    assert ticks == {"CO-1": True, "K-1": False}
    days = {row.line.item.part_number: str(row.day.value()) for row in answer.context["form"].rows}
    assert days["CO-1"] == "2026-03-20"
    assert not LineTerms.objects.filter(confirmed_on__isnull=False).exists(), "reading takes nothing"


def test_damage_in_a_workbook_is_told_cell_by_cell_and_no_row_is_dropped(buyer):
    book = fill(workbook(buyer), CO_1={"Packs confirmed": "two or so"}, K_1={"Packs confirmed": 2, "Key": None})
    sheet = book.active
    sheet.append([])
    shown = sheet_of(bring(buyer, book))
    assert "Packs confirmed is “two or so”" in shown
    assert "has lost its key" in shown


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda sheet: sheet.delete_cols(12), "is no workbook of an order"),
        (lambda sheet: None, "Nothing is filled in on back.xlsx"),
    ],
)
def test_a_workbook_that_says_nothing_is_refused_with_the_remedy(buyer, change, words):
    book = workbook(buyer)
    change(book.active)
    answer = bring(buyer, book)
    assert answer.status_code == 422
    assert words in sheet_of(answer)


def test_each_reason_on_the_page_of_a_line_has_a_label_of_its_own(buyer):
    page = buyer.get(f"/purchasing/lines/{line_of('CO-1').pk}/").content.decode()
    labels = ["Why the day moves", "Why it is changed", "Why it comes in parts", "Why it is cancelled"]
    assert [page.count(f"{label}, and who said so") for label in labels] == [1, 1, 1, 1]


@pytest.mark.parametrize(("said", "number"), [(None, 9), ("letter", 1), ("a4", 9)])
def test_an_order_is_printed_on_the_paper_of_the_shop(buyer, said, number):
    """Paper as ISO/IEC 29500, paperSize, counts it: 9 is A4, 1 is Letter."""
    if said:
        Setting.objects.create(name="paper", value=said)
    assert int(workbook(buyer).active.page_setup.paperSize) == number


def test_nobody_else_confirms(buyer):
    said = {**typed(buyer), "key": key_on(buyer, PAGE)}
    buyer.force_login(person_of("Planner", "planner"))
    assert buyer.post(PAGE, said).status_code == 403
