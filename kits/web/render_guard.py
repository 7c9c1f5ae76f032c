"""Refuses database statements while one of our pages is rendered: rows come finished from the queries."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import connection
from django.http import HttpRequest
from django.template.backends.django import Template

OURS = "web/"


class StatementWhileRendering(RuntimeError):
    """A template asked the database for something that the query should have brought along."""


def refuse(execute: Callable[..., Any], sql: str, *args: Any) -> Any:
    """Stand in for the execution of a statement."""
    raise StatementWhileRendering(f"A page may not ask the database while it is rendered, but it ran: {sql}")


def guard_rendering() -> None:
    """Guard every page from now on; for developers and tests, because it costs a failure instead of a slow page."""
    render = Template.render
    if getattr(render, "guarded", False):
        return

    def guarded(self: Template, context: Any = None, request: HttpRequest | None = None) -> str:
        if not (self.template.name or "").startswith(OURS):
            return render(self, context, request)
        with connection.execute_wrapper(refuse):
            return render(self, context, request)

    guarded.guarded = True  # type: ignore[attr-defined]
    Template.render = guarded  # type: ignore[method-assign, assignment]
