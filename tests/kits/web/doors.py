"""Every address with who may see it, who may act on it, and what is there: whoever adds one says so here."""

from dataclasses import dataclass

from kits.planning.sheets.jobs.strip_report import position_key

NONE, MISSING = "", 987654
ALL = "clerk planner purchaser lead administrator viewer nobody"
EACH = "clerk planner purchaser lead administrator"
READ = f"{EACH} viewer"
STORE = "clerk administrator"
PICK = "clerk planner lead administrator"
PLAN = "planner lead administrator"
BUY = "purchaser administrator"
DECIDE = "lead administrator"
BRING = "clerk purchaser administrator"


@dataclass
class Door:
    """Who may look through it, who may act, and what stands behind.

    ``own`` are the arguments of an address that is there; ``foreign`` those of one whose pieces are there, but do not
    belong together, or (``foreign_is_there``) belong to somebody else, and ``foreign_do`` who acts on that; both take
    the shop. ``none`` are arguments of nothing, ``query`` what the address asks besides.
    """

    see: str = NONE
    do: str = NONE
    own: object = lambda shop: ()
    foreign: object = None
    none: tuple = ()
    foreign_is_there: bool = False
    foreign_do: str = ""
    query: str = ""


def there(*names, none=(MISSING,), **facts):
    """Arguments that are found with the shop by their names; plain values stand as they are."""

    def own(shop):
        return tuple(getattr(shop, name).pk if hasattr(shop, str(name)) else name for name in names)

    return {"own": own, "none": none, **facts}


def look(see=ALL, **facts):
    return Door(see=see, **facts)


def act(do, **facts):
    return Door(do=do, **facts)


def both(see, do, **facts):
    return Door(see=see, do=do, **facts)


LOADERS = {"jobs": "planner lead administrator", "items": "lead administrator"}
MISPLACED = (MISSING, MISSING)


def upload_of(do=LOADERS["jobs"], **facts):
    """An upload of jobs by the planner; another, of items, is the lead's."""
    other = LOADERS["items"] if do == LOADERS["jobs"] else do
    return {
        **there("jobs", **facts),
        "do": do,
        "foreign": lambda shop: (shop.items.pk,),
        "foreign_is_there": True,
        "foreign_do": other,
    }


DOORS = {
    "today": look(),
    "first_steps": look(),
    "sign_out": act(ALL),
    "password": both(ALL, ALL),
    "people": both("administrator", "administrator"),
    "person": look("administrator", own=lambda shop: (shop.people["clerk"].pk,), none=(MISSING,)),
    "change_person": act(
        "administrator",
        own=lambda shop: (shop.people["clerk"].pk, "left"),
        foreign=lambda shop: (shop.people["clerk"].pk, "paint"),
        none=(MISSING, "left"),
    ),
    "roles": look(),
    "programs": both(ALL, ALL),
    "programs_of": both(
        "clerk administrator", "clerk administrator", own=lambda shop: (shop.people["clerk"].pk,), none=(MISSING,)
    ),
    "withdraw_token": act("administrator clerk", **there("token")),
    "interface_guide": look(),
    "schedule": look(),
    "build_days": look(),
    "calendar": look(),
    "close_shop": act("planner administrator"),
    "open_shop": act("planner administrator"),
    "jobs": look(),
    "change_jobs": act(PLAN),
    "edit_row": both(PLAN, PLAN, **there("J-1", none=("NO-SUCH",))),
    "split_job": both(PLAN, PLAN, **there("J-1", none=("NO-SUCH",))),
    "new_jobs": both(PLAN, PLAN),
    "proposed_days": look(),
    "take_proposed_days": act(PLAN),
    "try_change": look(),
    "keep_change": act(PLAN),
    "freeing": look(),
    "choose_columns": act(ALL),
    "guide": look(),
    "guide_for": look(**there("planner", none=("owner",))),
    "waiting": look(),
    "week_sheet": look(),
    "who_changed": look(DECIDE),
    "notices": both(ALL, ALL),
    "changes": look(),
    "keep_answers": act("planner administrator"),
    "batch": look(**there("spring", none=("NO-SUCH",))),
    "shelf": look(**there("spring", none=("NO-SUCH",))),
    "job": look(**there("J-1", none=("NO-SUCH",))),
    "job_sections": look(**there("J-1", none=("NO-SUCH",))),
    "batch_sheet": look(**there("kits", "spring", none=("kits", "NO-SUCH")), foreign=lambda shop: ("paint", "spring")),
    "take_step": act(
        PLAN, own=lambda shop: ("move", "J-1"), foreign=lambda shop: ("paint", "J-1"), none=("move", "NO-SUCH")
    ),
    "strip_report": both(ALL, PLAN, **there("J-1", none=("NO-SUCH",))),
    "tray": look(**there("J-1", none=("NO-SUCH",))),
    "position_photos": both(
        ALL,
        PLAN,
        **there("J-1", none=("NO-SUCH",)),
        query=f"?position={position_key('pump 1 / E-1 1 / CK-1 1 / ball', 'BA-1')}",
    ),
    "take_strip_back": act(PLAN, own=lambda shop: (1, "J-1"), none=(1, "NO-SUCH")),
    "arrival": both(ALL, DECIDE, **there("J-1", none=("NO-SUCH",))),
    "add_photos": act(PLAN, **there("J-1", none=("NO-SUCH",))),
    "correct_serial": act(PLAN, **there("J-1", none=("NO-SUCH",))),
    "photo": look(**there("photo")),
    "remove_photo": act(PLAN, **there("photo")),
    "sign_for": act(DECIDE, **there("J-1", none=("NO-SUCH",))),
    "unsign": act(DECIDE, **there("waiver")),
    "fluids": both(ALL, DECIDE),
    "take_published": act(DECIDE),
    "remove_fluid_rule": act(DECIDE, **there("fluid_rule")),
    "signs": both(ALL, DECIDE),
    "remove_sign_rule": act(DECIDE, **there("sign_rule")),
    "take_concession_back": act(DECIDE, **there("concession")),
    "concede": act(DECIDE, **there("J-1", none=("NO-SUCH",))),
    "add_finding": act(PLAN, **there("J-1", none=("NO-SUCH",))),
    "remove_finding": act(PLAN, **there("J-1", none=("NO-SUCH",))),
    "worked_out": look(**there("needs", "OR-014", none=("needs", "NO-SUCH")), foreign=lambda shop: ("pack", "OR-014")),
    "how_sure": look(),
    "list_care": look(),
    "let_list_stand": act(DECIDE),
    "list_changes": look(),
    "change_list_line": both(DECIDE, DECIDE, **there("P-1", none=("NO-SUCH",)), foreign=lambda shop: ("K-1",)),
    "replace_number": both(DECIDE, DECIDE, **there("OR-014", none=("NO-SUCH",))),
    "revise_kit": both(DECIDE, DECIDE, **there("K-1", none=("NO-SUCH",)), foreign=lambda shop: ("P-1",)),
    "shortages": look(),
    "shortage_list": look(**there("wear", none=("paint",))),
    "workbook": look(),
    "scan": look(),
    "read_code": act(ALL),
    "read_place": look(),
    "taught_codes": both(ALL, STORE),
    "forget_code": act(STORE, **there("taught_code")),
    "place_labels": look(),
    "label": look(
        own=lambda shop: ("part", "OR-014"), none=("part", "NO-SUCH"), foreign=lambda shop: ("paint", "OR-014")
    ),
    "picking": look(READ),
    "set_aside": both(PLAN, PLAN),
    "take_back_sent": act(PLAN, **there("sent")),
    "start_round": act(PICK),
    "pick_round": look(READ, **there("round")),
    "pick_list": look(READ, **there("round")),
    "bag_labels": look(READ, **there("round")),
    "give_up_round": act(PICK, **there("round")),
    "rest_round": act(PICK, **there("round")),
    "give_round": act(PICK, **there("round")),
    "take_over_round": act(
        PICK,
        own=lambda shop: (shop.round.pk, shop.round.walkers.get().pk),
        foreign=lambda shop: (shop.round.pk, shop.other_round.walkers.get().pk),
        none=MISPLACED,
    ),
    "book_line": act(
        PICK,
        own=lambda shop: (shop.round.pk, shop.round.lines.first().pk),
        foreign=lambda shop: (shop.round.pk, shop.other_round.lines.first().pk),
        none=MISPLACED,
    ),
    "scan_line": act(
        PICK,
        own=lambda shop: (shop.round.pk, shop.round.lines.first().pk),
        foreign=lambda shop: (shop.round.pk, shop.other_round.lines.first().pk),
        none=MISPLACED,
    ),
    "undo_line": act(
        PICK,
        own=lambda shop: (shop.round.pk, shop.round.lines.first().pk),
        foreign=lambda shop: (shop.round.pk, shop.other_round.lines.first().pk),
        none=MISPLACED,
    ),
    "close_job": both(PICK, PICK, **there("J-1", none=("NO-SUCH",))),
    "answer_about_pump": act(
        PICK,
        own=lambda shop: (shop.question.pk, "J-1"),
        foreign=lambda shop: (shop.question.pk, "J-2"),
        none=(MISSING, "NO-SUCH"),
    ),
    "bag": look(READ, own=lambda shop: (shop.bag.number,), none=(MISSING,)),
    "bag_tags": look(READ, own=lambda shop: (shop.bag.number,), none=(MISSING,)),
    "give_bag": act(PICK, own=lambda shop: (shop.bag.number,), none=(MISSING,)),
    "put_bag": act(PICK, own=lambda shop: (shop.bag.number,), none=(MISSING,)),
    "bring_bag_back": act(
        PICK,
        own=lambda shop: (shop.bag.number, shop.hand_over.pk),
        foreign=lambda shop: (shop.other_bag.number, shop.hand_over.pk),
        none=MISPLACED,
    ),
    "counter": look(READ, **there("J-1", none=("NO-SUCH",))),
    "instead": look(READ, own=lambda shop: (shop.balance.lot.item_id, "J-1"), none=(MISSING, "NO-SUCH")),
    "give_instead": act(
        PICK,
        own=lambda shop: (shop.balance.pk, shop.balance.lot.item_id, "J-1"),
        foreign=lambda shop: (shop.with_job.pk, shop.balance.lot.item_id, "J-1"),
        none=(MISSING, MISSING, "NO-SUCH"),
    ),
    "give_extra": act(
        STORE,
        own=lambda shop: (shop.balance.pk, "J-1"),
        foreign=lambda shop: (shop.with_job.pk, "J-1"),
        none=(MISSING, "NO-SUCH"),
    ),
    "enter_paper": act(
        STORE,
        own=lambda shop: (shop.balance.pk, "J-1"),
        foreign=lambda shop: (shop.with_job.pk, "J-1"),
        none=(MISSING, "NO-SUCH"),
    ),
    "storeroom": look(),
    "receive": look(),
    "receive_line": both(STORE, STORE, **there("order_line")),
    "receive_part": both(STORE, STORE, **there("OR-014", none=("NO-SUCH",))),
    "put_away": look(),
    "put_into": act(STORE, **there("shelf")),
    "put_away_one": act(STORE, **there("balance")),
    "stock_account": both(ALL, STORE, **there("balance")),
    "lot": look(**there("ring")),
    "movements": look(),
    "take_back": act(STORE, **there("posting")),
    "quarantine": look(),
    "disposal": both(ALL, STORE),
    "disposed": look(),
    "bench_returns": look(),
    "return_list": look(),
    "storeroom_month": look(),
    "storeroom_month_rows": look(own=lambda shop: ("lines",), none=("paint",)),
    "free_set_aside": act(
        STORE,
        own=lambda shop: (shop.ring.pk, "J-1"),
        none=(MISSING, "NO-SUCH"),
    ),
    "bench_return": both(
        STORE,
        STORE,
        **there("with_job"),
        foreign=lambda shop: (shop.balance.pk,),
    ),
    "counts": both(ALL, STORE),
    "count_sheet": look(**there("count")),
    "count_print": look(**there("count")),
    "count_line": act(
        STORE,
        own=lambda shop: (shop.count.pk, shop.count.lines.first().pk),
        foreign=lambda shop: (shop.count.pk, shop.other_count.lines.first().pk),
        none=MISPLACED,
    ),
    "count_end": act(STORE, **there("count")),
    "labels": look(),
    "first_take": look(),
    "first_place": both(STORE, STORE, **there("shelf")),
    "first_end": act(STORE, **there("shelf")),
    "settle_unknown": act(STORE, **there("unknown")),
    "certificates": look(),
    "certificate_file": look(**there("certificate")),
    "attach_certificate": act(STORE, **there("ring")),
    "ending_lots": look(),
    "use_first": look(),
    "bench_top_up": look(),
    "customer_lots": look(),
    "shelf_worth": look(),
    "kits_on_shelf": look(),
    "pack_kit": both(ALL, STORE, **there("K-1", none=("NO-SUCH",))),
    "kit_lot": look(**there("kit")),
    "kit_work": act(
        STORE,
        own=lambda shop: (shop.kit.pk, shop.shelf.pk, "open"),
        foreign=lambda shop: (shop.kit.pk, shop.shelf.pk, "paint"),
        none=(MISSING, MISSING, "open"),
    ),
    "suspects": look(),
    "suspect": look(**there("ring")),
    "suspect_work": act(
        STORE,
        own=lambda shop: (shop.ring.pk, "freeze"),
        foreign=lambda shop: (shop.ring.pk, "paint"),
        none=(MISSING, "freeze"),
    ),
    "rings": look(),
    "purchasing": look(),
    "due_orders": look(),
    "offers": look(),
    "draft_orders": both(BUY, BUY, query="?supplier=Ring+House"),
    "change_draft": act(BUY, **there("draft")),
    "send_order": act(BUY, **there("draft")),
    "cancel_draft": act(BUY, **there("draft")),
    "orders": look(),
    "order": look(**there("PO-1", none=("PO-999",))),
    "print_order": look(**there("PO-S", none=("PO-999",))),
    "order_workbook": look(**there("PO-S", none=("PO-999",))),
    "confirm_order": both(BUY, BUY, **there("PO-S", none=("PO-999",))),
    "change_order_line": act(BUY, **there("order_line")),
    "split_order_line": act(BUY, **there("order_line")),
    "cancel_order_line": act(BUY, **there("order_line")),
    "log_call": act(BUY, **there("order_line")),
    "chase": look(),
    "supplier_records": look(),
    "returns": look(),
    "return_gone": act(BUY, **there("back")),
    "return_credit": act(BUY, **there("back")),
    "refuse_delivery": both(STORE, STORE, **there("order_line")),
    "send_back": both(f"{STORE} purchaser", f"{STORE} purchaser", **there("held")),
    "order_line": look(**there("order_line")),
    "change_promise": act(BUY, **there("order_line")),
    "requests": look(),
    "new_request": both(BUY, BUY),
    "request": look(**there("ASK-0001", none=("NO-SUCH",))),
    "request_workbook": look(**there("ASK-0001", none=("NO-SUCH",))),
    "send_request": act(BUY, **there("ASK-0001", none=("NO-SUCH",))),
    "withdraw_request": act(BUY, **there("ASK-0001", none=("NO-SUCH",))),
    "type_answer": both(BUY, BUY, **there("ASK-0001", none=("NO-SUCH",))),
    "compare_quotes": look(),
    "compare_parts": look(),
    "order_chosen": act(BUY),
    "replies": both(ALL, BUY),
    "reply": look(own=lambda shop: (shop.asked.reply_id,), none=(MISSING,)),
    "accept_reply_lines": act(BUY, own=lambda shop: (shop.asked.reply_id,), none=(MISSING,)),
    "reply_line": both(
        BUY,
        BUY,
        **there("asked"),
        foreign=lambda shop: (shop.answered.pk,),
        foreign_is_there=True,
        foreign_do=BUY,
    ),
    "decide_reply_line": act(BUY, **there("asked")),
    "exchange_rates": both(ALL, BUY),
    "ends": look(),
    "last_buy": look(**there("BA-1", none=("NO-SUCH",))),
    "mark_end": act(BUY, **there("BA-1", none=("NO-SUCH",))),
    "unmark_end": act(BUY, **there("BA-1", none=("NO-SUCH",))),
    "outside": look(),
    "send_outside": both(BRING, BRING, query="?part=BA-1"),
    "outside_work": look(**there("sent_out")),
    "outside_paper": look(**there("sent_out")),
    "take_outside_back": act(BRING, **there("sent_out")),
    "promise_outside": act(BRING, **there("sent_out")),
    "unsend_outside": act(BRING, **there("sent_out")),
    "quotes": look(),
    "drop_quote": act(BUY, **there("quote")),
    "pumps_and_parts": look(),
    "fit_kit": both(DECIDE, DECIDE, **there("K-1", none=("NO-SUCH",)), foreign=lambda shop: ("P-1",)),
    "unfit_kit": act(DECIDE, **there("K-1", none=("NO-SUCH",)), foreign=lambda shop: ("P-1",)),
    "edit_scope": both(DECIDE, DECIDE, **there("P-1", none=("NO-SUCH",)), foreign=lambda shop: ("K-1",)),
    "test_sheet": both(ALL, PLAN, **there("J-1", none=("NO-SUCH",))),
    "test_limits": both(ALL, DECIDE, **there("P-1", none=("NO-SUCH",)), foreign=lambda shop: ("K-1",)),
    "gauges": both(ALL, DECIDE),
    "quote": both(ALL, DECIDE, **there("J-1", none=("NO-SUCH",))),
    "quote_print": look(own=lambda shop: (1, "J-1"), foreign=lambda shop: (2, "J-1"), none=(1, "NO-SUCH")),
    "give_go_ahead": act(DECIDE, **there("offer")),
    "take_go_ahead_back": act(DECIDE, **there("agreed")),
    "work_hours": both(ALL, DECIDE),
    "rebuild_record": look(**there("J-1", none=("NO-SUCH",))),
    "serial": look(**there("S-77", none=("NO-SUCH",))),
    "pump": look(**there("P-1", none=("NO-SUCH",))),
    "drawn_pump": look(**there("P-1", none=("NO-SUCH",))),
    "kit": look(**there("K-1", none=("NO-SUCH",))),
    "part": look(**there("OR-014", none=("NO-SUCH",))),
    "uses": look(**there("OR-014", none=("NO-SUCH",))),
    "upload": both(EACH, EACH),
    "paste": both(LOADERS["jobs"], LOADERS["jobs"], own=lambda shop: ("Schedule",), none=("NoSuchSheet",)),
    "paste_indented": both(LOADERS["items"], LOADERS["items"]),
    "templates": look(),
    "lists": look(),
    "sheets": look(),
    "upload_history": look(EACH),
    "upload_preview": look(EACH, **there("jobs"), foreign=lambda shop: (shop.items.pk,), foreign_is_there=True),
    "upload_confirm": Door(**upload_of()),
    "upload_undo": Door(**upload_of()),
    "upload_headings": Door(**upload_of()),
    "upload_reading": Door(**upload_of()),
    "upload_items": Door(**{**upload_of(do=LOADERS["items"]), "see": LOADERS["items"]}),
    "upload_progress": look(EACH, **there("half_done")),
    "upload_again": act("planner administrator", **there("half_done")),
    "search": look(),
}
OPEN = {"sign_in", "sign_in_link", "health"}
"""Whoever has not signed in gets no further than here."""
