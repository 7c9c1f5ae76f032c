"""Where each address leads: the pages of the shop, and the back office for master data."""

from __future__ import annotations

from django.contrib import admin
from django.urls import include, path
from django.views.generic import RedirectView

from kits.api.interface import addresses

admin.site.site_header = "Rebuild Bench: back office"
admin.site.site_title = "Rebuild Bench"
admin.site.index_title = "Master data"

handler500 = "kits.web.serving.outages.answer_fault"

urlpatterns = [
    path("back-office/password_change/", RedirectView.as_view(pattern_name="password")),
    path("back-office/", admin.site.urls),
    path("api/v1/", include((addresses(), "interface"))),
    path("", include("kits.web.addresses.urls")),
]
