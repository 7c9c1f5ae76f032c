"""What stands in the cells that a problem is about, exactly as it was typed; looked up in the files once more.

A record holds what its cells mean: names as the shop spells them, quantities in millionths, what a blank stands for.
To keep what was typed beside that would take memory for every long list of which nothing is wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from kits.exchange.files.raw_sheets import is_blank
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.problems.findings import CellPlace, Findings, Problem, quote_value
from kits.exchange.reading.asking.instructions import Instructions
from kits.exchange.reading.sheet_files import read_sheets


def quote_as_typed(findings: Findings, files: Sequence[SheetFile], instructions: Instructions) -> None:
    """Give every problem and question that was found in the records the value of its cell; a blank one has none."""
    if not findings.to_quote:
        return
    cells = _cells(findings.to_quote, files, instructions)

    def quoted(problem: Problem) -> Problem:
        return replace(problem, value=cells.get(problem.cell, "")) if problem.cell in findings.to_quote else problem

    findings.problems = [quoted(problem) for problem in findings.problems]
    findings.questions = [quoted(question) for question in findings.questions]
    findings.to_quote = set()


def _cells(wanted: set[CellPlace], files: Sequence[SheetFile], instructions: Instructions) -> dict[CellPlace, str]:
    rows = {cell[:3] for cell in wanted}
    return {
        (headings.file, headings.sheet.name, row.number, column.name): quote_value(
            row.values[position], row.formats.get(position, "")
        )
        for headings in read_sheets(files, Findings(), instructions)
        for row in headings.rows
        if (headings.file, headings.sheet.name, row.number) in rows
        for position, column in headings.columns
        if position < len(row.values) and not is_blank(row.values[position])
    }
