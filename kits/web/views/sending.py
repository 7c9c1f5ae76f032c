"""Jobs sent to the storeroom: what is set aside and what it takes from whom, stored in one step, and taken back."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.queries import read_settings
from kits.people.models import User
from kits.picking.models import SentJob
from kits.picking.rounds.front import find_jobs
from kits.picking.sending.actions import send_jobs, take_back_sending
from kits.picking.sending.draft import SendingDraft, draft_sending, lack_rows, set_aside_rows, try_setting_aside
from kits.picking.sending.sent_list import sent_rows
from kits.picking.words import NoteKind
from kits.planning.queries import plan_now
from kits.planning.sheets.today.rows import FirstRows
from kits.planning.words.states import in_words, plural
from kits.schedule.models import Job
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan
from kits.web.views.picking import MAY_TAKE_BACK

MAY_SEND = "picking.add_sentjob"
MOST_ROWS = 200


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_SEND, raise_exception=True)
@needs_plan
def set_aside(request: HttpRequest) -> HttpResponse:
    """What would be set aside for jobs, or those of a batch, with both plans side by side; stored on demand."""
    asked = request.POST if request.method == "POST" else request.GET
    plan, from_others = plan_now(), "all" in (asked.get("look"), asked.get("store"))
    jobs, refused, draft, sheet = _jobs(asked.getlist("job"), asked.get("batch", "").strip()), "", None, None
    store = "store" in request.POST
    if store and KeyForm(request.POST).is_repeat("set aside"):
        return redirect("picking")
    try:
        draft = draft_sending(plan, jobs, from_others=from_others)
        if store:
            return _send(request, jobs, draft, from_others)
    except Refusal as error:
        refused = str(error)
    if draft is not None:
        sheet = try_setting_aside(plan, draft) if draft.lines else None
    rows = set_aside_rows(draft) if draft else []
    context = {
        "jobs": jobs,
        "batch": asked.get("batch", "").strip(),
        "taken": FirstRows.of((row for row in rows if row.from_others), most=MOST_ROWS),
        "set_aside": FirstRows.of(rows, most=MOST_ROWS),
        "to_pack": FirstRows.of(lack_rows(draft, [NoteKind.PACK]) if draft else (), most=MOST_ROWS),
        "missing": FirstRows.of(lack_rows(draft, [NoteKind.MISSING, NoteKind.COMING]) if draft else (), most=MOST_ROWS),
        "shows": draft.shows if draft else (),
        "from_others": from_others,
        "sheet": sheet,
        "refused": refused,
        "currency": read_settings().currency,
        "as_of": plan.shop.as_of,
        "door": "schedule",
    }
    return render(request, "web/picking/set_aside.html", context, status=409 if refused and jobs else 200)


def _jobs(numbers: list[str], batch: str) -> list[Job]:
    """The jobs that are named, or those of a batch that ask for parts and were not sent."""
    if numbers:
        return find_jobs(numbers)
    if not batch:
        return []
    found = Job.objects.asking().filter(batch__folded=fold(batch))
    return list(found.exclude(sendings__in=SentJob.objects.filter(back_at__isnull=True)).order_by("build_on", "folded"))


def _send(request: HttpRequest, jobs: list[Job], draft: SendingDraft, from_others: bool) -> HttpResponse:
    form = KeyForm(request.POST)
    refuse_foreign(form)
    key = form.request_key("set aside", "", draft.shows)
    by, at = cast(User, request.user), timezone.now()
    sent = send_jobs(jobs=jobs, from_others=from_others, seen=draft.shows, by=by, at=at, key=key)
    names = in_words([one.job.job for one in sent])
    messages.success(request, f"{plural(len(sent), 'job')} sent to the storeroom: {names}. It can be taken back below.")
    return redirect("picking")


@require_POST
@permission_required(MAY_TAKE_BACK, raise_exception=True)
@needs_plan
def take_back_sent(request: HttpRequest, sent: int) -> HttpResponse:
    """Take a job back from the storeroom, or all that were sent with it."""
    row = next((one for one in sent_rows(plan_now()) if one.number == sent), None)
    found = get_object_or_404(SentJob, pk=sent)
    form = KeyForm(request.POST)
    if form.is_repeat("take back sent", sent):
        return redirect("picking")
    try:
        refuse_foreign(form)
        if row is None:
            raise Refusal("This job is not with the storeroom any more, so there is nothing to take back.")
        key = form.request_key("take back sent", sent, row.shows)
        together = SentJob.objects.filter(key=found.key) if "all" in request.POST else [found]
        count = take_back_sending(sendings=list(together), by=cast(User, request.user), at=timezone.now(), key=key)
    except Refusal as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request, f"{plural(count, 'job')} taken back: what lay aside on the shelf is free for the plan again."
        )
    return redirect("picking")
