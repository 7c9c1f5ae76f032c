"""The small changes that are made to a source, one at a time.

Only what runs when a function is called is changed: no annotation, no decorator, no default, nothing at the top of a
module or of a class. ``strict=True`` of ``zip`` stays, for it guards against what cannot happen.
"""

import ast
from collections import Counter
from dataclasses import dataclass

OPERATORS = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.FloorDiv: ast.Mult,
    ast.Div: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitOr,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
}
COMPARISONS = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
PAIRS = (("min", "max"), ("any", "all"), ("minimum", "maximum"), ("floor", "ceil"), ("left", "right"))
WORDS = {word: other for pair in PAIRS for word, other in (pair, pair[::-1])}
BLOCKS = ("body", "orelse", "finalbody", "handlers", "cases")


@dataclass(frozen=True)
class Mutant:
    """One change: where it stands, what it turns into what, and the number by which it is made again.

    ``occurrence`` counts the same change in the same function, from 1; ``statement`` is the place of the statement
    among those that `with_probes` counts.
    """

    number: int
    line: int
    statement: int
    function: str
    before: str
    after: str
    occurrence: int

    @property
    def key(self):
        """The name that stays the same while other lines move."""
        again = f" #{self.occurrence}" if self.occurrence > 1 else ""
        return f"{self.function}: {self.before} -> {self.after}{again}"


def list_mutants(source):
    """Every change to a source, in the order of its lines."""
    changes = list(_changes(ast.parse(source)))
    seen = Counter()
    mutants = []
    for number, (function, statement, shown, change) in enumerate(changes):
        line, before = shown.lineno, ast.unparse(shown)
        undo = change()
        after = ast.unparse(shown)
        undo()
        seen[function, before, after] += 1
        mutants.append(Mutant(number, line, statement, function, before, after, seen[function, before, after]))
    return mutants


def make(source, mutant):
    """The tree of the source with one change made."""
    tree = ast.parse(source)
    list(_changes(tree))[mutant.number][-1]()
    return ast.fix_missing_locations(tree)


def with_probes(source, name, module):
    """The tree of the source in which every statement of a function first calls ``name`` with ``module:place``."""
    tree = ast.parse(source)
    for place, (_, block, statement) in list(enumerate(_statements(tree))):
        probe = ast.parse(f"{name}('{module}:{place}')").body[0]
        block.insert(next(at for at, found in enumerate(block) if found is statement), probe)
        for node in ast.walk(probe):
            ast.copy_location(node, statement)
    return tree


def _statements(tree):
    """Statements of all functions: the name of the function, the list in which the statement stands, the statement."""

    def inside(block, function, path):
        for statement in block:
            here = path
            if isinstance(statement, ast.FunctionDef | ast.ClassDef):
                here = (*path, statement.name)
            if function is not None:
                yield function, block, statement
            nested = ".".join(here) if isinstance(statement, ast.FunctionDef) else function
            if isinstance(statement, ast.ClassDef):
                nested = None
            for name in BLOCKS:
                for found in _blocks(getattr(statement, name, [])):
                    yield from inside(found, nested, here)

    yield from inside(tree.body, None, ())


def _blocks(found):
    """A list of statements; of the branches of ``try`` and ``match``, the list of each."""
    if found and not isinstance(found[0], ast.stmt):
        yield from (branch.body for branch in found)
    elif found:
        yield found


def _changes(tree):
    """Each change: its function, the place of its statement, the node that shows it, and what makes it."""
    for place, (function, _, statement) in enumerate(_statements(tree)):
        if isinstance(statement, ast.FunctionDef | ast.ClassDef):
            continue
        if isinstance(statement, ast.If):
            yield function, place, statement.test, _become(statement.test, ast.Constant(False))
        if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Call):
            yield function, place, statement, _become(statement, ast.Pass())
        if isinstance(statement, ast.AugAssign) and type(statement.op) in OPERATORS:
            yield function, place, statement, _turned(statement, "op", OPERATORS)
        if isinstance(statement, ast.Continue | ast.Break):
            other = ast.Break() if isinstance(statement, ast.Continue) else ast.Continue()
            yield function, place, statement, _become(statement, other)
        for field, value in ast.iter_fields(statement):
            if field in BLOCKS or field == "annotation":
                continue
            for node in value if isinstance(value, list) else [value]:
                if isinstance(node, ast.AST):
                    for shown, change in _inside(node, node):
                        yield function, place, shown, change


def _inside(node, shown):
    """Changes inside an expression; ``shown`` is the smallest part that says enough."""
    if isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        yield node, _turned(node, "op", OPERATORS)
    if isinstance(node, ast.BoolOp):
        yield node, _turned(node, "op", {ast.And: ast.Or, ast.Or: ast.And})
    if isinstance(node, ast.Compare):
        for at, operator in enumerate(node.ops):
            yield node, _set(node.ops, at, COMPARISONS[type(operator)]())
    if isinstance(node, ast.UnaryOp) and not isinstance(node.op, ast.UAdd):
        yield shown, _become(node, node.operand)
    if isinstance(node, ast.Call):
        yield from _names(node)
    if isinstance(node, ast.Constant) and type(node.value) is bool:
        yield shown, _field(node, "value", not node.value)
    if isinstance(node, ast.Constant) and type(node.value) is int:
        yield shown, _field(node, "value", {0: 1, 1: 0}.get(node.value, node.value + 1))
    if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value in WORDS:
        yield shown, _field(node, "value", WORDS[node.value])
    if isinstance(node, ast.comprehension):
        for condition in node.ifs:
            yield condition, _become(condition, ast.Constant(True))
    enough = isinstance(node, ast.Call | ast.Subscript | ast.BinOp | ast.Compare | ast.BoolOp | ast.IfExp)
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.keyword) and child.arg == "strict":
            continue
        yield from _inside(child, node if enough else shown)


def _names(call):
    function = call.func
    if isinstance(function, ast.Name) and function.id in WORDS:
        yield call, _field(function, "id", WORDS[function.id])
    if isinstance(function, ast.Attribute) and function.attr in WORDS:
        yield call, _field(function, "attr", WORDS[function.attr])


def _field(node, name, value):
    def change():
        old = getattr(node, name)
        setattr(node, name, value)
        return lambda: setattr(node, name, old)

    return change


def _turned(node, name, into):
    return _field(node, name, into[type(getattr(node, name))]())


def _set(values, at, value):
    def change():
        old, values[at] = values[at], value
        return lambda: values.__setitem__(at, old)

    return change


def _become(node, other):
    """Let a node be another one, wherever it hangs."""

    def change():
        old, kind = dict(node.__dict__), node.__class__
        node.__class__ = other.__class__
        node.__dict__ = {"lineno": node.lineno, "col_offset": node.col_offset, **other.__dict__}

        def undo():
            node.__class__ = kind
            node.__dict__ = old

        return undo

    return change
