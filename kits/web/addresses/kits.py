"""The addresses of packing kits, of suspect lots, and of rings that are looked up."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.storeroom import kits, rings, suspects

urlpatterns: list[URLPattern] = [
    path("storeroom/kits/", kits.show_kits, name="kits_on_shelf"),
    path("storeroom/kits/pack/<path:part_number>/", kits.show_packing, name="pack_kit"),
    path("storeroom/kits/lots/<int:lot_id>/", kits.show_kit_lot, name="kit_lot"),
    path("storeroom/kits/lots/<int:lot_id>/<int:place_id>/<slug:work>/", kits.do_with_kit, name="kit_work"),
    path("storeroom/suspects/", suspects.show_suspects, name="suspects"),
    path("storeroom/suspects/<int:lot_id>/", suspects.show_suspect, name="suspect"),
    path("storeroom/suspects/<int:lot_id>/<slug:work>/", suspects.do_with_suspect, name="suspect_work"),
    path("storeroom/rings/", rings.show_rings, name="rings"),
]
