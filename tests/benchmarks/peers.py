"""What the plan is measured against: products with SciPy, and a recursive query in SQLite that minds conditions."""

import sqlite3
from collections import Counter

import numpy as np
from scipy.sparse import csc_array, csr_array

from bom.demand.explosion import answers_of
from bom.structure.arrays import INSPECT, OPEN, RENEW, day_number
from bom.values import ONE
from tests.benchmarks.explosion_peers import TriangularSolve

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
        wanted = np.flatnonzero(~s.bench[s.child] & np.isin(s.action, (OPEN, RENEW, INSPECT)))
        columns = (s.parent, s.action, np.arange(s.parent.size), s.child, s.quantity, s.quantity // ONE,
                   s.requirement, s.from_day, s.to_day, s.from_mark, s.to_mark)  # fmt: skip
        rows = zip(*(column[wanted].tolist() for column in columns), strict=True)
        self.database.executemany("INSERT INTO line VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", rows)

    def _load_jobs(self, s, jobs):
        scopes = {key: number for number, key in enumerate(s.scopes)}
        answers = {}
        for number, job in enumerate(jobs):
            right, left = s.serial_band(job.serial)
            given = answers.setdefault(answers_of(s, job), len(answers))
            row = (number, scopes[job.pump, job.scope], job.quantity, given, day_number(job.build_on), left, right)
            self.database.execute("INSERT INTO job VALUES (?, ?, ?, ?, ?, ?, ?)", row)
        opened = [
            (scopes[key], place, s.index[row.section], row.how_many)
            for key, rows in s.scopes.items()
            for place, row in enumerate(rows)
        ]
        self.database.executemany("INSERT INTO scope VALUES (?, ?, ?, ?)", opened)
        met = [
            (number, place)
            for given, number in answers.items()
            for place, asked in enumerate(s.requirements)
            if set(asked) <= set(given)
        ]
        self.database.executemany("INSERT INTO met VALUES (?, ?)", met)

    def totals(self):
        """Millionths by item and action."""
        names = {"opens": OPEN, "renews": RENEW, "inspects": INSPECT}
        return Counter({(item, action): total for item, action, total in self.database.execute(TOTALS, names)})
