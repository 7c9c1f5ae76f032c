#!/usr/bin/env python3
"""Every command of the product: ``demo``, ``test``, ``start``, ``load``, ``plan``, ``serve`` and more, and Django's.

Where the libraries are missing, the commands make ``.venv`` from a lock file once and run again there.
"""

from __future__ import annotations

import os
import sys

from kits.environment import CannotStart, is_complete, is_for_tests, run_in_own_environment


def main(arguments: list[str]) -> int:
    """Run one command and return its exit code."""
    try:
        if not is_complete(arguments):
            return run_in_own_environment(arguments)
    except CannotStart as refusal:
        print(f"manage.py: {refusal}", file=sys.stderr)
        return 1
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "kits.settings")
    if is_for_tests(arguments):
        return run_tests(arguments[1:])
    return run_command(arguments)


def run_tests(arguments: list[str]) -> int:
    """Run the test suite with pytest, handing its arguments through; the whole of it on every processor there is."""
    import pytest

    os.environ["SHOP_FILE"] = ""  # what a shop on this machine is told is none of their business
    return int(pytest.main(arguments or ["--numprocesses=auto", "--dist=loadfile"]))


def run_command(arguments: list[str]) -> int:
    """Run a management command; a setting that cannot be used is one sentence, not a trace."""
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line([sys.argv[0], *arguments])
    except ImproperlyConfigured as refusal:
        print(f"manage.py: {refusal}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
