"""The addresses of labels and scanned codes."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.codes import camera, labels, scan

urlpatterns: list[URLPattern] = [
    path("scan/", scan.scan, name="scan"),
    path("scan/photo/", camera.read_code, name="read_code"),
    path("scan/place/", scan.read_place, name="read_place"),
    path("codes/", scan.show_taught_codes, name="taught_codes"),
    path("codes/<int:code>/forget/", scan.forget, name="forget_code"),
    path("place-labels/", labels.show_place_labels, name="place_labels"),
    path("label/<slug:kind>/<path:number>/", labels.show_label, name="label"),
]
