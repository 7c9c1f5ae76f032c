"""Where clerks come from: a process that has everything imported and nothing open, from which each is forked.

Forked from the tests themselves, a clerk would share whatever they hold open: a connection, a lock, a browser.
"""

from __future__ import annotations

from pathlib import Path

import django

django.setup()

from django.db import connections  # noqa: E402 - the apps must be ready first

from tests.load.clerks import Clerk  # noqa: E402


def work(database: str, number: int, folder: Path, seconds: float, seed: int) -> None:
    """One clerk at work in a database until the time is up."""
    connections["default"].settings_dict["NAME"] = database
    Clerk(number, folder / f"{number}-{seed}.jsonl", seed).work(seconds)
    connections.close_all()
