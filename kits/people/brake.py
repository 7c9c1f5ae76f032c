"""The brake on guessing passwords: for one name from one address, and for all names from one address together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import QuerySet, Sum
from django.http import HttpRequest

if TYPE_CHECKING:

    class AxesDatabaseHandler:
        """The library's own brake."""

        def filter_user_attempts(self, request: HttpRequest, credentials: Any = None) -> list[QuerySet[Any]]: ...
        def get_user_attempts(self, request: HttpRequest, credentials: Any = None) -> list[QuerySet[Any]]: ...
else:
    from axes.handlers.database import AxesDatabaseHandler

NAMES_AT_ONE_ADDRESS = 4
"""For so many names an address may use up the wrong passwords of one; by own judgement, as people share tablets."""


class Brake(AxesDatabaseHandler):
    """Counts both, and forgives a name that signs in its own wrong passwords alone.

    Otherwise anybody with a sign-in of their own could guess at others for ever, by signing in now and then.
    """

    def get_failures(self, request: HttpRequest, credentials: Any = None) -> int:
        """How far guessing has come, told in wrong passwords for one name."""
        of_name, of_address = (
            rows.aggregate(total=Sum("failures_since_start"))["total"] or 0
            for rows in self.get_user_attempts(request, credentials)
        )
        return max(of_name, of_address // NAMES_AT_ONE_ADDRESS)

    def reset_user_attempts(self, request: HttpRequest, credentials: Any = None) -> int:
        """Forget the wrong passwords of somebody who has signed in."""
        of_name, _ = self.filter_user_attempts(request, credentials)
        return of_name.delete()[0]
