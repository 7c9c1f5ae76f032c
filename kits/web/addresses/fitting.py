"""The addresses at which it is said what kits fit and what scopes open."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.plan import fitting

urlpatterns: list[URLPattern] = [
    path("fits/away/<path:part_number>/", fitting.unfit_kit, name="unfit_kit"),
    path("fits/<path:part_number>/", fitting.fit_kit, name="fit_kit"),
    path("scopes/<path:part_number>/", fitting.edit_scope, name="edit_scope"),
]
