"""What was sent in vain, for a page from which it can be sent again."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.utils.http import url_has_allowed_host_and_scheme


def to_send_again(request: HttpRequest) -> dict[str, Any]:
    """What the page needs: the address, everything that was typed, and whether that is all of it."""
    typed = [
        (name, value) for name, values in request.POST.lists() for value in values if name != "csrfmiddlewaretoken"
    ]
    came_from = request.headers.get("Referer", "")
    return {
        "again": request.get_full_path(),
        # The form may stand on another sheet than the address that it is sent to, which then cannot be looked at.
        "form": came_from if url_has_allowed_host_and_scheme(came_from, {request.get_host()}) else "",
        "sent": request.method == "POST",
        "typed": typed,
        # Files are not kept here, and a password is not written into a page.
        "kept": not request.FILES and not any("password" in name for name in request.POST),
    }
