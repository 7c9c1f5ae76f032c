"""The text of a sheet that an upload holds, as it goes into a field to be read as an indented list."""

from __future__ import annotations

from kits.catalog.errors import Refusal
from kits.exchange.files.raw_sheets import FileRefused
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.files.text_reader import text_of
from kits.exchange.models import Upload
from kits.exchange.reading.asking.instructions import Instructions
from kits.exchange.reading.indented.sheets import as_pasted
from kits.exchange.reading.sheet_files import raw_sheets, split_archive
from kits.exchange.uploads.heading_memory import read_instructions
from kits.exchange.uploads.outcome import outcome_from_json


def cells_to_paste(number: int, place: int) -> str:
    """The text of one of the sheets of an upload whose list is not known; empty where there is none."""
    upload = Upload.objects.filter(pk=number).first()
    asked = outcome_from_json(upload.outcome).unknown if upload else ()
    if upload is None or place >= len(asked):
        return ""
    try:
        for file in upload.files.all():
            for inside in split_archive(SheetFile(file.name, bytes(file.content))):
                if inside.name == asked[place].file:
                    return _text_of_sheet(inside, asked[place].sheet, read_instructions(upload))
    except FileRefused as error:
        raise Refusal(str(error)) from error
    return ""


def _text_of_sheet(file: SheetFile, sheet: str, instructions: Instructions) -> str:
    for raw in raw_sheets(file, instructions):
        if raw.name == sheet:
            charset = instructions.charsets.get(file.name, "")
            return text_of(file.content, file.name, charset)[0] if raw.from_text else as_pasted(raw)
    return ""
