from datetime import UTC, datetime

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock.certificates.actions import keep_certificate
from kits.stock.certificates.files import MOST_BYTES, PaperFile, name_to_save
from kits.stock.certificates.queries import certified_lots, files_of
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, WithJob, post
from kits.stock.models import Certificate, KitPiece, Lot

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
PDF = b"%PDF-1.4 paper"

pytestmark = pytest.mark.django_db(transaction=True)


class Papers:
    """Rings that need a certificate, in two lots; a kit that holds some of the second; a pump with a serial."""

    def __init__(self):
        self.clerk = User.objects.create(username="clerk")
        make = lambda number, kind, **facts: Item.objects.create(  # noqa: E731
            part_number=number, description=number, kind=kind, stock_unit="each", **facts
        )
        self.ring, kit, pump = make("OR-1", "part", certificate_needed=True), make("K-1", "kit"), make("P-1", "pump")
        self.one, self.two = (Lot.objects.create(item=self.ring, lot=code) for code in ("L-1", "L-2"))
        self.kit = Lot.objects.create(item=kit, lot="KIT-1")
        KitPiece.objects.create(kit_lot=self.kit, item=self.ring, piece_lot=self.two, quantity=2 * ONE)
        self.job = Job.objects.create(job="J-1", pump=pump, scope="full", build_on="2026-03-09", serial="S-77")

    def keep(self, *lots, content=PDF, name="c.pdf", reference="C-1"):
        return keep_certificate(lots=lots, reference=reference, file=PaperFile(name, content), by=self.clerk, at=AT)

    def bag(self, lot, quantity, kind="opening", key="bag"):
        with transaction.atomic():
            entry = Entry(WithJob(lot.pk, self.job.pk), quantity * ONE)
            post(entries=[entry], kind=kind, by=self.clerk, at=AT, key=key, job=self.job)


@pytest.fixture
def papers(db):
    return Papers()


def names(**sought):
    return [row.lot for row in certified_lots(**sought)]


def test_file_is_kept_once_for_all_lots_it_came_with(papers):
    papers.keep(papers.one)
    papers.keep(papers.two)
    assert Certificate.objects.count() == 1
    assert bytes(Certificate.objects.get().content) == PDF
    assert [(row.lot, row.reference, row.missing) for row in certified_lots()] == [
        ("L-1", "C-1", ""),
        ("L-2", "C-1", ""),
    ]


def test_second_reference_of_the_same_file_is_kept_beside_the_first(papers):
    papers.keep(papers.one, reference="C-1")
    papers.keep(papers.one, reference="C-2")
    papers.keep(papers.one, reference=" c-2")
    assert [(file.reference, file.file_name) for file in files_of(papers.one)] == [("C-1", "c.pdf"), ("C-2", "c.pdf")]
    assert names(words="C-2") == ["L-1"]
    papers.one.refresh_from_db()
    assert papers.one.certificate == "C-1"


@pytest.mark.parametrize(
    ("called", "kind", "goes_out_as"),
    [
        ("c.PDF", "application/pdf", "c.PDF"),
        ("scan.jpeg", "image/jpeg", "scan.jpeg"),
        ("c.html", "application/pdf", "c.html.pdf"),
        ("EN 10204 3.1", "image/png", "EN_10204_3.1.png"),
        ("Prüfung.exe", "image/jpeg", "Prüfung.exe.jpg"),
        ("???", "application/pdf", "certificate.pdf"),
    ],
)
def test_file_goes_out_under_an_ending_of_what_it_is(called, kind, goes_out_as):
    assert name_to_save(called, kind) == goes_out_as


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"MZ program", "is no PDF, PNG or JPEG"), (PDF + bytes(MOST_BYTES), "more than the 5 that are kept")],
)
def test_what_is_no_certificate_is_refused_whatever_it_is_called(papers, content, says):
    with pytest.raises(StockRefusal, match=says):
        papers.keep(papers.one, content=content)
    assert Certificate.objects.count() == 0


def test_lot_without_its_certificate_is_named(papers):
    papers.keep(papers.one)
    assert names(missing_only=True) == ["L-2"]


def test_found_by_the_serial_it_went_into_through_a_kit_too(papers):
    papers.bag(papers.one, 3)
    assert names(serial="s-77") == ["L-1"]
    papers.bag(papers.kit, 1, key="kit")
    assert names(serial="S-77") == ["KIT-1", "L-1", "L-2"]
    assert {row.jobs for row in certified_lots(serial="S-77")} == {"J-1"}


def test_used_up_in_the_pump_is_still_found_but_what_came_back_is_not(papers):
    papers.bag(papers.one, 3)
    papers.bag(papers.two, 2, key="two")
    papers.bag(papers.one, -3, kind="consume", key="used")
    papers.bag(papers.two, -2, kind="scrap", key="gone")
    assert names(serial="S-77") == ["L-1"]


def test_found_by_its_number_and_by_lot(papers):
    papers.keep(papers.one, reference="EN-3.1-88")
    assert names(words="3.1-88") == ["L-1"]
    assert names(words="l-2") == ["L-2"]
