"""What the plan is measured against: products with SciPy, and a recursive query in SQLite that minds conditions."""

import sqlite3
from collections import Counter

import numpy as np
from scipy.sparse import csc_array, csr_array

from bom.demand.recipes import answers_of
from bom.structure.arrays import INSPECT, OPEN, RENEW, day_number
from bom.values import ONE
from tests.benchmarks.explosion_peers import TriangularSolve, load_duck

WEEKS = 52
TOTALS = """
WITH RECURSIVE walk (job, answers, day, serial_left, serial_right, item, instances) AS (
    SELECT job.number, job.answers, job.day, job.serial_left, job.serial_right,
           scope.section, scope.how_many * job.quantity
    FROM job JOIN scope ON scope.scope = job.scope
    UNION ALL
    SELECT walk.job, walk.answers, walk.day, walk.serial_left, walk.serial_right,
           line.child, walk.instances * line.pieces
    FROM walk JOIN line ON line.parent = walk.item AND line.action = :opens
    WHERE line.from_day <= walk.day AND walk.day <= line.to_day
      AND line.from_mark < walk.serial_right AND walk.serial_left <= line.to_mark
      AND (line.requirement = 0
           OR EXISTS (SELECT 1 FROM met WHERE met.answers = walk.answers AND met.requirement = line.requirement))
)
SELECT line.child, line.action, SUM(walk.instances * line.quantity)
FROM walk JOIN line ON line.parent = walk.item AND line.action IN (:renews, :inspects)
WHERE line.from_day <= walk.day AND walk.day <= line.to_day
  AND line.from_mark < walk.serial_right AND walk.serial_left <= line.to_mark
  AND (line.requirement = 0
       OR EXISTS (SELECT 1 FROM met WHERE met.answers = walk.answers AND met.requirement = line.requirement))
GROUP BY line.child, line.action
"""
"""All that all jobs renew and inspect, by item, with the options, dates and serials that the lines ask for."""


def opened_sections(structure, jobs):
    """Item and how many, for each section that a job opens."""
    return [
        (structure.index[row.section], row.how_many * job.quantity)
        for job in jobs
        for row in structure.scopes[job.pump, job.scope]
    ]


class Product:
    """The structure as a sparse matrix of floats, and a dense one with a column for each week of the year."""

    def __init__(self, structure, seed):
        count = len(structure.items)
        self.matrix = csr_array((structure.quantity / ONE, (structure.child, structure.parent)), shape=(count, count))
        self.weeks = np.random.default_rng(seed).random((count, WEEKS))

    def multiply(self):
        return self.matrix @ self.weeks


class ProductsByJob:
    """What each job renews, level by level with sparse matrices that have a column for each job.

    Options, dates and serials are left aside, so its totals are not those of the shop: it shows what the bare
    arithmetic costs when each job keeps its own answer.
    """

    def __init__(self, structure, jobs):
        count = len(structure.items)
        self.opens = self._matrix(structure, structure.action == OPEN, count)
        self.renews = self._matrix(structure, (structure.action == RENEW) & ~structure.bench[structure.child], count)
        opened = [
            (structure.index[row.section], number, row.how_many * job.quantity)
            for number, job in enumerate(jobs)
            for row in structure.scopes[job.pump, job.scope]
        ]
        section, number, times = np.array(opened).T
        self.opened = csr_array((times.astype(float), (section, number)), shape=(count, len(jobs)))

    @staticmethod
    def _matrix(structure, chosen, count):
        places = (structure.child[chosen], structure.parent[chosen])
        return csr_array((structure.quantity[chosen] / ONE, places), shape=(count, count))

    def multiply(self):
        total = front = self.opened
        while front.nnz:
            front = self.opens @ front
            total = total + front
        return self.renews @ total


class SolveByJob:
    """SciPy's triangular solve with a column for each job, so many columns at a time.

    This is the floor of a plan that keeps each job's answer apart; a column for each week says less than is asked.
    """

    columns = 200

    def __init__(self, structure, jobs):
        self.solve = TriangularSolve(structure, np.zeros(len(structure.items), np.int64))
        section, number, times = np.array(
            [(section, n, times) for n, job in enumerate(jobs) for section, times in opened_sections(structure, [job])]
        ).T
        shape = (len(structure.items), len(jobs))
        self.wanted = csc_array((times * float(ONE), (section, number)), shape=shape)

    def work(self):
        """Millionths of each item for all jobs together; what each job takes is worked out and let go."""
        total = np.zeros(self.wanted.shape[0])
        for first in range(0, self.wanted.shape[1], self.columns):
            block = self.wanted[:, first : first + self.columns].toarray()
            total += self.solve.read(self.solve.of(block)).sum(axis=1)
        return total


class Query:
    """The shop in a database in memory, ready to be asked.

    The query is spared what it would be slow at: part numbers are numbers, sets of options are matched beforehand, and
    each list lies together under its parent, without the bench items.
    """

    name = "query"

    def __init__(self, structure, jobs):
        self.database = sqlite3.connect(":memory:")
        self.database.executescript("""
            CREATE TABLE line (
                parent INTEGER, action INTEGER, number INTEGER, child INTEGER, quantity INTEGER, pieces INTEGER,
                requirement INTEGER, from_day INTEGER, to_day INTEGER, from_mark INTEGER, to_mark INTEGER,
                PRIMARY KEY (parent, action, number)
            ) WITHOUT ROWID;
            CREATE TABLE scope (scope INTEGER, place INTEGER, section INTEGER, how_many INTEGER,
                                PRIMARY KEY (scope, place)) WITHOUT ROWID;
            CREATE TABLE job (number INTEGER PRIMARY KEY, scope INTEGER, quantity INTEGER, answers INTEGER,
                              day INTEGER, serial_left INTEGER, serial_right INTEGER);
            CREATE TABLE met (answers INTEGER, requirement INTEGER, PRIMARY KEY (answers, requirement)) WITHOUT ROWID;
        """)
        self._load_lines(structure)
        self._load_jobs(structure, jobs)
        self.database.execute("ANALYZE")
        self.database.commit()

    def _load_lines(self, s):
        rows = zip(*(column.tolist() for column in lines_to_walk(s).values()), strict=True)
        self.database.executemany(
            "INSERT INTO line (parent, action, number, child, quantity, pieces, requirement, from_day, to_day,"
            " from_mark, to_mark) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            rows,
        )

    def _load_jobs(self, s, jobs):
        for name, columns in jobs_to_walk(s, jobs).items():
            marks = ", ".join("?" * len(columns))
            rows = zip(*(column.tolist() for column in columns.values()), strict=True)
            self.database.executemany(f"INSERT INTO {name} ({', '.join(columns)}) VALUES ({marks})", rows)

    def totals(self):
        """Millionths by item and action."""
        names = {"opens": OPEN, "renews": RENEW, "inspects": INSPECT}
        return Counter({(item, action): total for item, action, total in self.database.execute(TOTALS, names)})


def lines_to_walk(s):
    """The lines that a job may open, renew or inspect, without the bench items, as columns."""
    wanted = np.flatnonzero(~s.bench[s.child] & np.isin(s.action, (OPEN, RENEW, INSPECT)))
    columns = {
        "parent": s.parent, "action": s.action, "number": np.arange(s.parent.size), "child": s.child,
        "quantity": s.quantity, "pieces": s.quantity // ONE, "requirement": s.requirement, "from_day": s.from_day,
        "to_day": s.to_day, "from_mark": s.from_mark, "to_mark": s.to_mark,
    }  # fmt: skip
    return {name: column[wanted] for name, column in columns.items()}


def jobs_to_walk(s, jobs):
    """Jobs, the sections of their scopes, and which set of answers meets which sets of options, as columns."""
    scopes = {key: number for number, key in enumerate(s.scopes)}
    answers, rows = {}, []
    for number, job in enumerate(jobs):
        right, left = s.serial_band(job.serial)
        given = answers.setdefault(answers_of(s, job), len(answers))
        rows.append((number, scopes[job.pump, job.scope], job.quantity, given, day_number(job.build_on), left, right))
    opened = [
        (scopes[key], place, s.index[row.section], row.how_many)
        for key, rows_of_scope in s.scopes.items()
        for place, row in enumerate(rows_of_scope)
    ]
    met = [
        (number, place)
        for given, number in answers.items()
        for place, asked in enumerate(s.requirements)
        if set(asked) <= set(given)
    ]
    names = {
        "job": ("number", "scope", "quantity", "answers", "day", "serial_left", "serial_right"),
        "scope": ("scope", "place", "section", "how_many"),
        "met": ("answers", "requirement"),
    }
    tables = {"job": rows, "scope": opened, "met": met}
    return {
        name: dict(zip(columns, np.array(tables[name], np.int64).reshape(-1, len(columns)).T, strict=True))
        for name, columns in names.items()
    }


class DuckQuery:
    """The same query in DuckDB."""

    name = "duck_query"

    def __init__(self, structure, jobs):
        import duckdb

        self.database = duckdb.connect()
        load_duck(self.database, "line", lines_to_walk(structure))
        for name, columns in jobs_to_walk(structure, jobs).items():
            load_duck(self.database, name, columns)

    def totals(self):
        """Millionths by item and action."""
        names = {"opens": OPEN, "renews": RENEW, "inspects": INSPECT}
        rows = self.database.execute(TOTALS.replace(":", "$"), names).fetchall()
        return Counter({(item, action): int(total) for item, action, total in rows})


class JoinsByJob:
    """polars: what every job opens joined with the lines, level by level, under the same conditions."""

    name = "joins_by_job"

    def __init__(self, structure, jobs):
        import polars

        self.polars = polars
        frames = {name: polars.DataFrame(columns) for name, columns in jobs_to_walk(structure, jobs).items()}
        lines = polars.DataFrame(lines_to_walk(structure)).drop("number")
        column = polars.col
        self.opens = lines.filter(column("action") == OPEN).drop("action")
        self.takes = lines.filter(column("action") != OPEN)
        self.met = frames["met"]
        opened = frames["job"].join(frames["scope"], on="scope")
        self.opened = opened.select(
            "answers", "day", "serial_left", "serial_right", item="section",
            instances=column("how_many") * column("quantity"),
        )  # fmt: skip

    def totals(self):
        """Millionths by item and action."""
        column = self.polars.col
        front, steps = self.opened, [self.opened]
        while front.height:
            front = self._below(front, self.opens).select(
                "answers", "day", "serial_left", "serial_right", item="child",
                instances=column("instances") * column("pieces"),
            )  # fmt: skip
            steps.append(front)
        taken = self._below(self.polars.concat(steps), self.takes)
        found = taken.group_by("child", "action").agg((column("instances") * column("quantity")).sum())
        return Counter({(item, action): total for item, action, total in found.iter_rows()})

    def _below(self, front, lines):
        column = self.polars.col
        met = front.lazy().join(lines.lazy(), left_on="item", right_on="parent").filter(
            column("from_day") <= column("day"),
            column("day") <= column("to_day"),
            column("from_mark") < column("serial_right"),
            column("serial_left") <= column("to_mark"),
        )  # fmt: skip
        return met.join(self.met.lazy(), on=["answers", "requirement"], how="semi").collect()


WITH_CONDITIONS = (Query, DuckQuery, JoinsByJob)
"""Who answers the same question as the explosion of all jobs."""
