"""What a form carries from the page it stands on: a key that counts once, what the page showed, and since when.

All three are signed, so that nothing is booked that was not on a page of ours for a second: not by the second tap of a
slow hand, which meets the next line where the last one stood, and not from a page that has long been overtaken.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import time
from dataclasses import dataclass

from django import forms
from django.core.exceptions import ValidationError
from django.core.signing import BadSignature, Signer
from django.http import QueryDict

from kits.catalog.errors import Refusal
from kits.catalog.request_log import SAID, was_logged, was_repeated

SHOWN_SECONDS = 1.0
FOREIGN = "This page was put together by something other than this site: open it anew and try again."
TOO_SOON = (
    "That came within a second of the page, before anybody could read it, so nothing was booked: look at it, then tap "
    "again."
)
OVERTAKEN = (
    "This has changed since the page was opened, so nothing was booked: here is how it stands now. Look at it, then "
    "tap again."
)


@dataclass(frozen=True, slots=True)
class ShownPage:
    """What a key says: which it is, a digest of what the page showed, and the moment in seconds."""

    name: str
    what: str
    at: float


def new_key(kind: str, thing: object = "", *shows: object) -> str:
    """A signed key for one request: what it does with which thing, and what of that thing the page shows."""
    return _signer().sign(f"{secrets.token_urlsafe(12)}.{_digest(kind, thing, *shows)}.{_now():.3f}")


class KeyForm(forms.Form):
    """A request that counts once, however often its button is tapped, and only for what was on the page."""

    key = forms.CharField(
        max_length=200,
        widget=forms.HiddenInput,
        error_messages={"required": FOREIGN, "max_length": FOREIGN},
    )

    def clean_key(self) -> ShownPage:
        """What the key says, if it is one of ours."""
        try:
            name, what, at = _signer().unsign(self.cleaned_data["key"]).split(".", 2)
            return ShownPage(name, what, float(at))
        except (BadSignature, ValueError) as error:
            raise ValidationError(FOREIGN) from error

    def request_key(self, kind: str, thing: object = "", *shows: object, at_once: bool = False) -> str:
        """The key under which the request is booked; refuse what was not shown so, or not for a second.

        A key under which something was booked goes through: the booking answers for it as it did before. ``at_once``
        is for what a scanner sends: a label that was held in the hand need not have been on the page.
        """
        shown: ShownPage = self.cleaned_data["key"]
        name = f"{kind}:{thing}:{shown.name}"
        if not was_logged(name):
            if shown.what != _digest(kind, thing, *shows):
                raise Refusal(OVERTAKEN)
            if _now() - shown.at < SHOWN_SECONDS and not at_once:
                raise Refusal(TOO_SOON)
        return f"{name}{SAID}{self._said()}"

    def is_repeat(self, kind: str, thing: object = "") -> bool:
        """Whether this very request was booked before."""
        if not self.is_valid():
            return False
        name = f"{kind}:{thing}:{self.cleaned_data['key'].name}"
        return was_repeated(f"{name}{SAID}{self._said()}")

    def _said(self) -> str:
        """A digest of everything that was sent."""
        data = self.data
        sent = {name: data.getlist(name) if isinstance(data, QueryDict) else [data[name]] for name in data}
        rest = sorted((name, values) for name, values in sent.items() if name not in ("key", "csrfmiddlewaretoken"))
        return _digest(rest)


def refuse_foreign(form: KeyForm) -> None:
    """Refuse a form that says nothing but its key, and that wrongly."""
    if not form.is_valid():
        raise Refusal(form.errors["key"][0])


def _signer() -> Signer:
    return Signer(salt="kits.web.request_keys")


def _now() -> float:
    return time.time()


def _digest(*parts: object) -> str:
    return hashlib.sha256(json.dumps(parts, default=str).encode()).hexdigest()[:16]
