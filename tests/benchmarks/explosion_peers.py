"""One question, many ways to answer it: how much of each item do the opened assemblies hold, every line counted?

Every way has its data laid out beforehand as it likes them best. ``work`` is what is timed; ``read`` turns its result
into millionths by item, to be compared with the others before anything is timed.
"""

import sqlite3

import networkx
import numpy as np
from scipy.sparse import csr_array, eye_array
from scipy.sparse.linalg import spsolve_triangular

from bom.structure.tables import spread
from bom.structure.totals import total_requirements
from bom.values import ONE

QUERY = """
WITH RECURSIVE walk (item, instances) AS (
    SELECT item, instances FROM wanted
    UNION ALL
    SELECT line.child, walk.instances * line.pieces
    FROM walk JOIN line ON line.parent = walk.item WHERE line.pieces > 0
)
SELECT line.child, SUM(walk.instances * line.quantity)
FROM walk JOIN line ON line.parent = walk.item
GROUP BY line.child
"""


class Engine:
    """The explosion of this project."""

    name = "this engine"

    def __init__(self, structure, wanted):
        self.structure, self.wanted = structure, wanted

    def work(self):
        return total_requirements(self.structure, self.wanted)

    def read(self, result):
        return result


class SparseProducts:
    """SciPy: the front of assemblies times the matrix, again and again until nothing is left."""

    name = "SciPy, sparse products"

    def __init__(self, structure, wanted):
        self.matrix, self.wanted = matrix_of(structure), wanted / ONE

    def work(self):
        front = total = self.wanted
        while front.any():
            front = self.matrix @ front
            total = total + front
        return total

    def read(self, result):
        return result * ONE


class TriangularSolve:
    """SciPy: x = (I - Q)^-1 d, items in the order of their low-level code, so that the matrix is triangular.

    ``wanted`` may have a column for each week.
    """

    name = "SciPy, triangular solve"

    def __init__(self, structure, wanted):
        self.order = np.argsort(structure.level, kind="stable")
        self.turned = np.argsort(self.order)
        matrix = eye_array(self.order.size) - matrix_of(structure)
        self.matrix = csr_array(csr_array(matrix)[self.order][:, self.order])
        self.wanted = (wanted / ONE)[self.order]

    def of(self, wanted):
        """The solution for what is wanted in millionths, items in the order of the structure."""
        return spsolve_triangular(self.matrix, (wanted / ONE)[self.order], lower=True, unit_diagonal=True)

    def work(self):
        return spsolve_triangular(self.matrix, self.wanted, lower=True, unit_diagonal=True)

    def read(self, result):
        return result[self.turned] * ONE


class Dictionaries:
    """Plain Python: lists of children in a dictionary, parents before their children."""

    name = "Python dictionaries"

    def __init__(self, structure, wanted):
        self.wanted = {item: int(wanted[item]) // ONE for item in np.flatnonzero(wanted).tolist()}
        self.inside, self.size = {}, wanted.size
        for parent in np.argsort(structure.level, kind="stable").tolist():
            lines = structure.lines_of(parent)
            if lines:
                held = slice(lines.start, lines.stop)
                children, each = structure.child[held].tolist(), structure.quantity[held].tolist()
                self.inside[parent] = list(zip(children, each, strict=True))

    def work(self):
        total = {item: count * ONE for item, count in self.wanted.items()}
        for parent, lines in self.inside.items():
            if parent in total:
                count = total[parent] // ONE
                for child, each in lines:
                    total[child] = total.get(child, 0) + count * each
        return total

    def read(self, result):
        total = np.zeros(self.size)
        total[list(result)] = list(result.values())
        return total


class Graph:
    """NetworkX: a graph with a quantity on each edge, walked in topological order."""

    name = "NetworkX"

    def __init__(self, structure, wanted):
        self.graph, self.wanted = networkx.DiGraph(), wanted // ONE
        self.graph.add_nodes_from(range(wanted.size))
        for parent, child, each in zip(*_lines(structure), strict=True):
            if self.graph.has_edge(parent, child):
                self.graph[parent][child]["each"] += each
            else:
                self.graph.add_edge(parent, child, each=each)

    def work(self):
        total = dict(enumerate((self.wanted * ONE).tolist()))
        for parent in networkx.topological_sort(self.graph):
            count = total[parent] // ONE
            if count:
                for child, held in self.graph.adj[parent].items():
                    total[child] += count * held["each"]
        return total

    def read(self, result):
        return np.array([result[item] for item in range(len(result))], float)


class Merges:
    """pandas: the front merged with the lines and summed by child, level by level."""

    name = "pandas, merges level by level"

    def __init__(self, structure, wanted):
        import pandas

        self.pandas, self.size = pandas, wanted.size
        parent, child, each = _lines(structure)
        self.lines = pandas.DataFrame({"item": parent, "child": child, "each": np.array(each) / ONE})
        opened = np.flatnonzero(wanted)
        self.wanted = pandas.DataFrame({"item": opened, "count": wanted[opened] / ONE})

    def work(self):
        front, steps = self.wanted, [self.wanted]
        while len(front):
            below = front.merge(self.lines, on="item")
            below["count"] *= below["each"]
            front = below.groupby("child", as_index=False)["count"].sum().rename(columns={"child": "item"})
            steps.append(front)
        return self.pandas.concat(steps).groupby("item")["count"].sum()

    def read(self, result):
        total = np.zeros(self.size)
        total[result.index] = result.to_numpy() * ONE
        return total


class Joins:
    """polars: the same level by level, joined and summed."""

    name = "polars, joins level by level"

    def __init__(self, structure, wanted):
        import polars

        self.polars, self.size = polars, wanted.size
        parent, child, each = _lines(structure)
        self.lines = polars.DataFrame({"item": parent, "child": child, "each": np.array(each) / ONE})
        opened = np.flatnonzero(wanted)
        self.wanted = polars.DataFrame({"item": opened, "count": wanted[opened] / ONE})

    def work(self):
        column = self.polars.col
        front, steps = self.wanted, [self.wanted]
        while front.height:
            below = front.join(self.lines, on="item").group_by("child").agg((column("count") * column("each")).sum())
            front = below.rename({"child": "item"})
            steps.append(front)
        return self.polars.concat(steps).group_by("item").agg(column("count").sum())

    def read(self, result):
        total = np.zeros(self.size)
        total[result["item"].to_numpy()] = result["count"].to_numpy() * ONE
        return total


class Sqlite:
    """A recursive query in SQLite; the lists lie together under their parents."""

    name = "SQLite, recursive query"

    def __init__(self, structure, wanted):
        self.wanted = wanted
        self.database = sqlite3.connect(":memory:")
        self.database.execute(
            "CREATE TABLE line (parent INTEGER, number INTEGER, child INTEGER, pieces INTEGER, quantity INTEGER,"
            " PRIMARY KEY (parent, number)) WITHOUT ROWID"
        )
        self.database.execute("CREATE TABLE wanted (item INTEGER, instances INTEGER)")
        self.database.executemany("INSERT INTO line VALUES (?, ?, ?, ?, ?)", _rows(structure))
        self.database.executemany("INSERT INTO wanted VALUES (?, ?)", _opened(wanted))
        self.database.execute("ANALYZE")

    def work(self):
        return self.database.execute(QUERY).fetchall()

    def read(self, result):
        total = self.wanted.astype(float)
        for item, quantity in result:
            total[item] += float(quantity)
        return total


class Postgres(Sqlite):
    """The same query in PostgreSQL; its clock is the one on the wall, since the work is done in another process."""

    name = "PostgreSQL, recursive query"
    on_the_wall = True

    def __init__(self, structure, wanted, address):
        import psycopg

        self.wanted = wanted
        self.database = psycopg.connect(address, autocommit=True)
        self.database.execute("DROP TABLE IF EXISTS line, wanted")
        self.database.execute(
            "CREATE TABLE line (parent bigint, number bigint, child bigint, pieces bigint, quantity bigint)"
        )
        self.database.execute("CREATE TABLE wanted (item bigint, instances bigint)")
        for table, rows in (("line", _rows(structure)), ("wanted", _opened(wanted))):
            with self.database.cursor().copy(f"COPY {table} FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        self.database.execute("CREATE INDEX ON line (parent) INCLUDE (child, pieces, quantity)")
        self.database.execute("VACUUM ANALYZE line")
        self.database.execute("ANALYZE wanted")


class Duck:
    """The same query in DuckDB."""

    name = "DuckDB, recursive query"

    def __init__(self, structure, wanted):
        import duckdb

        self.wanted = wanted
        self.database = duckdb.connect()
        parent, child, each = structure.parent, structure.child, structure.quantity
        columns = {"parent": parent, "child": child, "pieces": each // ONE, "quantity": each}
        load_duck(self.database, "line", columns)
        opened = np.flatnonzero(wanted)
        load_duck(self.database, "wanted", {"item": opened, "instances": wanted[opened] // ONE})

    def work(self):
        return self.database.execute(QUERY).fetchnumpy()

    def read(self, result):
        total = self.wanted.astype(float)
        item, quantity = result.values()
        total[np.asarray(item)] += np.asarray(quantity, float)
        return total


PEERS = (SparseProducts, TriangularSolve, Dictionaries, Graph, Merges, Joins, Sqlite, Duck)


def load_duck(database, name, columns):
    """Make a table of arrays."""
    given = {column: np.ascontiguousarray(values) for column, values in columns.items()}
    database.register("given", given)
    database.execute(f"CREATE TABLE {name} AS SELECT * FROM given")
    database.unregister("given")


def matrix_of(structure):
    """Row child, column parent: how many of the child one parent holds."""
    count = len(structure.items)
    return csr_array((structure.quantity / ONE, (structure.child, structure.parent)), shape=(count, count))


def count_ways(structure, wanted):
    """How many rows a query has to walk through, which grows with the ways down and not with the lines."""
    ways, total = (wanted > 0).astype(float), 0.0
    while ways.any():
        total += ways.sum()
        parents = np.flatnonzero(ways)
        start, stop = structure.first[parents], structure.first[parents + 1]
        below = structure.child[spread(start, stop)]
        ways = np.bincount(below, np.repeat(ways[parents], stop - start), ways.size)
    return total


def _lines(structure):
    return structure.parent.tolist(), structure.child.tolist(), structure.quantity.tolist()


def _rows(structure):
    parent, child, each = _lines(structure)
    return zip(parent, range(len(parent)), child, (structure.quantity // ONE).tolist(), each, strict=True)


def _opened(wanted):
    opened = np.flatnonzero(wanted)
    return list(zip(opened.tolist(), (wanted[opened] // ONE).tolist(), strict=True))
