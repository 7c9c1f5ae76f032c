"""Style sheets and scripts bear a mark of their content in their names, so that browsers keep them for a year.

Nothing has to be collected for it: the mark is worked out when the site starts, from the files where they lie.
"""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import StaticFilesStorage

if TYPE_CHECKING:

    class WhiteNoiseMiddleware:
        """The library that serves files."""

        static_prefix: str

        def __init__(self, *args: Any, **kwargs: Any) -> None: ...
        def add_file_to_dictionary(self, url: str, path: str, stat_cache: Any = None) -> None: ...
else:
    from whitenoise.middleware import WhiteNoiseMiddleware

MARK_SIGNS = 12


class AddressedOnce(StaticFilesStorage):
    """Works the address of a file out once: a page names a dozen of them, and each page the same."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._addresses: dict[str | None, str] = {}

    def url(self, name: str | None) -> str:
        """The address of a file."""
        known = self._addresses.get(name)
        if known is None:
            known = self._addresses[name] = super().url(name)
        return known


class NamedByContent(AddressedOnce):
    """Gives each file the name under which it is served; as it lies where it is not there, or while it is written."""

    def url(self, name: str | None) -> str:
        """The address of a file."""
        return super().url(marked_name(name) if name and not settings.DEBUG else name)


class ServeByContent(WhiteNoiseMiddleware):
    """Serves each file under both names: the plain one for a minute, the marked one for good."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.marked: set[str] = set()
        super().__init__(*args, **kwargs)

    def add_file_to_dictionary(self, url: str, path: str, stat_cache: Any = None) -> None:
        """Take a file in."""
        super().add_file_to_dictionary(url, path, stat_cache)
        if url.startswith(self.static_prefix):
            marked = self.static_prefix + marked_name(url.removeprefix(self.static_prefix))
            if marked != url:
                self.marked.add(marked)
                super().add_file_to_dictionary(marked, path, stat_cache)

    def immutable_file_test(self, path: str, url: str) -> bool:
        """Whether a browser may keep it for good."""
        return url in self.marked


@cache
def marked_name(name: str) -> str:
    """The name of a file with the mark of its content; the plain name where there is no such file."""
    path = finders.find(name)
    if not path or not PurePosixPath(name).suffix:
        return name
    mark = hashlib.sha256(Path(path).read_bytes()).hexdigest()[:MARK_SIGNS]
    plain = PurePosixPath(name)
    return str(plain.with_name(f"{plain.stem}.{mark}{plain.suffix}"))
