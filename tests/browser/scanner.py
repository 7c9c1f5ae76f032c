"""A scanner held over a label: the browser's own keys, five milliseconds apart by the clock of the keyboard.

When the browser comes to them, on a machine that is busy, does not count: each key says when it was pressed.
"""

import time

APART = 0.005


def hold_under(page, code):
    """Type a code, and Enter, into whatever has the focus."""
    keyboard = page.context.new_cdp_session(page)
    first = time.time()
    for number, key in enumerate([*code, "Enter"]):
        sign = "\r" if key == "Enter" else key
        stroke = {"key": key, "timestamp": first + APART * number}
        keyboard.send("Input.dispatchKeyEvent", {"type": "keyDown", "text": sign, **stroke})
        keyboard.send("Input.dispatchKeyEvent", {"type": "keyUp", **stroke})
