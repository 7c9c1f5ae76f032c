"""What takes seconds on pages: how far it is, for whoever waits, leaves and comes back; then the file that was made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from kits.planning.keeping.begun import Begun


@dataclass(frozen=True, slots=True)
class LongWork:
    """What the page of long work says: what is worked out, its steps, and the name of the page one comes back from."""

    title: str
    doing: str
    steps: str
    door: str
    back: str
    back_says: str


WHOLE_SECONDS = 60.0
"""What cannot be answered by a page, as a list taken away as a file or what is booked, is waited for so long."""


def patience_for(request: HttpRequest) -> float | None:
    """How many seconds a request waits: none where it only looks how far the work is; None for as long as usual."""
    if request.method == "POST" or "export" in request.GET:
        return WHOLE_SECONDS
    return 0.0 if "work" in request.GET else None


def is_watched(request: HttpRequest) -> bool:
    """Whether a page asks by itself how far it is; what comes of it is told to the page that follows."""
    return "work" in request.GET and bool(getattr(request, "htmx", False))


def show_work(request: HttpRequest, begun: Begun[Any], work: LongWork) -> HttpResponse:
    """How far it is, at an address that begins nothing anew, so that it can be left and looked at again."""
    if "latest" in request.GET:
        return redirect(_address(request, work="1"))
    return render(request, "web/long_work.html", {"begun": begun, "work": work, "door": work.door})


def show_done(request: HttpRequest) -> HttpResponse:
    """Lead whoever watched the work to what came of it."""
    if getattr(request, "htmx", False):
        return HttpResponse(headers={"HX-Refresh": "true"})
    return redirect(_address(request))


def file_answer(request: HttpRequest, begun: Begun[bytes], work: LongWork, kind: str, name: str) -> HttpResponse:
    """The file once it is made; a page while it is made, where one waited for it, and where it is not of now.

    A file cannot take the place of the page that waited for it, so that page ends in a link to it.
    """
    if begun.future.done() and is_watched(request):
        return show_done(request)
    content = begun.answer
    if content is None:
        return show_work(request, begun, work) if "work" in request.GET else redirect(_address(request, work="1"))
    if "work" in request.GET or not (begun.of_now or "ready" in request.GET):
        context = {
            "begun": begun,
            "work": work,
            "kilobytes": -(-len(content) // 1000),
            "ready": _address(request, ready="1"),
            "latest": _address(request, latest="1"),
            "door": work.door,
        }
        return render(request, "web/file_ready.html", context)
    return HttpResponse(content, kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})


def _address(request: HttpRequest, **more: str) -> str:
    """The address of this page as it was first asked for, or asking something more."""
    asked = request.GET.copy()
    for name in ("work", "latest", "ready", "page"):
        asked.pop(name, None)
    asked.update(more)
    return f"{request.path}?{asked.urlencode()}" if asked else request.path
