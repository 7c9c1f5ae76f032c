"""Codes that were on labels before ours: the shop says what each of them means."""

from __future__ import annotations

from kits.catalog.constraints import once
from kits.catalog.fields import CodeField, FoldedField, FoldedModel
from kits.catalog.history.versions import PastVersions


class TaughtCode(FoldedModel):
    """A text on an older label, and the code of ours that it stands for, such as ``PLACE A-12``."""

    text = CodeField(max_length=200)
    folded = FoldedField(of=("text",))
    means = CodeField(max_length=200)

    history = PastVersions()

    class Meta:
        app_label = "stock"
        ordering = ("folded",)
        constraints = (once("taught_code_once", "folded", says="The shop has been told what this code means already."),)

    def __str__(self) -> str:
        return f"{self.text} means {self.means}"
