"""Pages travel packed; photos and workbooks, which are packed already, as they are."""

from __future__ import annotations

from typing import Any

from django.middleware.gzip import GZipMiddleware

PACKED = ("text/", "application/json", "application/javascript", "image/svg+xml")


class PackTexts(GZipMiddleware):
    """Packs texts of pages that are signed in too.

    Somebody who lets a page repeat what they chose, and sees how long the packed answers are, could guess a secret that
    stands beside it (the attack is called BREACH). No page holds one that stays: the token of forms is masked anew in
    each answer, keys of forms are new each time, and the library adds bytes of random length (Django's documentation of
    GZipMiddleware, since 4.2).
    """

    def process_response(self, request: Any, response: Any) -> Any:
        """Pack a text."""
        if not response.headers.get("Content-Type", "").startswith(PACKED):
            return response
        return super().process_response(request, response)
