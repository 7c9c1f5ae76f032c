"""The addresses of uploads that are worked on beside the request."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.uploads import work as upload_work

urlpatterns: list[URLPattern] = [
    path("upload/<int:upload>/progress/", upload_work.show_progress, name="upload_progress"),
    path("upload/<int:upload>/again/", upload_work.take_up_again, name="upload_again"),
]
