"""What a person is asked about a file: headings that no column is known by, and lists that nothing tells apart."""

from __future__ import annotations

from dataclasses import dataclass

from kits.exchange.columns.layout import fold_heading


@dataclass(frozen=True, slots=True)
class StrangeHeading:
    """One heading that is not known: the column chosen for it (or nothing), and columns that are spelled alike."""

    heading: str
    column: str
    near: tuple[str, ...]

    @property
    def folded(self) -> str:
        """The heading as it is compared."""
        return fold_heading(self.heading)


@dataclass(frozen=True, slots=True)
class StrangeSheet:
    """The strange headings of one sheet, and the columns that none of its known headings takes."""

    sheet: str
    file: str
    header_set: str
    headings: tuple[StrangeHeading, ...]
    free: tuple[str, ...]

    @property
    def undecided(self) -> tuple[StrangeHeading, ...]:
        """The headings that nobody has said anything about."""
        return tuple(heading for heading in self.headings if not heading.column)


@dataclass(frozen=True, slots=True)
class UnknownList:
    """A sheet of which nothing says for sure which list it holds: the likely ones, and its first cells.

    ``indented`` says that it may be an indented list of what holds what, which is read otherwise than the sheets are.
    """

    file: str
    sheet: str
    likely: tuple[str, ...]
    indented: bool
    first: tuple[tuple[str, ...], ...]
