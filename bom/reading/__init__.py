"""The door of the core: a finished plan as whoever stands outside reads it, in names, days and amounts."""

from bom.reading.askers import Asker
from bom.reading.pieces import Piece, Served, Source
from bom.reading.plan_reading import Reading

__all__ = [
    "Asker",
    "Piece",
    "Reading",
    "Served",
    "Source",
]
