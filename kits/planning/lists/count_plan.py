"""What to count today, with the cost of a part taken from offers where the item has none of its own."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from kits.catalog.queries import read_settings
from kits.planning.lists.shelf_value import offered_costs
from kits.stock.counts.due import DueRow, due_rows


def rows_to_count(*, today: date, place: str = "", only_due: bool = True) -> Sequence[DueRow]:
    """The shelf by how overdue each count is, the dear and fast first; a fixed number of statements."""
    costs = {item_id: cost for item_id, (cost, _) in offered_costs(read_settings().currency).items()}
    return due_rows(today=today, costs=costs, place=place, only_due=only_due)
