"""A setting typed by hand is checked as one that comes with a list."""

from __future__ import annotations

from typing import Any

from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.queries import KNOWN_SETTINGS, ShopSettings
from kits.people.back_office import RecordForm


class SettingForm(RecordForm):
    """One setting of the shop: a name that something reads, and a value that can stand for it."""

    def clean(self) -> dict[str, Any]:
        """Check the value by the words of the setting itself."""
        said: dict[str, Any] = super().clean() or {}
        name = fold(said.get("name", ""))
        if name and name not in KNOWN_SETTINGS:
            self.add_error("name", f"Nothing uses a setting named {said['name']}: the README names them all.")
        try:
            getattr(ShopSettings({name: said.get("value", "")}), name, None)
        except Refusal as error:
            self.add_error("value", str(error))
        return said
