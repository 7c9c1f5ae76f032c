"""What a sheet shows when the lists contradict a rule, so that no plan can be made from them."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from bom.errors import BomError, ShopError

View = Callable[..., HttpResponse]


def needs_plan(view: View) -> View:
    """Show what has to be put right in the lists instead of a sheet that cannot be worked out."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            return view(request, *args, **kwargs)
        except ShopError as error:
            return render(request, "web/faults.html", {"faults": error.faults}, status=409)
        except BomError as error:
            return render(request, "web/faults.html", {"says": str(error)}, status=409)

    return guarded
