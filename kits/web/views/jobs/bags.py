"""One bag: its page, its label and tags, where it stands, who takes it; and the counter of a job."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.picking.bags.actions import enter_paper_pick, hand_over, issue_extra, place_bag, take_hand_over_back
from kits.picking.bags.counter import REASONS, counter_account, counter_sheet
from kits.picking.bags.sheet import BagSheet, bag_sheet, find_bag
from kits.picking.bags.tags import check_of, lacks_says, tag_labels, tags_of
from kits.picking.models import Bag, HandOver
from kits.picking.scanning.coded_labels import bag_labels
from kits.picking.scanning.scanned import read_scan
from kits.planning.queries import plan_now, today
from kits.schedule.models import Job
from kits.stock.codes.texts import CodeKind
from kits.stock.ledger import OnShelf
from kits.stock.models import Place
from kits.web.forms.bags import CounterForm, HandOverForm, PaperForm, PlaceForm
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.codes.printing import chosen_paper, label_file
from kits.web.views.codes.scan import address_of
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.sheet import job_or_404
from kits.web.views.picking import MAY_PICK, MAY_SEE, picker

MAY_POST = "stock.add_posting"


@require_safe
@permission_required(MAY_SEE, raise_exception=True)
@needs_plan
def show_bag(request: HttpRequest, number: int) -> HttpResponse:
    """What lies in a bag, where it stands, what it lacks, who took it; what is scanned here is meant for it."""
    bag = bag_or_404(number)
    code = request.GET.get("code", "").strip()
    if not code:
        return render_bag(request, bag)
    only = read_scan(code).only
    if only is None or only.code.kind in (CodeKind.LOT, CodeKind.PART):
        return redirect(f"{reverse('counter', args=[bag.job.job])}?{urlencode({'code': code})}")
    if only.code.kind is CodeKind.PLACE:
        return render_bag(request, bag, scanned_place=Place.objects.get(pk=only.key))
    return redirect(address_of(only))


@require_safe
@permission_required(MAY_SEE, raise_exception=True)
@needs_plan
def print_tags(request: HttpRequest, number: int) -> HttpResponse:
    """The label of a bag with what it lacks, and a tag for each missing piece."""
    bag = bag_or_404(number)
    plan = plan_now()
    tags = tags_of(plan, bag, check_of(plan, bag.job))
    labels = [*bag_labels([bag], lacks_says(tags)), *tag_labels(bag, tags)]
    if file := label_file(request, labels, f"bag-{number}"):
        return file
    choice = chosen_paper(request, labels)
    context = {"bag": bag, "tags": tags, "labels": labels, "choice": choice, "as_of": plan.shop.as_of}
    return render(request, "web/bags/tags.html", context | {"door": "picking"}, status=422 if choice.wrong else 200)


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
@needs_plan
def give_bag(request: HttpRequest, number: int) -> HttpResponse:
    """Hand a bag over to the bench."""
    bag, form = bag_or_404(number), HandOverForm(request.POST)

    def act(sheet: BagSheet) -> str:
        said = form.cleaned_data
        key = form.request_key("hand over", bag.pk, sheet.shows)
        made = hand_over(
            bag=bag, taken_by=said["taken_by"], where=said["where"], by=picker(request), at=timezone.now(), key=key
        )
        return f"Bag {number} is with {made.taken_by} now; what was in it counts as issued."

    return _book(request, bag, form, act, "hand_form")


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
@needs_plan
def put_bag(request: HttpRequest, number: int) -> HttpResponse:
    """Say where a bag stands."""
    bag, form = bag_or_404(number), PlaceForm(request.POST)

    def act(sheet: BagSheet) -> str:
        place = Place.objects.by_name(form.cleaned_data["place"])
        if place is None:
            raise Refusal(
                f"There is no place “{form.cleaned_data['place']}”: scan its label, or choose one of the list."
            )
        key = form.request_key("place", bag.pk, bag.place_id)
        place_bag(bag=bag, place=place, by=picker(request), at=timezone.now(), key=key)
        return f"Bag {number} stands at {place} now."

    return _book(request, bag, form, act, "place_form")


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
@needs_plan
def bring_bag_back(request: HttpRequest, number: int, taken: int) -> HttpResponse:
    """Say that a bag was not handed over after all."""
    bag, form = bag_or_404(number), KeyForm(request.POST)
    found = get_object_or_404(HandOver.objects.select_related("bag"), pk=taken, bag=bag)

    def act(sheet: BagSheet) -> str:
        key = form.request_key("not handed over", found.pk)
        take_hand_over_back(hand_over=found, by=picker(request), at=timezone.now(), key=key)
        return f"Bag {number} is the storeroom's again."

    return _book(request, bag, form, act, "back_form")


@require_safe
@permission_required(MAY_SEE, raise_exception=True)
def show_counter(request: HttpRequest, job: str) -> HttpResponse:
    """The counter of a job: scan or type a lot or part, then tap why the job gets it besides."""
    return render_counter(request, job_or_404(job))


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def give_extra(request: HttpRequest, job: str, balance: int) -> HttpResponse:
    """Give pieces to a job over the counter, with the reason on the button that was tapped."""
    form = CounterForm(request.POST)

    def act(found: Job, source: OnShelf) -> str:
        said = form.cleaned_data
        reason = said["why"] or said["other"]
        key = form.request_key("extra", balance, found.pk)
        around = {"reason": reason, "by": picker(request), "at": timezone.now(), "key": key}
        issue_extra(job=found, source=source, quantity=said["quantity"], **around)
        return f"Given to {found} besides, because {reason}."

    return _book_at_counter(request, job, balance, form, act, "form")


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def enter_paper(request: HttpRequest, job: str, balance: int) -> HttpResponse:
    """Post what was picked earlier and written on paper."""
    form = PaperForm(request.POST)

    def act(found: Job, source: OnShelf) -> str:
        said = form.cleaned_data
        key = form.request_key("paper", balance, found.pk)
        around = {"picked_on": said["picked_on"], "by": picker(request), "at": timezone.now(), "key": key}
        enter_paper_pick(job=found, source=source, quantity=said["quantity"], **around)
        return f"It lies in the bag of {found}, picked on the day that was written."

    return _book_at_counter(request, job, balance, form, act, "paper")


def bag_or_404(number: int) -> Bag:
    """The bag of this number."""
    found = find_bag(number)
    if found is None:
        raise Http404(f"There is no bag {number}.")
    return found


def after(job: Job) -> str:
    """Where to go from the counter: to the bag of the job, else to the job."""
    bag = Bag.objects.filter(job=job).first()
    return reverse("bag", args=[bag.number]) if bag else reverse("job", args=[job.job])


def render_bag(request: HttpRequest, bag: Bag, *, status: int = 200, **typed: Any) -> HttpResponse:
    """The page of a bag; ``typed`` holds what was typed where it was refused."""
    sheet = bag_sheet(plan_now(), bag)
    context = {
        "sheet": sheet,
        "may_pick": request.user.has_perm(MAY_PICK),
        "may_post": request.user.has_perm(MAY_POST),
        "scan_here": request.path if request.method != "POST" else reverse("bag", args=[bag.number]),
        "as_of": sheet.as_of,
        "door": "picking",
    }
    return render(request, "web/bags/bag.html", context | typed, status=status)


def render_counter(
    request: HttpRequest,
    job: Job,
    *,
    form: CounterForm | None = None,
    paper: PaperForm | None = None,
    of: int | None = None,
    refused: str = "",
    status: int = 200,
) -> HttpResponse:
    """The counter of a job; a refused form stays beside its account as it was filled in."""
    code = request.GET.get("code", "") or request.POST.get("code", "")
    sheet = counter_sheet(job, code, today=today())
    forms = [
        (
            row,
            form if form and row.balance_id == of else CounterForm(auto_id=f"extra_{row.balance_id}_%s"),
            paper if paper and row.balance_id == of else PaperForm(auto_id=f"paper_{row.balance_id}_%s"),
        )
        for row in sheet.rows
    ]
    context = {
        "sheet": sheet,
        "rows": forms,
        "of": of,
        "refused": refused,
        "paper_open": paper is not None,
        "reasons": REASONS,
        "bag": Bag.objects.filter(job=job).first(),
        "may_post": request.user.has_perm(MAY_POST),
        "scan_here": reverse("counter", args=[job.job]),
        "as_of": today(),
        "door": "picking",
    }
    return render(request, "web/bags/counter.html", context, status=status)


def _book(request: HttpRequest, bag: Bag, form: KeyForm, act: Callable[[BagSheet], str], named: str) -> HttpResponse:
    """Do what a form of the page asks for, or show the page again with what was typed and why it was refused."""
    try:
        if named == "back_form":
            refuse_foreign(form)
        if not form.is_valid():
            return render_bag(request, bag, status=422, **{named: form})
        says = act(bag_sheet(plan_now(), bag))
    except Refusal as error:
        return render_bag(request, bag_or_404(bag.number), status=409, refused=str(error), **{named: form})
    messages.success(request, says)
    return redirect("bag", number=bag.number)


def _book_at_counter(
    request: HttpRequest, job: str, balance: int, form: KeyForm, act: Callable[[Job, OnShelf], str], named: str
) -> HttpResponse:
    """The same at the counter, where a form is of one account of the shelf."""
    found, source = job_or_404(job), counter_account(balance)
    if source is None:
        raise Http404("There is no such account of the shelf.")
    typed: dict[str, Any] = {named: form, "of": balance}
    if not form.is_valid():
        return render_counter(request, found, status=422, **typed)
    try:
        says = act(found, source)
    except Refusal as error:
        return render_counter(request, found, refused=str(error), status=409, **typed)
    messages.success(request, says)
    return redirect(after(found))
