"""Why a copy is not made, or not put in place."""

from __future__ import annotations


class CopyRefused(Exception):
    """Why, and what to do."""
