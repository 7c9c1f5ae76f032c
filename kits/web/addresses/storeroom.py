"""The addresses of the storeroom's work."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.purchasing import returns as supplier_returns
from kits.web.views.storeroom import certificates as storeroom_certificates
from kits.web.views.storeroom import counts as storeroom_counts
from kits.web.views.storeroom import door as storeroom_door
from kits.web.views.storeroom import front as storeroom
from kits.web.views.storeroom import labels as storeroom_labels
from kits.web.views.storeroom import lists as storeroom_lists
from kits.web.views.storeroom import month as storeroom_month
from kits.web.views.storeroom import put_away, returns
from kits.web.views.storeroom import stock as storeroom_stock

urlpatterns: list[URLPattern] = [
    path("storeroom/", storeroom.show_storeroom, name="storeroom"),
    path("storeroom/receive/", storeroom_door.show_expected, name="receive"),
    path("storeroom/receive/lines/<int:line>/", storeroom_door.receive_line, name="receive_line"),
    path("storeroom/receive/parts/<path:part_number>/", storeroom_door.receive_part, name="receive_part"),
    path("storeroom/put-away/", put_away.show_put_away, name="put_away"),
    path("storeroom/put-away/<int:balance>/", put_away.put_away, name="put_away_one"),
    path("storeroom/put-away/into/<int:place>/", put_away.put_into, name="put_into"),
    path("storeroom/receive/lines/<int:line>/refuse/", supplier_returns.refuse, name="refuse_delivery"),
    path("storeroom/stock/<int:balance>/send-back/", supplier_returns.send, name="send_back"),
    path("storeroom/stock/<int:balance>/", storeroom_stock.show_account, name="stock_account"),
    path("storeroom/lots/<int:lot>/", storeroom_stock.show_lot, name="lot"),
    path("storeroom/movements/", storeroom_lists.show_movements, name="movements"),
    path("storeroom/movements/<int:posting>/take-back/", storeroom_stock.take_posting_back, name="take_back"),
    path("storeroom/quarantine/", storeroom_lists.show_quarantine, name="quarantine"),
    path("storeroom/disposal/", storeroom_lists.show_disposal, name="disposal"),
    path("storeroom/disposal/record/", storeroom_lists.show_disposed, name="disposed"),
    path("storeroom/month/", storeroom_month.show_month, name="storeroom_month"),
    path("storeroom/month/<slug:figure>/", storeroom_month.show_month_rows, name="storeroom_month_rows"),
    path("storeroom/bench/", storeroom_lists.show_bench, name="bench_returns"),
    path("storeroom/returns/", returns.show_returns, name="return_list"),
    path("storeroom/returns/free/<int:lot>/<path:job>/", returns.free_row, name="free_set_aside"),
    path("storeroom/bench/<int:balance>/", storeroom_stock.return_from_bench, name="bench_return"),
    path("storeroom/counts/", storeroom_counts.show_due, name="counts"),
    path("storeroom/counts/<int:number>/", storeroom_counts.show_sheet, name="count_sheet"),
    path("storeroom/counts/<int:number>/print/", storeroom_counts.print_sheet, name="count_print"),
    path("storeroom/counts/<int:number>/lines/<int:line>/", storeroom_counts.record_line, name="count_line"),
    path("storeroom/counts/<int:number>/end/", storeroom_counts.end_sheet, name="count_end"),
    path("storeroom/labels/", storeroom_labels.show_labels, name="labels"),
    path("storeroom/first/", storeroom_counts.show_first, name="first_take"),
    path("storeroom/first/<int:place>/", storeroom_counts.show_first_place, name="first_place"),
    path("storeroom/first/<int:place>/end/", storeroom_counts.end_first_place, name="first_end"),
    path("storeroom/unknown/<int:unknown>/", storeroom_counts.settle_find, name="settle_unknown"),
    path("storeroom/certificates/", storeroom_certificates.show_certificates, name="certificates"),
    path("storeroom/certificates/<int:certificate>/", storeroom_certificates.open_file, name="certificate_file"),
    path("storeroom/certificates/lots/<int:lot>/", storeroom_certificates.attach, name="attach_certificate"),
]
