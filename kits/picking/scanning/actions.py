"""What people do with codes: scan them before a line of a round, and say what those on older labels mean."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from kits.catalog.caching.revisions import hold_marks, mark_shop
from kits.catalog.folding import fold
from kits.catalog.history.versions import keep_versions, rows_of
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.actions import confirm_line
from kits.picking.clean_work import refuse_untrained
from kits.picking.errors import PickRefusal, WrongScanRefusal
from kits.picking.models import Confirmation, PickLine, PickShare, WrongScan
from kits.picking.scanning.scanned import Named, read_scan
from kits.picking.walkers.walking import refuse_other_hand
from kits.picking.words import LineState
from kits.stock.codes.texts import CodeKind, read_text
from kits.stock.models import Lot, TaughtCode


@dataclass(frozen=True, slots=True)
class LineScan:
    """What a scan did: ``says`` it in a sentence, and what was booked, if the last bag was scanned."""

    says: str
    booked: Confirmation | None = None


def scan_on_line(*, line: PickLine, text: str, by: User, at: datetime, key: str) -> LineScan:
    """Take a scan before a line, once per key: first its bin or packet, then each bag; with the last bag it is booked.

    What is not of this line is refused by its name, and nothing is booked; that it was scanned is kept.
    """
    try:
        return _scan(line, text, by, at, key)
    except WrongScanRefusal as refusal:
        _keep_wrong_scan(line, text, str(refusal), by, at, key)
        raise


def _scan(line: PickLine, text: str, by: User, at: datetime, key: str) -> LineScan:
    with transaction.atomic(durable=True):
        mark_shop()
        is_new = log_request(key)
        held = PickLine.objects.select_for_update(of=("self",)).select_related("lot__item", "place", "pick_round")
        line = held.get(pk=line.pk)
        refuse_untrained(by, line.pick_round.cleanliness, line.pick_round)
        refuse_other_hand(line, by)
        shares = list(line.shares.select_related("bag__job").order_by("bag__number"))
        if is_new:
            if line.state != LineState.OPEN:
                raise PickRefusal(f"Line {line.number} of {line.pick_round} is booked already: nothing was booked.")
            says = _take(line, shares, read_scan(text).named, text.strip())
        else:
            says = f"{text.strip()} was scanned."
        if not all(share.bag_scanned for share in shares):
            return LineScan(says)
    quantities = {share.bag.job_id: share.asked for share in shares}
    booked = confirm_line(line=line, quantities=quantities, by=by, at=at, request_key=f"full:{key}")
    return LineScan(f"Line {line.number} is booked in full.", booked)


def teach_code(*, text: str, means: str, by: User, at: datetime, key: str) -> TaughtCode:
    """Say once what a code on an older label means, or that it means something else from now on."""
    said = " ".join(text.split())
    if not said:
        raise PickRefusal("Which code? Scan the label, or type what stands on it.")
    if read_text(said):
        raise PickRefusal(f"“{said}” is a code of ours already: it means what it says and needs no other word.")
    with transaction.atomic(durable=True):
        mark_shop()
        found = read_scan(means)
        if found.only is None:
            choices = ", ".join(str(one.code) for one in found.named)
            says = f"may mean {choices}: name one of them so" if choices else "names nothing that the shop knows"
            raise PickRefusal(
                f"“{means.strip()}” {says}. Write the kind and the number, such as PLACE A-12 or PART and its number."
            )
        earlier = TaughtCode.objects.filter(folded=fold(said)).first()
        if not log_request(key) and earlier is not None:
            return earlier
        before = rows_of(TaughtCode, [earlier.pk]) if earlier else {}
        code = earlier or TaughtCode(text=said)
        code.means = str(found.only.code)
        code.save()
        keep_versions(TaughtCode, before, rows_of(TaughtCode, [code.pk]), by=by, at=at, why="")
        return code


def forget_code(*, code: int, by: User, at: datetime, key: str) -> None:
    """Say once that a code on an older label means nothing any more; one that is gone already is no fault."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        before = rows_of(TaughtCode, [code])
        TaughtCode.objects.filter(pk=code).delete()
        keep_versions(TaughtCode, before, {}, by=by, at=at, why="")


def _keep_wrong_scan(line: PickLine, text: str, says: str, by: User, at: datetime, key: str) -> None:
    """Keep that something wrong was scanned, once per key; no plan is the older for it."""
    wrong = WrongScan(line=line, text=text.strip()[:200], says=says[:500], key=key, by=by, at=at)
    with transaction.atomic(durable=True):
        hold_marks()
        WrongScan.objects.bulk_create([wrong], ignore_conflicts=True)


def _take(line: PickLine, shares: list[PickShare], named: tuple[Named, ...], text: str) -> str:
    """Note what a scan proves of the line, and say it."""
    wanted = {(CodeKind.PLACE, line.place_id), (CodeKind.LOT, line.lot_id), (CodeKind.PART, line.lot.item_id)}
    if found := next((one for one in named if (one.code.kind, one.key) in wanted), None):
        line.scanned = str(found.code)
        PickLine.objects.filter(pk=line.pk).update(scanned=line.scanned)
        return f"{found.code} is right: now scan {_bags_in_words(shares)}."
    bags = {one.key for one in named if one.code.kind is CodeKind.BAG}
    jobs = {one.key for one in named if one.code.kind is CodeKind.JOB}
    if into := next((share for share in shares if share.bag_id in bags or share.bag.job_id in jobs), None):
        if not line.scanned:
            raise PickRefusal(
                f"Scan the bin or the packet first, then bag {into.bag.number}: nothing of line {line.number} was "
                "scanned yet, and nothing was booked."
            )
        into.bag_scanned = True
        PickShare.objects.filter(pk=into.pk).update(bag_scanned=True)
        return f"Bag {into.bag.number} is right."
    raise WrongScanRefusal(_is_wrong(line, shares, named, text))


def _bags_in_words(shares: list[PickShare]) -> str:
    open_bags = [str(share.bag.number) for share in shares if not share.bag_scanned]
    return f"bag {open_bags[0]}" if len(open_bags) == 1 else f"the bags {', '.join(open_bags)}"


def _is_wrong(line: PickLine, shares: list[PickShare], named: tuple[Named, ...], text: str) -> str:
    """What was held in the hand instead, and what the line wants."""
    wants = f"line {line.number} wants {line.lot.item.part_number}, lot {line.lot.lot}, from {line.place.place}"
    if not named:
        return f"“{text}” is on no label that the shop knows; {wants}. Nothing was booked."
    one = named[0]
    if one.code.kind is CodeKind.LOT:
        lot = Lot.objects.select_related("item").get(pk=one.key)
        return f"This is {lot.item.part_number}, lot {lot.lot}; {wants}. Nothing was booked."
    if one.code.kind is CodeKind.BAG:
        return f"Bag {one.code.number} gets nothing of line {line.number}, which goes into {_bags_in_words(shares)}."
    return f"This is {one.code}; {wants}. Nothing was booked."
