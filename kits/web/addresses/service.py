"""The addresses of what the service lead keeps: arrivals, tests, quotes, what is on record of a pump, and tables."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.jobs import arrival
from kits.web.views.service import quotes, records, tables, tests

urlpatterns: list[URLPattern] = [
    path("arrivals/<path:job>/", arrival.show_arrival, name="arrival"),
    path("arrival-photos/<path:job>/", arrival.add_photos, name="add_photos"),
    path("arrival-serial/<path:job>/", arrival.correct_serial, name="correct_serial"),
    path("photos/<int:photo>/", arrival.show_photo, name="photo"),
    path("photos/<int:photo>/take-away/", arrival.remove_photo, name="remove_photo"),
    path("sign-for/<path:job>/", arrival.sign, name="sign_for"),
    path("signatures/<int:waiver>/take-back/", arrival.unsign, name="unsign"),
    path("fluids/", tables.show_fluids, name="fluids"),
    path("fluids/published/", tables.take_published, name="take_published"),
    path("fluids/<int:rule>/remove/", tables.remove_fluid_rule, name="remove_fluid_rule"),
    path("what-was-seen/", tables.show_signs, name="signs"),
    path("what-was-seen/<int:rule>/remove/", tables.remove_sign_rule, name="remove_sign_rule"),
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
