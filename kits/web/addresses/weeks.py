"""The addresses of what is looked at week by week: who waits, what changed, the week's sheet."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.weeks import changes, waiting, week

urlpatterns: list[URLPattern] = [
    path("waiting/", waiting.show_waiting, name="waiting"),
    path("week/", week.show_week, name="week_sheet"),
    path("changes/", changes.show_changes, name="changes"),
    path("changes/keep/", changes.keep, name="keep_answers"),
]
