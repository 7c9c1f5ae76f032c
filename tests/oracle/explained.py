"""What the matched pieces say of a job: when they arrive, how good that is, and what is to blame."""

from datetime import date

READY, WAITING, LATE, SHORT = range(4)
WORDS = ("ready", "waiting", "late", "short")
UNKNOWN_ARRIVAL = date.max


class Explained:
    """Arrival and state of pieces, given the lead time of every item that is to be bought."""

    def __init__(self, shop, structure, calendar, buying_lead):
        self.as_of, self.structure, self.calendar, self.buying_lead = shop.as_of, structure, calendar, buying_lead

    def arrival(self, piece) -> date | None:
        """The day on which the last part of the piece is here; None when nobody can say."""
        days = [self.as_of]
        days += [order.arrives for order, _, _ in piece.orders]
        if piece.packed:
            days.append(self.packed_on(piece))
        if piece.uncovered:
            lead = self.buying_lead(piece.part_number)
            days.append(None if lead is None else lead.forward(self.calendar, self.as_of))
        return None if None in days else max(days)

    def packed_on(self, piece) -> date | None:
        packing = self.structure.items[piece.part_number].lead_days or 0
        days = [self.as_of, *(self.arrival(inside) for inside in piece.contents)]
        if None in days:
            return None
        return self.calendar.forward(max(days), packing)

    def packed_late(self, piece) -> bool:
        packed_on = self.packed_on(piece)
        return packed_on is not None and packed_on > piece.need

    def state(self, piece) -> int:
        state = READY
        for _, _, late in piece.orders:
            state = max(state, LATE if late else WAITING)
        if piece.packed:
            inside = max((self.state(content) for content in piece.contents), default=READY)
            state = SHORT if inside == SHORT else max(state, LATE if self.packed_late(piece) else WAITING)
        return SHORT if piece.uncovered else state

    def to_blame(self, piece) -> set:
        """Items, as deep as it goes, that are missing or late."""
        blamed = set()
        if piece.uncovered or any(late for _, _, late in piece.orders):
            blamed.add(piece.part_number)
        if piece.packed:
            inside = set().union(*(self.to_blame(content) for content in piece.contents))
            if not inside and self.packed_late(piece):
                inside = {piece.part_number}
            blamed |= inside
        return blamed

    def worst_of(self, pieces):
        """In the worst state, then the last to arrive, then the smallest part number."""
        worst = max(self.state(piece) for piece in pieces)
        pieces = [piece for piece in pieces if self.state(piece) == worst]
        last = max(self.arrival(piece) or UNKNOWN_ARRIVAL for piece in pieces)
        pieces = [piece for piece in pieces if (self.arrival(piece) or UNKNOWN_ARRIVAL) == last]
        return min(pieces, key=lambda piece: piece.part_number)

    def blocking_part(self, pieces) -> str:
        piece = self.worst_of(pieces)
        while piece.packed:
            missing = [inside for inside in piece.contents if self.state(inside) != READY]
            if not missing:
                break
            piece = self.worst_of(missing)
        return piece.part_number
