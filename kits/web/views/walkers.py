"""A round that is not done in one go by one person: let it rest, take it over, hand it over, share it."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from kits.catalog.errors import Refusal
from kits.people.names import name_of
from kits.picking.models import PickRound, Walker
from kits.picking.rounds.sheet import RoundSheet
from kits.picking.walkers.actions import hand_over, rest_round, share_round, take_over
from kits.web.page_number import is_number
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.picking import MAY_PICK, find_round, picker


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
def rest(request: HttpRequest, number: int) -> HttpResponse:
    """Let the open lines of whoever asks rest."""

    def act(found: PickRound, sheet: RoundSheet, form: KeyForm) -> str:
        key = form.request_key("rest", number, sheet.hands)
        rest_round(pick_round=found, by=picker(request), at=timezone.now(), key=key)
        return "What is open rests. What is booked stays booked, and the bags stay where they stand."

    return change_walk(request, number, act)


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
def take(request: HttpRequest, number: int, walker: int) -> HttpResponse:
    """Go on with lines that rest, or that a colleague walked."""
    get_object_or_404(Walker, pk=walker, pick_round=number)

    def act(found: PickRound, sheet: RoundSheet, form: KeyForm) -> str:
        key = form.request_key("take over", walker, sheet.hands)
        take_over(pick_round=found, walker=walker, by=picker(request), key=key)
        return "These lines are yours now."

    return change_walk(request, number, act)


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
def give(request: HttpRequest, number: int) -> HttpResponse:
    """Hand all open lines to a colleague, or the second half of them."""

    def act(found: PickRound, sheet: RoundSheet, form: KeyForm) -> str:
        to, key = request.POST.get("to", ""), form.request_key("give", number, sheet.hands)
        give_lines = share_round if request.POST.get("how") == "half" else hand_over
        colleague = give_lines(pick_round=found, to=int(to) if is_number(to) else 0, by=picker(request), key=key)
        return f"{name_of(colleague)} walks {'the second half' if give_lines is share_round else 'it'} from now on."

    return change_walk(request, number, act)


def change_walk(
    request: HttpRequest, number: int, act: Callable[[PickRound, RoundSheet, KeyForm], str]
) -> HttpResponse:
    """Do one of these, say what came of it, and show the round."""
    found, form = get_object_or_404(PickRound, pk=number), KeyForm(request.POST)
    try:
        refuse_foreign(form)
        messages.success(request, act(found, find_round(number, request=request), form))
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("pick_round", number=number)
