"""Reads the project's own source as syntax trees, once for all tests about its shape."""

import ast
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Source:
    """One file: its path from the top, its text and its tree."""

    path: str
    text: str
    tree: ast.Module

    @cached_property
    def nodes(self):
        return tuple(ast.walk(self.tree))

    def walk(self, *kinds):
        return (node for node in self.nodes if isinstance(node, kinds))

    def at(self, node):
        return f"{self.path}:{node.lineno}"


@cache
def read_sources(folder, *, migrations=False):
    """Return every Python file below a folder, migrations only on request."""
    paths = sorted((TOP / folder).rglob("*.py"))
    return tuple(_read(path) for path in paths if migrations or "migrations" not in path.parts)


@cache
def _read(path):
    text = path.read_text(encoding="utf-8")
    return Source(path.relative_to(TOP).as_posix(), text, ast.parse(text, filename=str(path)))


def list_imports(source):
    """Return (module, node) for each import of a file, relative ones with their leading dots."""
    found = []
    for node in source.walk(ast.Import, ast.ImportFrom):
        if isinstance(node, ast.Import):
            found += [(alias.name, node) for alias in node.names]
        else:
            found.append(("." * node.level + (node.module or ""), node))
    return found


def name_call(node):
    """Return the dotted name of what a call calls, with ``()`` for calls on the way."""
    return _name(node.func)


def _name(node):
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        return f"{_name(node.value)}.{node.attr}"
    if isinstance(node, ast.Call):
        return f"{_name(node.func)}()"
    if isinstance(node, ast.Subscript):
        return f"{_name(node.value)}[]"
    return "?"
