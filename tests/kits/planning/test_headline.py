"""One headline, one truth: what the sentences of a sheet count stands in its grid, its lists and the JSON answer."""

import re
from dataclasses import dataclass
from functools import cached_property

import pytest

from bom.answers.rows import as_json
from bom.plan import Plan
from bom.reading import Reading
from kits.planning.lists.buy_lists import sure_list, wear_list, wear_parts
from kits.planning.questions.batch_advice import AdviceDraft
from kits.planning.questions.freeing import frees_rows, instead_of_buying
from kits.planning.sheets.answer import answer_for
from kits.planning.sheets.jobs.grid import held_by, job_grid
from kits.planning.words import abroad, states
from kits.planning.words.item_names import ItemName
from kits.purchasing.rates.conversion import Rates
from tests.bom.results import plan_of


@pytest.fixture(autouse=True)
def no_tables_are_asked(monkeypatch):
    """Whether a shop asks for go-aheads, and what other money is worth, stands in tables that these shops lack."""
    monkeypatch.setattr(states, "agreed_jobs", lambda: None)
    monkeypatch.setattr(abroad, "read_rates", lambda as_of: Rates("EUR", (), as_of))


SHOPS = [(seed,) for seed in range(120)] + [(seed, "medium") for seed in range(25)]


@dataclass
class Sheet:
    """The parts of a batch's sheet that have to agree, made of a random shop without a database."""

    plan: Plan

    def __post_init__(self):
        self.reading = Reading(self.plan)
        self.shown = tuple(self.reading.jobs.values())[::2]
        self.jobs = [asker.name for asker in self.shown]
        self.names = {
            item.part_number: ItemName(item.part_number, "", item.kind, "part", "each" if item.countable else "mm")
            for item in self.plan.demand.structure.items
        }
        self.draft = AdviceDraft(self.plan, self.jobs)
        self.json = {row["job"]: row for row in as_json(self.plan)["jobs"] if row["job"] in self.jobs}

    @cached_property
    def grid(self):
        """What stands in the rows of the grid: the state, and the columns that hold the job."""
        grid = job_grid(self.reading, self.shown, held_by(self.reading, self.shown), self.names)
        return {
            row.job: (
                row.state,
                {c.order or c.part_number for c, x in zip(grid.columns, row.crossings, strict=True) if x},
            )
            for row in grid.jobs
        }

    @cached_property
    def frees(self):
        return frees_rows(self.draft.releases, self.jobs, self.names, self.plan.shop.as_of)

    @cached_property
    def sentences(self):
        sure = sure_list(self.reading, self.shown, self.names, {})
        wear = wear_list(self.reading, wear_parts(self.reading, self.shown), self.names)
        said = answer_for(self.reading, self.shown, sure, wear, self.draft.releases)
        return " ".join((said.answer, *said.rest))

    def counted(self, pattern):
        """The numbers that sentences of this pattern tell, added up; none is 0."""
        return sum(int(found) for found in re.findall(pattern, self.sentences))


@pytest.fixture(scope="module")
def sheets():
    made = [Sheet(plan_of(*shop)) for shop in SHOPS]
    return [sheet for sheet in made if sheet.shown]


def leaning(sheet):
    return {job for job, row in sheet.json.items() if row["leans_on_overdue"]}


def of_status(sheet, *words):
    return {job for job, row in sheet.json.items() if row["status"] in words}


def test_jobs_that_can_be_built_are_those_of_the_grid_and_the_answer(sheets):
    several = 0
    for sheet in sheets:
        built = of_status(sheet, "ready", "waiting") - leaning(sheet)
        in_grid = {job for job, (state, _) in sheet.grid.items() if state.mark in ("ready", "waiting")}
        in_grid -= {job for job, (state, _) in sheet.grid.items() if state.says == "waiting on a broken promise"}
        assert in_grid == built
        told = f"{len(built) or 'None'} of {len(sheet.jobs)} jobs"
        if len(sheet.jobs) == 1:
            told = "The job can be built" if built else "The job cannot be built"
        elif len(built) == len(sheet.jobs):
            told = f"All {len(built)} jobs can be built"
        assert sheet.sentences.startswith(told)
        several += 0 < len(built) < len(sheet.jobs)
    assert several > 5


def test_jobs_that_wait_for_a_broken_promise_alone_are_counted_alike(sheets):
    counted = 0
    for sheet in sheets:
        waiting = of_status(sheet, "waiting") & leaning(sheet)
        assert sheet.counted(r"(\d+) more only if") == len(waiting)
        assert {job for job, (state, _) in sheet.grid.items() if state.says == "waiting on a broken promise"} == waiting
        chases = [row for row in sheet.frees if all(part.order for part in row.parts)]
        told = {job.name for row in chases for job in row.jobs}
        assert told == {job for job in waiting if len(sheet.grid[job][1]) <= 2}, "pairs are the most that a row tells"
        counted += len(waiting)
    assert counted > 3


def test_short_jobs_that_can_be_in_time_are_counted_alike(sheets):
    counted = leaning_too = 0
    for sheet in sheets:
        short = {job for job in of_status(sheet, "short") if sheet.json[job]["days_late"] == 0}
        assert sheet.counted(r"(\d+) that (?:is|are) short can still") == len(short)
        assert {job for job, (state, _) in sheet.grid.items() if state.says.startswith("short, in time")} == short
        assert sheet.counted(r"(\d+) of them only if") == len(short & leaning(sheet))
        counted, leaning_too = counted + len(short), leaning_too + len(short & leaning(sheet))
    assert counted > 10
    assert leaning_too > 0


def test_overdue_orders_stand_in_the_grid_of_the_jobs_that_lean_on_them(sheets):
    for sheet in sheets:
        overdue = {line.order for line in sheet.plan.shop.orders if line.promised < sheet.plan.shop.as_of}
        assert {job for job, (_, held) in sheet.grid.items() if held & overdue} == leaning(sheet)


def test_rows_of_what_frees_most_are_those_of_the_answer_without_jobs_that_lean_on_an_order(sheets):
    """A job whose part can be had without the purchase has a row of its own."""
    apart = 0
    for sheet in sheets:
        wanted = {}
        for row in as_json(sheet.plan)["frees"]:
            for job in {*row["jobs"]} & set(sheet.jobs) - leaning(sheet):
                wanted.setdefault(row["part_number"], set()).add(job)
        found, instead = {}, instead_of_buying(sheet.draft.raw, sheet.plan)
        for row in sheet.frees:
            if len(row.parts) == 1 and not row.parts[0].order:
                found.setdefault(row.parts[0].part_number, []).append({job.name for job in row.jobs})
        assert {part: set().union(*rows) for part, rows in found.items()} == wanted
        for part, rows in found.items():
            without = {job for job in wanted[part] if (job, part) in instead}
            assert [row for row in rows if row & without] == [{job} for job in sorted(without)] or not without
            apart += len(without)
    assert apart > 3


def test_purchase_that_is_told_frees_jobs_that_nothing_else_holds(sheets):
    told = 0
    for sheet in sheets:
        found = re.search(
            r"Buying \d+ × \S+(?: mm)? (\S+?)(?: from [^.]*?)?(?: by [^.]*?)? frees ([^.]*)\.", sheet.sentences
        )
        buys = [row for row in sheet.frees if len(row.parts) == 1 and row.parts[0].to_do.startswith("buy ")]
        most = max((row.in_time for row in buys), default=0)
        if not found:
            assert not most
            continue
        part, jobs = found[1], named(found[2])
        (row,) = [row for row in buys if row.parts[0].part_number == part]
        assert row.in_time == most == jobs.count
        assert set(jobs.names) <= {job.name for job in row.jobs}
        for job in jobs.names:
            assert sheet.grid[job][1] == {part}, "no other column of the grid holds it"
            assert (job, part) not in instead_of_buying(sheet.draft.raw, sheet.plan), "no cheaper way stands below"
            assert sheet.json[job]["days_late"] == 0
        told += 1
    assert told > 3


@dataclass
class Named:
    names: list
    count: int


def named(text):
    """The names of a list as it is read aloud, and how many there are with those that are only counted."""
    more = re.search(r" and (\d+) more$", text)
    names = re.split(r", | and ", text[: more.start()] if more else text)
    return Named(names, len(names) + (int(more[1]) if more else 0))
