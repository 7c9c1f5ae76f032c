"""The addresses of what the service lead keeps: tests, quotes, and what is on record of a pump."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.service import quotes, records, tests

urlpatterns: list[URLPattern] = [
    path("tests/<path:job>/", tests.show_tests, name="test_sheet"),
    path("test-limits/<path:part_number>/", tests.show_limits, name="test_limits"),
    path("gauges/", tests.show_gauges, name="gauges"),
    path("quotes/<path:job>/", quotes.show_quote, name="quote"),
    path("quote-prints/<int:version>/<path:job>/", quotes.print_quote, name="quote_print"),
    path("go-aheads/<int:quote>/", quotes.give_go_ahead, name="give_go_ahead"),
    path("go-aheads/<int:go_ahead>/take-back/", quotes.take_back, name="take_go_ahead_back"),
    path("work-hours/", quotes.show_hours, name="work_hours"),
    path("records/<path:job>/", records.show_record, name="rebuild_record"),
    path("serials/<path:serial>/", records.show_serial, name="serial"),
]
