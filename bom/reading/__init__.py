"""The door of the core: a finished plan as whoever stands outside reads it, in names, days and amounts."""

from bom.answers.never_asked import NeverAsked
from bom.answers.shelf_chance import ShelfChance
from bom.buying.order_size import Abroad, NextBreak
from bom.reading.askers import Asker
from bom.reading.buying import ChosenOffer, PurchaseRow
from bom.reading.coming import OrderDraw
from bom.reading.kits import KitOfJob, KitPart
from bom.reading.lists import HeldLine, Lists
from bom.reading.opened import Inspected, Inspections, JobAssembly, JobLine
from bom.reading.pieces import Piece, Served, ServedBy
from bom.reading.plan_reading import Reading
from bom.reading.shelf import ItemStock, LotRow, Take
from bom.reading.wear import Wear, WearInJob
from bom.status.jobs import STATUS
from bom.structure.keys import natural_key as serial_order

__all__ = [
    "STATUS",
    "Abroad",
    "Asker",
    "ChosenOffer",
    "HeldLine",
    "Inspected",
    "Inspections",
    "ItemStock",
    "JobAssembly",
    "JobLine",
    "KitOfJob",
    "KitPart",
    "Lists",
    "LotRow",
    "NeverAsked",
    "NextBreak",
    "OrderDraw",
    "Piece",
    "PurchaseRow",
    "Reading",
    "Served",
    "ServedBy",
    "ShelfChance",
    "Take",
    "Wear",
    "WearInJob",
    "serial_order",
]
