"""Docstrings of the core: what the linter cannot see of the numpydoc convention."""

import ast
import re

from tests.architecture.__main__ import functions_of, parameters_of
from tests.architecture.source import read_sources


def public_functions():
    for source in read_sources("bom"):
        for name, function in functions_of(source):
            if not any(part.startswith("_") for part in name.split(".")):
                yield f"{source.path}: {name}", function, ast.get_docstring(function) or ""


def explained(text):
    """The parameters that the section of that name explains."""
    _, _, section = text.partition("Parameters\n----------\n")
    section = re.split(r"\n\w+\n---", section)[0]
    return {name for names in re.findall(r"^(\w+(?:, \w+)*) : \S", section, re.MULTILINE) for name in names.split(", ")}


def test_public_functions_of_the_core_explain_every_parameter_and_no_other():
    breaches = []
    for name, function, text in public_functions():
        more = {each.arg for each in (function.args.vararg, function.args.kwarg) if each}
        if unlike := (explained(text) ^ {each.arg for each in parameters_of(function)}) - more:
            breaches.append(f"{name} {sorted(unlike)}")
    assert breaches == []


def test_public_functions_of_the_core_name_what_they_raise():
    breaches = [
        f"{name} raises {ast.unparse(raised)}"
        for name, function, text in public_functions()
        for node in ast.walk(function)
        if isinstance(node, ast.Raise) and node.exc is not None
        for raised in [node.exc.func if isinstance(node.exc, ast.Call) else node.exc]
        if ast.unparse(raised) not in {"AssertionError", "_too_large"} and f"\n{ast.unparse(raised)}\n" not in text
    ]
    assert breaches == []
