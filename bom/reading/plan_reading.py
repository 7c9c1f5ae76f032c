"""A finished plan, read: what pages, picking and workbooks may know of it."""

from __future__ import annotations

from functools import cached_property

from bom.plan import Plan
from bom.reading.askers import Asker, askers_of
from bom.reading.pieces import Piece, PieceTable
from bom.values import Item


class Reading:
    """What a finished plan says, in names, days and amounts; each part of it is worked out when it is first asked for.

    Attributes
    ----------
    plan : the plan that is read, to ask further questions of
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan

    @cached_property
    def askers(self) -> tuple[Asker, ...]:
        """The jobs and other needs that ask for parts, in the order of serving."""
        return tuple(askers_of(self.plan))

    @cached_property
    def jobs(self) -> dict[str, Asker]:
        """The jobs among them, by name."""
        return {asker.name: asker for asker in self.askers if asker.is_job}

    @cached_property
    def items(self) -> dict[str, Item]:
        """Everything in the catalog by part number, in the order of its sheet."""
        return {item.part_number: item for item in self.plan.demand.structure.items}

    @cached_property
    def _pieces(self) -> PieceTable:
        return PieceTable(self.plan, self.askers)

    def pieces_of(self, asker: Asker) -> tuple[Piece, ...]:
        """What a job or other need is sure to ask for, with what serves it; in the order of the plan."""
        return tuple(self._pieces.of_asker(asker.turn))
