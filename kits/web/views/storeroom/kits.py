"""Kits in the storeroom: on the shelf, packing, and what is done with the kits of one lot."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.picking.cautions.alike_parts import AlikeParts
from kits.planning.queries import plan_now, today
from kits.planning.questions.kept_pieces import kept_for_others
from kits.planning.sheets.packing import PackingSheet, packing_sheet, parts_of
from kits.schedule.models import Job
from kits.stock.lists.kit_list import kit_list
from kits.stock.models import Lot, Posting
from kits.stock.packed_kits.actions import fill_up_kit, open_kits, pack_kits, rob_kit
from kits.stock.packed_kits.kit_lots import KitLotRow, find_kit_lot, find_piece, kit_events, kit_lots, lots_of_posting
from kits.web.forms.kits import FillForm, LookForm, OpenForm, PackForm, RobForm, bins, open_jobs
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm
from kits.web.views.codes.printing import labels_link
from kits.web.views.faults import needs_plan
from kits.web.views.plan.part import item_or_404

MAY_WORK = "stock.add_posting"
COLUMNS: tuple[ListColumn[KitLotRow], ...] = (
    ListColumn("kit", "Kit", lambda row: row.kit),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("quantity", "Kits", lambda row: row.quantity, figure=True),
    ListColumn("last_use", "Last use", lambda row: row.last_use_on),
    ListColumn("set_by", "Last use set by", lambda row: row.set_by),
    ListColumn("differs", "Differs from the list", lambda row: row.lacks_says),
    ListColumn("condition", "Remarks", lambda row: row.standing),
)
CHOICES = (
    ("", "All kits on the shelf"),
    ("differs", "Contents differ from their list"),
    ("owed", "Owed a piece"),
    ("unrecorded", "Contents not recorded"),
)


@require_safe
def show_kits(request: HttpRequest) -> HttpResponse:
    """Kits on the shelf with what they lack."""
    as_of, only, words = today(), request.GET.get("only", ""), request.GET.get("q", "").strip()
    rows = kit_list(today=as_of, only=only, words=words)
    if (file := list_answer(request, "Kits on the shelf", COLUMNS, rows)) is not None:
        return file
    shown = shown_list(request, COLUMNS, rows)
    context = {"list": shown, "only": only, "words": words, "choices": CHOICES, "as_of": as_of, "door": "storeroom"}
    return render(request, "web/kits_and_lots/kits.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs_plan
def show_packing(request: HttpRequest, part_number: str) -> HttpResponse:
    """How many of a kit can be packed for a day and from which lots; posted, they are packed."""
    kit, places, jobs = item_or_404(part_number), bins(), open_jobs()
    if request.method != "POST":
        return render_packing(request, part_number, PackForm(places, jobs))
    form = PackForm(places, jobs, request.POST)
    if not request.user.has_perm(MAY_WORK):
        return render_packing(request, part_number, form, "Only the storeroom packs kits.", status=403)
    if not form.is_valid():
        return render_packing(request, part_number, form, status=422)
    said = form.cleaned_data
    try:
        posting = pack_kits(
            kit=kit,
            count=said["count"],
            place_id=form.place.pk,
            lives_to=said["lives_to"],
            today=today(),
            options=said["options"],
            job=form.job,
            reason=said["reason"],
            kept={} if said["takes_kept"] else kept_for_others(plan_now(), kit, said["lives_to"]).accounts,
            by=cast(User, request.user),
            at=timezone.now(),
            key=form.request_key("pack", kit.pk, packing_of(kit, said, form.job).shows),
        )
    except Refusal as error:
        return render_packing(request, part_number, form, str(error), status=409)
    for lot, count in lots_of_posting(posting, kit):
        until = f", good to {in_full(lot.printed_last_use_on)}" if lot.printed_last_use_on else ""
        says = f"{count} × {kit} packed as lot {lot.lot}{until}: put that on the bag."
        messages.success(request, with_labels(says, posting))
    return redirect("kit", part_number=kit.part_number)


def render_packing(
    request: HttpRequest, part_number: str, form: PackForm, refused: str = "", status: int = 200
) -> HttpResponse:
    """The packing sheet, for what was asked of it."""
    look, sheet = LookForm(request.POST or request.GET), None
    try:
        if not look.is_valid():
            raise Refusal(" ".join(str(message) for errors in look.errors.values() for message in errors))
        sheet = packing_of(item_or_404(part_number), look.cleaned_data, form.asked_for(request.GET.get("job", "")))
    except Refusal as error:
        refused = refused or str(error)
    context: dict[str, Any] = {
        "kit": item_or_404(part_number),
        "sheet": sheet,
        "form": form,
        "look": look,
        "refused": refused,
        "alike": AlikeParts().of_each(parts_of(sheet)) if sheet else {},
        "may_work": request.user.has_perm(MAY_WORK),
        "as_of": today(),
        "door": "storeroom",
    }
    return render(request, "web/kits_and_lots/pack.html", context, status=status)


def packing_of(kit: Item, said: dict[str, Any], job: Job | None) -> PackingSheet:
    """The packing sheet for the number, day, options and job that were asked for."""
    asked = {name: said[name] for name in ("count", "lives_to", "options", "takes_kept")}
    return packing_sheet(plan_now(), kit, job=job, **asked)


@require_safe
def show_kit_lot(request: HttpRequest, lot_id: int) -> HttpResponse:
    """What the kits of one lot hold, what they are owed, what was done with them."""
    return render_kit_lot(request, lot_or_404(lot_id))


@require_POST
@permission_required(MAY_WORK, raise_exception=True)
@needs_plan
def do_with_kit(request: HttpRequest, lot_id: int, place_id: int, work: str) -> HttpResponse:
    """Open kits of a lot at a place, take a piece out of one, or fill one up."""
    lot = lot_or_404(lot_id)
    row = next((row for row in kit_lots(today=today(), lots=[lot]) if is_at(row, place_id, request)), None)
    if work not in WORK:
        raise Http404(f"Nothing is known of “{work}”.")
    if row is None and KeyForm(request.POST).is_repeat(work, lot_id):
        return redirect("kit", part_number=lot.item.part_number)
    if row is None:
        messages.error(request, f"No kit of lot {lot.lot} lies there any more: look where it is now.")
        return redirect("kit_lot", lot_id=lot_id)
    form = WORK[work](row, request)
    if not form.is_valid():
        return render_kit_lot(request, lot, {work: form}, row, status=422)
    try:
        says = DONE[work](request, lot, row, form)
    except Refusal as error:
        return render_kit_lot(request, lot, {work: form}, row, refused=str(error), status=409)
    messages.success(request, says)
    return redirect("kit", part_number=lot.item.part_number)


def is_at(row: KitLotRow, place_id: int, request: HttpRequest) -> bool:
    """Whether a row is the one that was acted upon: a place may hold sealed and frozen kits of one lot."""
    account = row.account
    wanted = (request.POST.get("condition", account.condition), request.POST.get("packet", account.packet))
    return account.place_id == place_id and (account.condition, account.packet) == wanted


WORK: dict[str, Any] = {
    "open": lambda row, request: OpenForm(request.POST),
    "rob": lambda row, request: RobForm(row, open_jobs(), request.POST),
    "fill": lambda row, request: FillForm(request.POST),
}


def occasion(request: HttpRequest, form: Any, work: str, row: KitLotRow) -> dict[str, Any]:
    """Who, when, under which key, why."""
    return {
        "by": cast(User, request.user),
        "at": timezone.now(),
        "key": form.request_key(work, row.lot_id, row.shows),
        "reason": form.cleaned_data["reason"],
        "today": today(),
    }


def with_labels(says: str, posting: Posting) -> SafeString:
    """A message, and the way to the labels of what was put down."""
    return format_html("{} {}", says, labels_link([posting], "Print the labels"))


def open_them(request: HttpRequest, lot: Lot, row: KitLotRow, form: OpenForm) -> SafeString:
    """Open kits, and say where the pieces go."""
    count = form.cleaned_data["count"]
    posting = open_kits(kit_lot=lot, account=row.account, count=count, **occasion(request, form, "open", row))
    says = f"{count} × {row.kit}, lot {row.lot}, opened: put each piece into its bin, closed again with its lot."
    return with_labels(says, posting)


def rob_one(request: HttpRequest, lot: Lot, row: KitLotRow, form: RobForm) -> SafeString:
    """Take a piece out of one kit, and say what is owed."""
    piece = form.chosen
    item, piece_lot = find_piece(piece)
    posting = rob_kit(
        kit_lot=lot,
        account=row.account,
        item=item,
        piece_lot=piece_lot,
        quantity=form.cleaned_data["quantity"] or 0,
        job=form.job,
        **occasion(request, form, "rob", row),
    )
    says = f"{piece.part_number} taken out of one {row.kit}: write on its bag what it lacks, and put it back soon."
    return with_labels(says, posting)


def fill_it(request: HttpRequest, lot: Lot, row: KitLotRow, form: FillForm) -> SafeString:
    """Put back what is owed to one kit."""
    day, takes_kept = form.cleaned_data["lives_to"], form.cleaned_data["takes_kept"]
    kept = {} if takes_kept else kept_for_others(plan_now(), lot.item, day).accounts
    around = occasion(request, form, "fill", row)
    posting = fill_up_kit(kit_lot=lot, account=row.account, lives_to=day, kept=kept, **around)
    return with_labels(f"One {row.kit} is full again: put its new lot and last use on the bag.", posting)


DONE: dict[str, Any] = {"open": open_them, "rob": rob_one, "fill": fill_it}


def forms_for(row: KitLotRow, jobs: list[Job], number: int, given: dict[str, Any]) -> dict[str, Any]:
    """The forms that stand at one place; those that were refused as they were filled in."""
    fill = FillForm(initial={"lives_to": row.last_use_on or today()})
    made = {"open": OpenForm(), "rob": RobForm(row, jobs), "fill": fill, **given}
    for work, form in made.items():
        form.auto_id = f"{work}-{number}-%s"
    return made


def render_kit_lot(
    request: HttpRequest,
    lot: Lot,
    forms: dict[str, Any] | None = None,
    at: KitLotRow | None = None,
    refused: str = "",
    status: int = 200,
) -> HttpResponse:
    """The sheet of a kit's lot, each place with its forms."""
    rows, jobs = kit_lots(today=today(), lots=[lot]), open_jobs()
    sheets = [
        (row, forms_for(row, jobs, number, (forms or {}) if at and row.account == at.account else {}))
        for number, row in enumerate(rows)
    ]
    context = {
        "lot": lot,
        "sheets": sheets,
        "first": rows[0] if rows else None,
        "events": kit_events(lot),
        "alike": AlikeParts().of_each({piece.part_number for row in rows[:1] for piece in row.pieces}),
        "refused": refused,
        "may_work": request.user.has_perm(MAY_WORK),
        "as_of": today(),
        "door": "storeroom",
    }
    return render(request, "web/kits_and_lots/kit_lot.html", context, status=status)


def lot_or_404(lot_id: int) -> Lot:
    """The lot of a kit."""
    lot = find_kit_lot(lot_id)
    if lot is None:
        raise Http404("There is no such lot of a kit.")
    return lot
