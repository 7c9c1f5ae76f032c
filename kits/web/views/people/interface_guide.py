"""What other programs can ask, drawn from the description that they read themselves."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.api.interface import told_operations
from kits.planning.queries import today


@require_safe
def show_interface(request: HttpRequest) -> HttpResponse:
    """Every operation with what it takes, and how a program begins."""
    context: dict[str, Any] = {"chapters": told_operations(), "as_of": today()}
    context["site"] = request.build_absolute_uri("/").rstrip("/")
    return render(request, "web/people/interface.html", context)
