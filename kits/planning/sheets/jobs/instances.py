"""Every opened assembly of a job where it stands in its pump, one by one, with its parts in assembly order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from bom.reading import Asker, JobAssembly, JobLine, Reading
from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.planning.sheets.jobs.sections import numbers_of
from kits.planning.sheets.jobs.strip_report import StripRow, StripSheet
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.line_notes import LineNote, LineNotes, note_of, read_line_notes
from kits.planning.words.part_kinds import kind_of, turned_to
from kits.planning.words.part_strip import DrawnPart

ASSEMBLY = "assembly"
SAYS = {
    "renew": "renewed",
    "missing": "missing",
    "keep": "good",
    "rework": "rework",
    "not_as_listed": "not as listed",
    "": "look",
}
LOOKS = {"renew": "new", "missing": "new", "keep": "back", "rework": "out", "not_as_listed": "out", "": "open"}


@dataclass(frozen=True, slots=True)
class PlacedPart:
    """One line of an opened assembly where it stands: ``number`` is its turn in the assembly.

    ``opens`` are the assemblies that are opened in turn; ``rows`` the positions that are looked at; ``kits`` bring the
    part.
    """

    number: int
    name: ItemName
    position: str
    quantity: int
    at_rebuild: str
    is_bench: bool
    note: LineNote
    kits: tuple[str, ...]
    rows: tuple[StripRow, ...]
    opens: tuple[str, ...]

    @property
    def amount(self) -> Amount:
        """How much of it one of the assembly holds."""
        return self.name.amount(self.quantity)

    @property
    def kind(self) -> str:
        """The kind of part, as it is drawn."""
        return ASSEMBLY if self.opens else kind_of(self.name)

    @property
    def turned(self) -> str:
        """The side to which it is open, where its list says so."""
        return turned_to(self.kind, self.note.orientation)

    @property
    def new_pieces(self) -> int:
        """How much of it is put in new, as far as anybody knows: millionths."""
        if self.at_rebuild == "renew":
            return self.quantity
        renewed = sum(row.is_renewed for row in self.rows)
        return self.quantity * renewed // len(self.rows) if self.rows else 0

    @property
    def unseen(self) -> int:
        """How many of its positions have still to be looked at."""
        return sum(not row.verdict and not row.because for row in self.rows)

    @property
    def look(self) -> str:
        """How it is drawn."""
        if self.opens or self.is_bench or not self.rows:
            return {"renew": "new", "open": "open"}.get(self.at_rebuild, "back")
        looks = {"new" if row.is_renewed else LOOKS[row.verdict] for row in self.rows}
        return next(look for look in ("open", "out", "new", "back") if look in looks)

    @property
    def says(self) -> str:
        """A word or two over its symbol."""
        if self.opens or self.is_bench or not self.rows:
            return {"renew": "bench" if self.is_bench else "new", "keep": "goes back"}.get(self.at_rebuild, "")
        counts = Counter(
            SAYS["renew"] if row.is_renewed and row.verdict != "missing" else SAYS[row.verdict] for row in self.rows
        )
        return ", ".join(says if len(self.rows) == 1 else f"{count} {says}" for says, count in counts.items())


@dataclass(frozen=True, slots=True)
class Instance:
    """One opened assembly: ``path`` from the pump down to it as a strip report writes it, ``name`` from its section.

    ``inside`` is the assembly that holds it, the path of it.
    """

    path: str
    part_number: str
    what: str
    depth: int
    inside: str
    parts: tuple[PlacedPart, ...]

    @property
    def pump(self) -> int:
        """The pump of the job that it is in, from 1."""
        return int(self.path.partition(" / ")[0].removeprefix("pump "))

    @property
    def name(self) -> str:
        """Its way from the section on."""
        return self.path.partition(" / ")[2]

    @property
    def section(self) -> str:
        """The path of its section."""
        return " / ".join(self.path.split(" / ")[:2])

    def drawn(self) -> tuple[DrawnPart, ...]:
        """Its parts as a strip."""
        return tuple(drawn_part(part) for part in self.parts)


def drawn_part(part: PlacedPart) -> DrawnPart:
    """One part of a strip."""
    return DrawnPart(
        number=part.number,
        part_number=part.name.part_number,
        what=f"{part.name.what}, {part.position}" if part.position else part.name.what,
        kind=part.kind,
        count="" if part.quantity == ONE else part.amount.text,
        look=part.look,
        says=part.says,
        turned=part.turned,
    )


def read_instances(reading: Reading, asker: Asker, strip: StripSheet) -> list[Instance]:
    """The opened assemblies of a job, pump by pump; two statements."""
    openings = reading.opened_by(asker)
    notes = read_line_notes({opening.part_number for opening in openings})
    return list(instances_of(reading, asker, openings, strip, item_names(numbers_of(openings)), notes))


def instances_of(
    reading: Reading,
    asker: Asker,
    openings: Sequence[JobAssembly],
    strip: StripSheet,
    names: Mapping[str, ItemName],
    notes: LineNotes,
) -> Iterator[Instance]:
    """The opened assemblies of a job pump by pump, each with what stands in it right behind it."""
    walk = _Walk(reading, strip.by_place, names, notes)
    below, tops = _as_tree(openings)
    for pump in range(1, (openings[0].pumps if openings else 0) + 1):
        running: Counter[str] = Counter()
        for top in tops:
            for _ in range(openings[top].section.how_many):
                part = openings[top].part_number
                running[part] += 1
                yield from walk.expand(openings, below, top, f"pump {pump} / {part} {running[part]}", "")


def in_order_of_work(instances: Iterable[Instance]) -> list[Instance]:
    """The same with what goes into an assembly before the assembly itself, as it is put together."""
    found: list[Instance] = []
    waiting: list[Instance] = []
    for instance in instances:
        while waiting and waiting[-1].path != instance.inside:
            found.append(waiting.pop())
        waiting.append(instance)
    return found + waiting[::-1]


@dataclass(frozen=True, slots=True)
class _Walk:
    reading: Reading
    rows: Mapping[tuple[str, str], StripRow]
    names: Mapping[str, ItemName]
    notes: LineNotes

    def expand(
        self, openings: Sequence[JobAssembly], below: Mapping[int, Sequence[int]], number: int, path: str, inside: str
    ) -> Iterator[Instance]:
        """One opened assembly, and behind it those inside it."""
        opening, running = openings[number], Counter[str]()
        parts: list[PlacedPart] = []
        inner: list[tuple[int, str]] = []
        children = iter(below.get(number, ()))
        for line in opening.lines:
            opens: list[str] = []
            if line.held.line.at_rebuild == "open":
                child = next(children)
                for _ in range(line.held.quantity // ONE):
                    running[line.held.child] += 1
                    opens.append(f"{line.held.child} {running[line.held.child]}")
                inner += [(child, f"{path} / {name}") for name in opens]
            parts.append(replace(self._part(line, path, tuple(opens)), number=len(parts) + 1))
        yield Instance(
            path, opening.part_number, self.names[opening.part_number].what, opening.depth, inside, tuple(parts)
        )
        for child, name in inner:
            yield from self.expand(openings, below, child, name, path)

    def _part(self, line: JobLine, path: str, opens: tuple[str, ...]) -> PlacedPart:
        held = line.held
        item = self.reading.items[held.child]
        rows: list[StripRow] = []
        if held.line.at_rebuild == "inspect" and not item.bench:
            pieces = held.quantity // ONE if item.countable else 1
            last = held.line.position or held.child
            places = [f"{last} {piece}" for piece in range(1, pieces + 1)] if pieces > 1 else [last]
            rows = [row for place in places if (row := self.rows.get((f"{path} / {place}", held.child)))]
        return PlacedPart(
            number=0,
            name=self.names[held.child],
            position=held.line.position,
            quantity=held.quantity,
            at_rebuild=held.line.at_rebuild,
            is_bench=item.bench,
            note=note_of(self.notes, held.line),
            kits=line.kits,
            rows=tuple(rows),
            opens=opens,
        )


def _as_tree(openings: Sequence[JobAssembly]) -> tuple[dict[int, list[int]], list[int]]:
    """Which openings stand inside which, and those of the scope; they come from the top down."""
    below: dict[int, list[int]] = {}
    tops: list[int] = []
    way: list[int] = []
    for number, opening in enumerate(openings):
        del way[opening.depth :]
        if way:
            below.setdefault(way[-1], []).append(number)
        else:
            tops.append(number)
        way.append(number)
    return below, tops
