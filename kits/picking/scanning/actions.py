"""What the shop says of codes that were on its labels before: each means one thing that has a code of ours."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.folding import fold
from kits.catalog.history.versions import keep_versions, rows_of
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.errors import PickRefusal
from kits.picking.scanning.scanned import read_scan
from kits.stock.codes.texts import read_text
from kits.stock.models import TaughtCode


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
