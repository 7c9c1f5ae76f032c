"""``python -m tests.architecture``: size and shape of the code, room by room, as the contributor guide states them."""

import ast
from statistics import median

import networkx

from tests.architecture.source import list_imports, read_sources

FULL_ROOM = 15
LONG_FUNCTION = 50


def measure():
    """Return the lines of the report."""
    sources = read_sources("bom") + read_sources("kits")
    return [*_rooms(sources), "", *_functions(sources), "", *_circles(sources)]


def rooms_of(sources):
    """Return the files of each folder, ``__init__.py`` aside where it is empty."""
    rooms = {}
    for source in sources:
        folder, name = source.path.rsplit("/", 1)
        if name != "__init__.py" or source.text.strip():
            rooms.setdefault(folder, []).append(source)
    return rooms


def count_lines(source):
    return source.text.count("\n")


def count_code(source):
    """Count the lines that hold code: neither blank, nor comment, nor docstring."""
    told = set()
    for node in source.walk(ast.Expr):
        if isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
            told.update(range(node.lineno, node.end_lineno + 1))
    lines = enumerate(source.text.splitlines(), start=1)
    return sum(bool(line.strip()) and not line.lstrip().startswith("#") and place not in told for place, line in lines)


def _rooms(sources):
    rows = ["| room | files | lines | median | longest |", "|---|---|---|---|---|"]
    for folder, files in rooms_of(sources).items():
        sizes = sorted(map(count_lines, files))
        longest = max(files, key=count_lines)
        name = longest.path.rsplit("/", 1)[1]
        full = " (full)" if len(files) > FULL_ROOM else ""
        rows.append(f"| `{folder}/` | {len(files)}{full} | {sum(sizes)} | {median(sizes):.0f} | {name} {sizes[-1]} |")
    everything = [file for files in rooms_of(sources).values() for file in files]
    sizes = [count_lines(file) for file in everything]
    code = sum(map(count_code, everything))
    rows.append(f"| all | {len(sizes)} | {sum(sizes)}, of them {code} of code | {median(sizes):.0f} | {max(sizes)} |")
    return rows


def functions_of(source):
    """Return the functions of a file with their dotted names, those inside other functions left out."""
    found, waiting = [], [("", source.tree)]
    while waiting:
        prefix, node = waiting.pop()
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
                found.append((prefix + child.name, child))
            elif isinstance(child, ast.ClassDef):
                waiting.append((f"{prefix}{child.name}.", child))
    return found


def parameters_of(function):
    """Return the parameters of a function that a caller gives."""
    arguments = function.args
    named = arguments.posonlyargs + arguments.args + arguments.kwonlyargs
    return [each for each in named if each.arg not in {"self", "cls"}]


def is_typed(function):
    return function.returns is not None and all(each.annotation for each in parameters_of(function))


def documents_parameters(function):
    """Say whether the docstring names every parameter."""
    text = ast.get_docstring(function) or ""
    return all(each.arg in text for each in parameters_of(function))


def long_functions(sources):
    return [
        f"{source.path}: {name} {function.end_lineno - function.lineno + 1}"
        for source in sources
        for name, function in functions_of(source)
        if function.end_lineno - function.lineno + 1 > LONG_FUNCTION
    ]


def _functions(sources):
    functions = [(source, name, function) for source in sources for name, function in functions_of(source)]
    core = [
        function
        for source, name, function in functions
        if source.path.startswith("bom/") and not any(part.startswith("_") for part in name.split("."))
        if parameters_of(function)
    ]
    lengths = [function.end_lineno - function.lineno + 1 for _, _, function in functions]
    return [
        f"functions: {len(functions)}, median {median(lengths):.0f} lines",
        f"typed in full: {sum(is_typed(function) for _, _, function in functions)}",
        f"public functions of the core with parameters: {len(core)}, "
        f"all of them named in the docstring: {sum(map(documents_parameters, core))}",
        f"longer than {LONG_FUNCTION} lines: {len(long_functions(sources))}",
        *(f"  {line}" for line in long_functions(sources)),
    ]


def import_graph(sources, name):
    """Return who imports whom, each file under what ``name`` makes of its dotted path."""
    files = [(source, source.path.removesuffix(".py").replace("/", ".")) for source in sources]
    modules = {dotted.removesuffix(".__init__"): name(dotted) for _, dotted in files}
    graph = networkx.DiGraph()
    for source, dotted in files:
        for target, node in list_imports(source):
            inside = [f"{target}.{alias.name}" for alias in node.names] if isinstance(node, ast.ImportFrom) else []
            for reached in {each if each in modules else target for each in [target, *inside]} & set(modules):
                if name(dotted) != modules[reached]:
                    graph.add_edge(name(dotted), modules[reached])
    return graph


def room_of(file):
    """Return the folder of a file, by its dotted path.

    Each file at the top of the core, of the project or of an app is a room by itself.
    """
    package, *below = file.split(".")
    rooms_from = 1 if package == "bom" else 2
    return ".".join([package, *below[:-1]]) if len(below) > rooms_from else file


def circles(sources, name=str):
    """Return the groups of files, or of what ``name`` makes of them, that import one another."""
    groups = networkx.strongly_connected_components(import_graph(sources, name))
    return [sorted(group) for group in groups if len(group) > 1]


def _circles(sources):
    rows = []
    for what, name in (("files", str), ("rooms", room_of)):
        found = circles(sources, name)
        rows.append(f"circles of {what} that import one another: {len(found)}")
        rows += [f"  {', '.join(group)}" for group in found]
    return rows


if __name__ == "__main__":
    print("\n".join(measure()))
