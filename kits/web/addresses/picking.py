"""The addresses of picking."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views import picking, sending, walkers
from kits.web.views.jobs import bags, closing, stand_ins

urlpatterns: list[URLPattern] = [
    path("picking/", picking.show_picking, name="picking"),
    path("picking/set-aside/", sending.set_aside, name="set_aside"),
    path("picking/sent/<int:sent>/take-back/", sending.take_back_sent, name="take_back_sent"),
    path("picking/start/", picking.start_picking, name="start_round"),
    path("picking/<int:number>/", picking.show_round, name="pick_round"),
    path("picking/<int:number>/list/", picking.print_round, name="pick_list"),
    path("picking/<int:number>/labels/", picking.print_bag_labels, name="bag_labels"),
    path("picking/<int:number>/rest/", walkers.rest, name="rest_round"),
    path("picking/<int:number>/give/", walkers.give, name="give_round"),
    path("picking/<int:number>/walkers/<int:walker>/take-over/", walkers.take, name="take_over_round"),
    path("picking/<int:number>/give-up/", picking.give_up, name="give_up_round"),
    path("picking/<int:number>/lines/<int:line>/", picking.book_line, name="book_line"),
    path("picking/<int:number>/lines/<int:line>/scan/", picking.scan_line, name="scan_line"),
    path("picking/<int:number>/lines/<int:line>/undo/", picking.undo_booking, name="undo_line"),
    path("picking/bags/<int:number>/", bags.show_bag, name="bag"),
    path("picking/bags/<int:number>/label/", bags.print_tags, name="bag_tags"),
    path("picking/bags/<int:number>/hand-over/", bags.give_bag, name="give_bag"),
    path("picking/bags/<int:number>/place/", bags.put_bag, name="put_bag"),
    path("picking/bags/<int:number>/hand-over/<int:taken>/back/", bags.bring_bag_back, name="bring_bag_back"),
    path("picking/counter/<int:balance>/give/<path:job>/", bags.give_extra, name="give_extra"),
    path("picking/counter/<int:balance>/paper/<path:job>/", bags.enter_paper, name="enter_paper"),
    path("picking/counter/<int:balance>/instead/<int:part>/<path:job>/", stand_ins.give_instead, name="give_instead"),
    path("picking/instead/<int:part>/<path:job>/", stand_ins.show_instead, name="instead"),
    path("picking/jobs/<path:job>/counter/", bags.show_counter, name="counter"),
    path("picking/jobs/<path:job>/close/", closing.close, name="close_job"),
    path("picking/pump/<int:question>/<path:job>/", closing.answer, name="answer_about_pump"),
]
