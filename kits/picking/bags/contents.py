"""What lies in a bag: the lots that its job holds, by the class of the bag."""

from __future__ import annotations

from kits.picking.clean_work import class_of_bag
from kits.picking.models import Bag
from kits.stock.models import Balance


def balances_in(bag: Bag, *, state: str = "", whatever: bool = False) -> list[Balance]:
    """Return what of a job went into one of its bags, of one state or all; with ``whatever`` what is empty too."""
    rows = Balance.objects.of_jobs().filter(job=bag.job_id).select_related("lot__item", "job", "place")
    rows = rows.filter(state=state) if state else rows
    rows = rows if whatever else rows.filter(quantity__gt=0)
    mine = [row for row in rows if class_of_bag(bag.job.cleanliness, row.lot.item.cleanliness) == bag.cleanliness]
    return sorted(mine, key=lambda row: (row.lot.item.folded, row.lot.folded, row.state, row.pk))
