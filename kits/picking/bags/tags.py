"""What a bag still lacks, each piece with the day on which it is expected: a tag that is gone once it was put in.

Nothing of it is stored. It is worked out from what lies in the bag and what the plan gives its job, so that a tag
closes itself with the piece.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.questions.bag_check import BagCheck
from bom.reading import Reading, Served, ServedBy
from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full
from kits.catalog.models import Item
from kits.picking.clean_work import class_of_bag
from kits.picking.closing.open_points import check_bag, goes_in_of
from kits.picking.models import Bag
from kits.picking.queries import bag_balances
from kits.planning.queries import reading_of
from kits.schedule.models import Job
from kits.stock.codes.coded_label import CodedLabel
from kits.stock.codes.texts import Code, CodeKind

ON_LABEL = 2


@dataclass(frozen=True, slots=True)
class Tag:
    """Pieces that a bag lacks; ``comes`` says how they are to come, ``on`` the day on which they are expected.

    ``brief`` is what of it has room on a tag.
    """

    item_id: int
    part_number: str
    what: str
    leads_to: str
    amount: Amount
    mark: str
    comes: str
    brief: str
    on: date | None
    size: str

    @property
    def says(self) -> str:
        """All of it in a line."""
        when = f" {in_full(self.on)}" if self.on else ""
        return f"{self.amount.text} × {self.part_number} still missing, {self.comes}{when}"


def check_of(plan: Plan, job: Job) -> BagCheck | None:
    """Everything that a job was given against what its pump needs; None where it asks for nothing."""
    return check_bag(plan, job, goes_in_of(bag_balances(job))) if job.asks else None


def tags_of(plan: Plan, bag: Bag, check: BagCheck | None) -> tuple[Tag, ...]:
    """What a bag lacks, part by part, by the check of its job; one statement."""
    if check is None or not check.missing:
        return ()
    items = {item.part_number: item for item in Item.objects.filter(part_number__in=check.missing)}
    mine = {
        part: quantity
        for part, quantity in check.missing.items()
        if class_of_bag(bag.job.cleanliness, items[part].cleanliness) == bag.cleanliness
    }
    reading = reading_of(plan)
    return tuple(tag for part, quantity in mine.items() for tag in _tags(plan, reading, bag, items[part], quantity))


def tag_labels(bag: Bag, tags: tuple[Tag, ...]) -> list[CodedLabel]:
    """Each tag as a label: scanned, it leads to the bag, which says whether it may come off."""
    code = Code(CodeKind.BAG, str(bag.number))
    return [
        CodedLabel(
            code,
            head=f"{tag.amount.text} × {tag.part_number}",
            what=tag.what,
            size=tag.size,
            facts=(
                ("Bag", f"{bag.number} · {bag.job.job}"),
                ("Expected", in_full(tag.on)) if tag.on else ("It", tag.brief),
            ),
            mind="STILL MISSING",
        )
        for tag in tags
    ]


def lacks_says(tags: tuple[Tag, ...]) -> str:
    """What of them stands on the label of the bag."""
    shown = [f"{tag.amount.text} × {tag.part_number}" for tag in tags[:ON_LABEL]]
    more = [f"{len(tags) - ON_LABEL} more"] if len(tags) > ON_LABEL else []
    return ", ".join((*shown, *more))


def _tags(plan: Plan, reading: Reading, bag: Bag, item: Item, missing: int) -> Iterator[Tag]:
    """One for each way in which what is missing comes; the last of it, where the plan knows of none, says so."""
    asker = reading.jobs.get(bag.job.job)
    served = [one for part, one in reading.served_of(asker) if part == item.part_number] if asker else []
    for one in (one for one in served if one.source is not ServedBy.BAG):
        count = min(one.quantity, missing)
        missing -= count
        if count:
            yield _tag(item, count, *_comes(one, plan.shop.as_of))
    if missing:
        says = "and nothing is planned for it: a kit in the bag may be without it"
        yield _tag(item, missing, "short", says, "is not planned")


def _tag(item: Item, count: int, mark: str, comes: str, brief: str, on: date | None = None) -> Tag:
    return Tag(
        item_id=item.pk,
        part_number=item.part_number,
        what=item.description,
        leads_to=item.kind if item.kind in ("kit", "pump") else "part",
        amount=Amount.of(count, item.stock_unit),
        mark=mark,
        comes=comes,
        brief=brief,
        on=on,
        size=" · ".join(filter(None, (item.size, item.material, item.hardness))),
    )


def _comes(served: Served, as_of: date) -> tuple[str, str, str, date | None]:
    """The state that a source brings, in a word for its shape, how it comes, the same in brief, and when."""
    if served.lot is not None:
        return "ready", f"lies at {served.lot.place}, not picked yet", f"lies at {served.lot.place}", None
    if served.source is ServedBy.PACKED:
        return "waiting", "to be packed here", "is packed here", None
    order = served.order
    if order is None:
        return "short", "on no order", "is on no order", None
    if order.promised < as_of:
        return "late", f"overdue on {order.order} since", order.order, order.promised
    return "late" if served.late else "waiting", f"expected on {order.order}", order.order, order.promised
