"""The addresses of list care: what past rebuilds say of the lists, and lists changed with a name."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.care import front, lists

urlpatterns: list[URLPattern] = [
    path("list-care/", front.show_care, name="list_care"),
    path("list-care/let-stand/", front.let_stand, name="let_list_stand"),
    path("list-care/changes/", front.show_changes, name="list_changes"),
    path("list-care/line/<path:part_number>/", lists.change_line, name="change_list_line"),
    path("list-care/number/<path:part_number>/", lists.replace_number, name="replace_number"),
    path("list-care/contents/<path:part_number>/", lists.revise_kit, name="revise_kit"),
]
