"""The addresses of purchasing: orders, what is due, offers, requests, replies, and quotes."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.purchasing import comparison, orders, outside, quotes, rates, replies, requests
from kits.web.views.purchasing import front as purchasing

urlpatterns: list[URLPattern] = [
    path("purchasing/", purchasing.show_purchasing, name="purchasing"),
    path("purchasing/due/", purchasing.show_due, name="due_orders"),
    path("purchasing/offers/", purchasing.show_offers, name="offers"),
    path("purchasing/order/", orders.enter_order, name="enter_order"),
    path("purchasing/lines/<int:line>/", orders.show_line, name="order_line"),
    path("purchasing/lines/<int:line>/promise/", orders.move_promise, name="change_promise"),
    path("purchasing/requests/", requests.show_requests, name="requests"),
    path("purchasing/requests/new/", requests.new_request, name="new_request"),
    path("purchasing/requests/<str:number>/", requests.show_request, name="request"),
    path("purchasing/requests/<str:number>/workbook/", requests.download_request, name="request_workbook"),
    path("purchasing/requests/<str:number>/sent/", requests.send_request, name="send_request"),
    path("purchasing/requests/<str:number>/back/", requests.take_back, name="withdraw_request"),
    path("purchasing/requests/<str:number>/answer/", requests.type_answer, name="type_answer"),
    path("purchasing/replies/", replies.show_replies, name="replies"),
    path("purchasing/replies/<int:reply>/", replies.show_reply, name="reply"),
    path("purchasing/replies/<int:reply>/accept/", replies.accept_lines, name="accept_reply_lines"),
    path("purchasing/replies/lines/<int:line>/", replies.look_at_line, name="reply_line"),
    path("purchasing/replies/lines/<int:line>/decide/", replies.decide_line, name="decide_reply_line"),
    path("purchasing/comparison/", comparison.compare_quotes, name="compare_quotes"),
    path("purchasing/comparison/parts/", comparison.compare_parts, name="compare_parts"),
    path("purchasing/comparison/order/", comparison.order_chosen, name="order_chosen"),
    path("purchasing/outside/", outside.show_outside, name="outside"),
    path("purchasing/outside/send/", outside.send_outside, name="send_outside"),
    path("purchasing/outside/<int:work>/", outside.show_outside_work, name="outside_work"),
    path("purchasing/outside/<int:work>/paper/", outside.print_outside, name="outside_paper"),
    path("purchasing/outside/<int:work>/back/", outside.take_outside_back, name="take_outside_back"),
    path("purchasing/outside/<int:work>/promise/", outside.promise_outside, name="promise_outside"),
    path("purchasing/outside/<int:work>/not-sent/", outside.unsend_outside, name="unsend_outside"),
    path("purchasing/rates/", rates.show_rates, name="exchange_rates"),
    path("purchasing/quotes/", quotes.show_quotes, name="quotes"),
    path("purchasing/quotes/<int:quote>/drop/", quotes.drop, name="drop_quote"),
]
