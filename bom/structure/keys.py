"""How texts that people type are compared and ordered, and what names a structure line."""

from __future__ import annotations

import re
from functools import lru_cache

from bom.values import Line


@lru_cache(maxsize=1 << 16)
def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Order serials as people read them: runs of digits as numbers, letters without case.

    >>> natural_key("H3-0999") < natural_key("h4-7")
    True

    Parameters
    ----------
    text : a number or name, with digits in it
    """
    return tuple(
        (0, int(run), "") if run.isdecimal() else (1, 0, run.casefold()) for run in re.findall(r"\d+|\D+", text.strip())
    )


@lru_cache(maxsize=1 << 16)
def fold(text: str) -> str:
    """Words as they are compared: without case, outer and doubled spaces.

    >>> fold(" Harbour  Line ")
    'harbour line'

    Parameters
    ----------
    text : as it was typed
    """
    return " ".join(text.split()).casefold()


def line_key(line: Line) -> tuple[str, ...]:
    """The natural key of a structure line, as the Structure sheet has it.

    Parameters
    ----------
    line : of the structure
    """
    options = ";".join(f"{name}={value}" for name, value in line.options)
    return (
        line.parent,
        line.child,
        line.position,
        options,
        line.from_on.isoformat() if line.from_on else "",
        line.from_serial,
    )
