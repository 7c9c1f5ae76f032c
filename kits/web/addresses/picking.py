"""The addresses of picking."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views import picking, sending
from kits.web.views.jobs import closing

urlpatterns: list[URLPattern] = [
    path("picking/", picking.show_picking, name="picking"),
    path("picking/set-aside/", sending.set_aside, name="set_aside"),
    path("picking/sent/<int:sent>/take-back/", sending.take_back_sent, name="take_back_sent"),
    path("picking/start/", picking.start_picking, name="start_round"),
    path("picking/<int:number>/", picking.show_round, name="pick_round"),
    path("picking/<int:number>/list/", picking.print_round, name="pick_list"),
    path("picking/<int:number>/labels/", picking.print_bag_labels, name="bag_labels"),
    path("picking/<int:number>/give-up/", picking.give_up, name="give_up_round"),
    path("picking/<int:number>/lines/<int:line>/", picking.book_line, name="book_line"),
    path("picking/<int:number>/lines/<int:line>/scan/", picking.scan_line, name="scan_line"),
    path("picking/<int:number>/lines/<int:line>/undo/", picking.undo_booking, name="undo_line"),
    path("picking/jobs/<path:job>/close/", closing.close, name="close_job"),
]
