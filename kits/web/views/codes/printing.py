"""Labels with codes: on this page to cut, or as a file for paper that is cut already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from kits.stock.codes.coded_label import CodedLabel
from kits.stock.codes.label_pdf import bars_fit, write_labels
from kits.stock.codes.papers import PAPER_BY_NAME, PAPERS, LabelPaper
from kits.stock.models import Posting

PAPER, CODE, FIRST, COPIES = "paper", "code", "first", "copies"
BARS = "bars"
MOST_COPIES = 99
MOST_LABELS = 630


@dataclass(frozen=True, slots=True)
class PaperChoice:
    """The paper that the address names, which code, and the first label of it that is still there.

    ``wrong`` says what is wrong with the number typed, ``without_bars`` how many labels get a QR code all the same.
    """

    paper: LabelPaper
    bars: bool
    first: str
    wrong: str = ""
    without_bars: int = 0

    @property
    def papers(self) -> Sequence[LabelPaper]:
        """The papers to choose from."""
        return PAPERS


def chosen_paper(request: HttpRequest, labels: Sequence[CodedLabel]) -> PaperChoice:
    """Read what the address says of the paper; the first paper of the list where it says nothing."""
    paper = PAPER_BY_NAME.get(request.GET.get(PAPER, ""), PAPERS[0])
    bars = request.GET.get(CODE) == BARS
    first = request.GET.get(FIRST, "").strip() or "1"
    is_there = first.isascii() and first.isdigit() and len(first) < 4 and 1 <= int(first) <= paper.on_a_page
    wrong = (
        "" if is_there else f"“{first}” is no label of this paper: write a whole number from 1 to {paper.on_a_page}."
    )
    without = sum(not bars_fit(label, paper) for label in labels) if bars else 0
    return PaperChoice(paper, bars, first, wrong, without)


def label_file(request: HttpRequest, labels: Sequence[CodedLabel], name: str) -> HttpResponse | None:
    """The file of the labels, if the address asks for it and nothing in it is wrong; else None."""
    choice = chosen_paper(request, labels)
    if "pdf" not in request.GET or choice.wrong or not labels:
        return None
    pdf = write_labels(labels[:MOST_LABELS], choice.paper, bars=choice.bars, first_free=int(choice.first))
    return HttpResponse(
        pdf, content_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}.pdf"'}
    )


def labels_link(postings: Sequence[Posting], says: str) -> SafeString:
    """A link to the labels of what some postings put down, to stand at the end of a message."""
    address = f"{reverse('labels')}?{urlencode([('posting', posting.pk) for posting in postings])}"
    return format_html('<a href="{}">{}</a>', address, says)
