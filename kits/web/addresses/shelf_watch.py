"""The addresses of what is watched on the shelf: last days, minimum stocks, customers' lots, worth."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.storeroom import shelf_watch

urlpatterns: list[URLPattern] = [
    path("storeroom/ending/", shelf_watch.show_ending, name="ending_lots"),
    path("storeroom/use-first/", shelf_watch.show_use_first, name="use_first"),
    path("storeroom/top-up/", shelf_watch.show_top_up, name="bench_top_up"),
    path("storeroom/customers/", shelf_watch.show_customers, name="customer_lots"),
    path("storeroom/worth/", shelf_watch.show_worth, name="shelf_worth"),
]
