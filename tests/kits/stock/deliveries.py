"""One lot taken in at the door, as most tests need it."""

from kits.purchasing.receiving.actions import receive_delivery
from kits.purchasing.receiving.checks import DeliveredLot


def take_in(*, item, lot_code, facts, quantity, place_id, condition="usable", order_line=None, **around):
    """The posting by which a lot came in; ``around`` says by whom, when and under which key."""
    said = {"asked": {}, "reason": "", "short_life_reason": "", "over_reason": "", **around}
    lot = DeliveredLot(lot_code, facts, quantity, place_id, condition)
    return receive_delivery(item=item, order_line=order_line, lots=[lot], **said)[0]
