"""The addresses of what is looked at week by week: who waits, what changed."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.weeks import changes, waiting

urlpatterns: list[URLPattern] = [
    path("waiting/", waiting.show_waiting, name="waiting"),
    path("changes/", changes.show_changes, name="changes"),
    path("changes/keep/", changes.keep, name="keep_answers"),
]
