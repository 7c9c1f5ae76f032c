"""Codes of labels on paper: every size of paper, bars and QR, also shrunken, read back by an independent decoder."""

import shutil
import subprocess

import pytest

from kits.stock.codes.coded_label import CodedLabel
from kits.stock.codes.drawing import BARS_QUIET, QR_QUIET, draw_bars, draw_qr
from kits.stock.codes.label_pdf import bars_fit, write_labels
from kits.stock.codes.papers import PAPERS
from kits.stock.codes.texts import Code, CodeKind, code_of_lot, read_text

pytestmark = pytest.mark.bare
LABELS = [
    CodedLabel(Code(CodeKind.PLACE, "A-12-3"), "A-12-3"),
    CodedLabel(
        code_of_lot("OR-210-N70", "NV-2336"),
        "OR-210-N70",
        "O-ring 210, gland",
        "0.734 x 0.139 in · NBR · 70 A",
        (("Lot", "NV-2336"), ("Last use", "31 Dec 2031"), ("Place", "A-12-3")),
        "HELD, do not use.",
    ),
    CodedLabel(code_of_lot("KIT-WITH-A-VERY-LONG-NUMBER-2", "PACKED-2026-0001"), "KIT-WITH-A-VERY-LONG-NUMBER-2"),
    CodedLabel(Code(CodeKind.BAG, "17"), "Bag 17 · J-3118", facts=(("Build", "18 Mar 2026"),), mind="CLEAN"),
    CodedLabel(Code(CodeKind.JOB, "J-3118"), "J-3118"),
    CodedLabel(Code(CodeKind.PART, "OR-210-N70"), "OR-210-N70"),
    CodedLabel(Code(CodeKind.ORDER, "PO-7104"), "PO-7104"),
]
"""One of each kind, and one that is long."""


def test_labels_here_are_of_every_kind():
    assert {label.code.kind for label in LABELS} == set(CodeKind)


def test_text_of_a_code_reads_back():
    code = Code(CodeKind.PLACE, "A 12")
    assert read_text(str(code)) == code
    assert read_text(" place  A 12 ") == code, "as a hand types it"
    assert [read_text(text) for text in ("", "PLACE", "PLACE ", "A-12", "PLACES A")] == [None] * 5


def test_bars_begin_stop_and_check_as_the_standard_has_them():
    """ISO/IEC 15417, from memory: start B 11010010000, stop 1100011101011, symbols of 11 modules."""
    drawing = draw_bars("BAG 17")
    row = ["0"] * drawing.wide
    for left, _, wide, _ in drawing.dark:
        row[left : left + wide] = "1" * wide
    bars = "".join(row)[BARS_QUIET:-BARS_QUIET]
    assert bars.startswith("11010010000")
    assert bars.endswith("1100011101011")
    assert len(bars) % 11 == 2, "symbols of eleven modules, and the stop has two more"


def test_quiet_zones_are_as_wide_as_the_standards_ask():
    """ISO/IEC 18004: 4 modules around a QR code; ISO/IEC 15417: 10 beside the bars (both from memory)."""
    qr, bars = draw_qr("BAG 17"), draw_bars("BAG 17")
    assert min(left for left, *_ in qr.dark) == min(top for _, top, *_ in qr.dark) == QR_QUIET == 4
    assert max(left + wide for left, _, wide, _ in qr.dark) == qr.wide - 4
    assert (bars.dark[0][0], bars.wide - max(left + wide for left, _, wide, _ in bars.dark)) == (10, 10)


def test_text_without_bars_gets_a_qr_code():
    label = CodedLabel(Code(CodeKind.PLACE, "Süd 1"), "Süd 1")
    assert draw_bars(str(label.code)) is None
    assert not bars_fit(label, PAPERS[-1])
    assert draw_qr(str(label.code)).dark


@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: paper.name)
def test_labels_of_a_paper_lie_on_its_page_and_beside_each_other(paper):
    places = [paper.place(number) for number in range(paper.on_a_page)]
    wide, high = paper.label
    assert all(left >= 0 and top >= 0 for left, top in places)
    assert all(left + wide <= paper.page[0] + 0.01 and top + high <= paper.page[1] + 0.01 for left, top in places)
    assert len(set(places)) == paper.across * paper.down
    assert paper.step[0] >= wide
    assert paper.step[1] >= high


@pytest.mark.skipif(not shutil.which("pdftoppm"), reason="needs pdftoppm of poppler to draw the file")
@pytest.mark.parametrize("bars", [False, True], ids=["qr", "bars"])
@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: paper.name)
def test_codes_on_every_paper_are_read_back_also_from_a_print_of_seventy_per_cent(paper, bars, tmp_path):
    """Drawn at 203 and 300 dots an inch, and at 70 % of each; the decoder, zxing-cpp, has no part in the drawing."""
    zxingcpp, image = pytest.importorskip("zxingcpp"), pytest.importorskip("PIL.Image")
    file = tmp_path / "labels.pdf"
    file.write_bytes(write_labels(LABELS, paper, bars=bars))
    want = sorted(str(label.code) for label in LABELS)
    for dpi in (203, 300, 203 * 0.7, 300 * 0.7):
        subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", file, tmp_path / f"at-{dpi:.0f}"], check=True)
        pages = sorted(tmp_path.glob(f"at-{dpi:.0f}-*.pgm"))
        # Without shrinking the picture first: a shrunken BAG 17 was once read with another last sign.
        read = [mark.text for page in pages for mark in zxingcpp.read_barcodes(image.open(page), try_downscale=False)]
        assert sorted(read) == want, dpi


def test_first_free_label_is_the_first_that_is_written():
    paper = next(paper for paper in PAPERS if paper.on_a_page == 30)
    pdf = write_labels(LABELS[:4], paper, bars=False, first_free=28)
    assert pdf.count(b"/Type /Page\n") == 2, "three labels have room, one has not"
