"""LibreOffice without a window, started once for all that it is asked to save."""

import subprocess
import time
from pathlib import Path

from openpyxl import Workbook

from tests.conftest import OFFICE

XLSX = "xlsx:Calc MS Excel 2007 XML"
ODS = "ods:calc8"
# Every sheet into a text file of its own: comma, double quotation mark, UTF-8, numbers in full and not as shown.
EVERY_SHEET = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"


class Office:
    """A program that stays while a file is open in it; whoever starts another with its profile is served by it."""

    def __init__(self, folder: Path):
        self.folder, self.saved = folder, 0
        self._command = [OFFICE, f"-env:UserInstallation=file://{folder}/profile", "--headless"]
        kept = folder / "kept.xlsx"
        Workbook().save(kept)
        self._running = subprocess.Popen(
            [*self._command, "--norestore", kept], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        self._wait_until_open(folder / ".~lock.kept.xlsx#")

    def _wait_until_open(self, lock: Path):
        patience = time.monotonic() + 180
        while not lock.exists():
            assert self._running.poll() is None, "LibreOffice ended before it was asked"
            assert time.monotonic() < patience, "LibreOffice does not open a file"
            time.sleep(0.02)

    def save_as(self, content: bytes, kind: str, name: str = "book.xlsx") -> dict[str, bytes]:
        """Open a file, work it out, save it as another kind; the files that came of it by name."""
        assert self._running.poll() is None, "LibreOffice ended"
        self.saved += 1
        into = self.folder / f"out-{self.saved}"
        (self.folder / name).write_bytes(content)
        command = [*self._command, "--convert-to", kind, "--outdir", into, self.folder / name]
        done = subprocess.run(command, check=True, capture_output=True, timeout=180)
        made = {path.name: path.read_bytes() for path in into.iterdir()} if into.exists() else {}
        assert made, done.stderr.decode()
        return made

    def as_workbook(self, content: bytes, name: str = "book.xlsx") -> bytes:
        """What it makes of a file as a workbook."""
        return self.save_as(content, XLSX, name)[f"{name.rpartition('.')[0]}.xlsx"]

    def end(self):
        self._running.terminate()
        self._running.wait(60)
