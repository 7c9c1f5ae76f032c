"""One account of the shelf with everything that can be done with it; one lot; what is taken back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from bom.errors import BomError
from kits.catalog.amounts import Amount
from kits.catalog.fields import QuantityFormField
from kits.people.models import User
from kits.picking.cautions.alike_parts import AlikeParts
from kits.picking.queries import places_of_lots
from kits.picking.records.used import pumps_of_lot
from kits.planning.queries import today
from kits.purchasing.receiving.actions import take_back
from kits.stock import actions
from kits.stock.errors import StockRefusal
from kits.stock.ledger import OnShelf
from kits.stock.lists.account import AccountSheet, account_sheet, job_account, lot_sheet
from kits.stock.lists.movements import may_be_taken_back, posting_movements
from kits.stock.lists.put_away import homes
from kits.stock.models import Balance, Lot, Place, Posting
from kits.stock.packets import may_be_resealed
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, Packet
from kits.web.forms import storeroom as forms
from kits.web.page_number import is_number
from kits.web.views.codes.printing import labels_link
from kits.web.views.purchasing.returns import may_send_back

MAY_POST = "stock.add_posting"


@dataclass(frozen=True, slots=True)
class Task:
    """One thing that can be done with an account: the word in the address, its title, help, button, form and action."""

    name: str
    title: str
    help: str
    button: str
    form: type[forms.QuantityForm]
    act: Callable[[AccountSheet, dict[str, Any], dict[str, Any]], Any]


@dataclass(frozen=True, slots=True)
class ShownTask:
    """A thing that can be done, with its form; open where the form was refused."""

    task: Task
    form: forms.QuantityForm
    open: bool


def move(sheet: AccountSheet, said: dict[str, Any], around: dict[str, Any]) -> None:
    target = replace(sheet.account, place_id=said["place"])
    actions.move_stock(source=sheet.account, target=target, quantity=said["quantity"], reason=said["reason"], **around)


def hold(sheet: AccountSheet, said: dict[str, Any], around: dict[str, Any]) -> None:
    where = {"place_id": said["place"], "decides": said["decides"]}
    actions.hold_stock(source=sheet.account, quantity=said["quantity"], reason=said["reason"], **where, **around)


def release(sheet: AccountSheet, said: dict[str, Any], around: dict[str, Any]) -> None:
    where = {"place_id": said["place"]}
    actions.release_stock(source=sheet.account, quantity=said["quantity"], reason=said["reason"], **where, **around)


def decide(sheet: AccountSheet, said: dict[str, Any], around: dict[str, Any]) -> None:
    actions.name_decider(lot=sheet.lot, decides=said["decides"], reason=said["reason"], **around)


def change_packet(sheet: AccountSheet, said: dict[str, Any], around: dict[str, Any]) -> None:
    how = {"packet": said["packet"], "reason": said["reason"]}
    actions.change_packet(source=sheet.account, quantity=said["quantity"], **how, **around)


def adjust(sheet: AccountSheet, said: dict[str, Any], around: dict[str, Any]) -> None:
    actions.adjust_stock(account=sheet.account, change=said["quantity"], reason=said["reason"], **around)


def scrap(sheet: AccountSheet, said: dict[str, Any], around: dict[str, Any]) -> None:
    actions.scrap_stock(source=sheet.account, quantity=said["quantity"], reason=said["reason"], **around)


MOVE = Task("move", "Move", "All of it or a part goes to another place.", "Move it", forms.MoveForm, move)
HOLD = Task(
    "hold",
    "Put into quarantine",
    "Nobody may use it until the one named here has decided.",
    "Put it into quarantine",
    forms.HoldForm,
    hold,
)
RELEASE = Task(
    "release",
    "Release from quarantine",
    "It may be used again. Write who decided, and why.",
    "Make it usable again",
    forms.MoveForm,
    release,
)
DECIDE = Task(
    "decide",
    "Name who must decide",
    "When somebody else has to say what becomes of it, or the question has changed.",
    "Name them",
    forms.DecideForm,
    decide,
)
PACKET = Task(
    "packet",
    "Packet opened",
    "Only when it was opened outside a pick round. What was closed again needs a label with lot and last use.",
    "Note it",
    forms.PacketForm,
    change_packet,
)
ADJUST = Task(
    "adjust",
    "Adjust without a count",
    "For what is known to be wrong without counting, such as pieces found under the bin. Else count it.",
    "Adjust it",
    forms.AdjustForm,
    adjust,
)
SCRAP = Task(
    "scrap",
    "Scrap",
    "Broken or spoiled pieces. For lots past their last day the disposal list keeps the record.",
    "Scrap it",
    forms.QuantityForm,
    scrap,
)


@require_http_methods(["GET", "HEAD", "POST"])
def show_account(request: HttpRequest, balance: int) -> HttpResponse:
    """One account, and what can be done with it; a refused form stays as it was filled in."""
    sheet = account_sheet(balance, today=today())
    if sheet is None:
        raise Http404("There is no such account of the shelf.")
    may_post, refused = request.user.has_perm(MAY_POST), ""
    asked = request.POST.get("do", "")
    shown = [show_task(task, sheet, request if task.name == asked else None) for task in tasks_of(sheet)]
    chosen = next((one for one in shown if one.open), None)
    if request.method == "POST" and not may_post:
        return render(request, "403.html", status=403)
    if request.method == "POST" and chosen is None:
        return redirect("lot", lot=sheet.lot.pk)
    if chosen and chosen.form.is_valid():
        try:
            key = chosen.form.request_key("stock", balance, sheet.shows, chosen.task.name)
            around = {"by": request.user, "at": timezone.now(), "key": key}
            chosen.task.act(sheet, chosen.form.cleaned_data, around)
            messages.success(request, f"{sheet.lot}: {chosen.task.title.lower()}, done.")
            return redirect("lot", lot=sheet.lot.pk)
        except BomError as error:
            refused = str(error)
    context = {"sheet": sheet, "tasks": shown if may_post else [], "refused": refused, "as_of": today()}
    context["may_send_back"] = may_send_back(request)
    context["alike"] = AlikeParts().of(sheet.lot.item.part_number)
    status = 409 if refused else 422 if chosen else 200
    return render(request, "web/storeroom/account.html", {**context, "door": "storeroom"}, status=status)


def tasks_of(sheet: AccountSheet) -> list[Task]:
    """What can be done with an account as it stands."""
    if not sheet.quantity:
        return [ADJUST]
    packet = [] if sheet.account.packet == Packet.LOOSE else [PACKET]
    return [MOVE, *([RELEASE, DECIDE] if sheet.held else [HOLD]), *packet, ADJUST, SCRAP]


def show_task(task: Task, sheet: AccountSheet, request: HttpRequest | None) -> ShownTask:
    """A thing that can be done, filled in as it was sent or as it is most likely."""
    around: dict[str, Any] = {"places": sheet.places, "prefix": None, "auto_id": f"{task.name}_%s"}
    if task in (MOVE, PACKET):
        around["must_say_why"] = False
    if request is not None:
        return ShownTask(task, task.form(request.POST, **around), True)
    place = sheet.cage_id if task is HOLD else sheet.home_id
    quantity = None if task is ADJUST or task is SCRAP else sheet.quantity.millionths
    return ShownTask(task, task.form(initial={"quantity": quantity, "place": str(place or "")}, **around), False)


@require_safe
def show_lot(request: HttpRequest, lot: int) -> HttpResponse:
    """One lot: where it is, its certificates, and its movements."""
    return render_lot(request, lot, forms.CertificateForm())


def render_lot(request: HttpRequest, lot: int, form: forms.CertificateForm, refused: str = "") -> HttpResponse:
    """The sheet of a lot, with the form of a certificate as it was filled in."""
    sheet = lot_sheet(lot, today=today())
    if sheet is None:
        raise Http404("There is no such lot.")
    context = {"sheet": sheet, "may_post": request.user.has_perm(MAY_POST), "form": form, "refused": refused}
    context |= {"alike": AlikeParts().of(sheet.lot.item.part_number), "as_of": today()}
    context |= {"pumps": pumps_of_lot(sheet.lot)}
    status = 409 if refused else 422 if form.errors else 200
    return render(request, "web/storeroom/lot.html", context | {"door": "storeroom"}, status=status)


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def take_posting_back(request: HttpRequest, posting: int) -> HttpResponse:
    """Post the reverse of a posting, with a reason; where it is refused, the reason stays as it was typed."""
    found, form = get_object_or_404(Posting, pk=posting), forms.TakeBackForm(request.POST)
    asked = request.POST.get("back", "")
    back = asked if url_has_allowed_host_and_scheme(asked, allowed_hosts=None) else reverse("movements")
    refused = ""
    if form.is_valid():
        try:
            if not may_be_taken_back(found, reversed_already=False):
                raise StockRefusal(
                    f"Posting {found.pk} is not taken back by itself: undo its line on the round, close the job anew, "
                    "open the kit, or lift the suspicion, whichever it came from."
                )
            key = form.request_key("back", found.pk)
            around: dict[str, Any] = {"by": request.user, "at": timezone.now(), "key": key}
            take_back(posting=found, reason=form.cleaned_data["reason"], **around)
            says = f"Posting {found.pk} is taken back: see that the pieces lie where they lay before."
            messages.success(request, says)
            return redirect(back)
        except BomError as error:
            refused = str(error)
    rows = posting_movements(found)
    context = {"posting": found, "rows": rows, "form": form, "refused": refused, "back": back, "as_of": today()}
    status = 409 if refused else 422
    return render(request, "web/storeroom/take_back.html", context | {"door": "storeroom"}, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_POST, raise_exception=True)
def return_from_bench(request: HttpRequest, balance: int) -> HttpResponse:
    """Take pieces back that a job did not use."""
    found = job_account(balance)
    if found is None:
        raise Http404("No job holds this.")
    held, account = found
    around: dict[str, Any] = {"places": homes(), "comes_back": may_come_back(held.lot)}
    form = (
        forms.BenchForm(request.POST, **around)
        if request.method == "POST"
        else forms.BenchForm(initial=first_guess(request, held), **around)
    )
    refused = ""
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            posting = actions.take_from_bench(
                source=account,
                target=bench_target(held.lot_id, said["goes"], said["place"]),
                quantity=said["quantity"],
                reason=said["reason"],
                by=cast(User, request.user),
                at=timezone.now(),
                key=form.request_key("bench", balance, held.quantity),
            )
            says = f"{held.lot} is back from {held.job}: label the packet with lot and last use."
            messages.success(request, format_html("{} {}", says, labels_link([posting], "Print its label")))
            return redirect(after_return(request))
        except BomError as error:
            refused = str(error)
    quantity = Amount.of(held.quantity, held.lot.item.stock_unit)
    context = {"held": held, "quantity": quantity, "form": form, "refused": refused, **around}
    context |= {"alike": AlikeParts().of(held.lot.item.part_number), "as_of": today(), "door": "storeroom"}
    status = 409 if refused else 422 if form.errors else 200
    return render(request, "web/storeroom/bench_return.html", context, status=status)


def after_return(request: HttpRequest) -> str:
    """Where to go on: to the bag or the list from which pieces were brought back."""
    bag = request.GET.get("bag", "")
    if is_number(bag):
        return reverse("bag", args=[int(bag)])
    return reverse("return_list" if "list" in request.GET else "bench_returns")


def may_come_back(lot: Lot) -> bool:
    """Whether pieces of a lot may go back into a bin from the bench."""
    return may_be_resealed(lot.item) and lot.pk not in lots_under_suspicion()


def first_guess(request: HttpRequest, held: Balance) -> dict[str, Any]:
    """What the form holds at first: how many, and the place from which the lot went into the bag, else its home."""
    place = places_of_lots(held.job).get(held.lot_id) if held.job else None
    if place is None and (home := Place.objects.by_name(held.lot.item.home_place)):
        place = home.pk
    return {"quantity": asked_for(request, held.quantity), "place": place}


def asked_for(request: HttpRequest, held: int) -> int:
    """How many come back: what the return list asked for, else all that the job holds."""
    try:
        asked = QuantityFormField(required=False).clean(request.GET.get("quantity", "")) or held
    except ValidationError:
        return held
    return asked if 0 < asked < held else held


def bench_target(lot_id: int, goes: str, place_id: int | None) -> OnShelf | None:
    """The account into which returned pieces go, None for scrap."""
    if goes == "scrap" or place_id is None:
        return None
    condition = Condition.QUARANTINE if goes == "quarantine" else Condition.USABLE
    return OnShelf(lot_id, place_id, condition.value, Packet.RESEALED.value)
