"""Runs tests against one changed module after another, inside one process that has read everything once.

The tests are collected once. Each mutant then has a child of this process, in which the code of the module's functions
is exchanged, and the tests that reach the changed statement run, the module's own and the quick ones first, until one
fails. A child that takes five times as long over a test as the sources do unchanged, and some seconds more, has
noticed the change too: it hangs.
"""

import builtins
import gc
import json
import os
import resource
import signal
import tempfile
import time
import types
from collections import defaultdict
from pathlib import Path

import pytest

from tests.mutants.changes import list_mutants, make, with_probes

PROBE = "_a_statement_is_reached"
GRACE_SECONDS = 4
MEMORY = 6 * 2**30


class Runner:
    """A pytest plugin that runs the collected tests once for each mutant, instead of once.

    ``chosen`` picks among the mutants of a module; ``longest`` is the processor time in seconds over which a test is
    left out; ``told`` is called with module, mutant and outcome, which is the name of the test that noticed it, or
    None.
    """

    def __init__(self, modules, chosen, longest, told):
        self.modules, self.chosen, self.longest, self.told = modules, chosen, longest, told
        self.failed = False

    def pytest_runtest_logreport(self, report):
        self.failed |= report.failed

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session):
        if session.testsfailed:
            raise session.Failed("the tests cannot be collected")
        sources = {module: Path(module).read_text(encoding="utf-8") for module in self.modules}
        seconds, reached = self._reach(session.items, sources)
        for module, source in sources.items():
            own = f"test_{Path(module).stem}"
            for mutant in self.chosen(module, list_mutants(source)):
                place = f"{module}:{mutant.statement}"
                tests = [at for at in reached.get(place, ()) if seconds[at] <= self.longest]
                tests.sort(key=lambda at: (own not in session.items[at].nodeid, seconds[at]))
                self.told(module, mutant, self._try(session.items, tests, seconds, module, source, mutant))
        return True

    def _reach(self, items, sources):
        """The processor time of each test in seconds; for each statement by module and place, the tests that reach it.

        Tests are named by their place among all.
        """

        def work(answer):
            seconds, reached, found = [], defaultdict(list), set()
            setattr(builtins, PROBE, found.add)
            for module, source in sources.items():
                exchange(module, with_probes(source, PROBE, module))
            for at, item in enumerate(items):
                found.clear()
                started = time.process_time()
                self._run(item, items[at + 1] if at + 1 < len(items) else None)
                seconds.append(time.process_time() - started)
                for place in found:
                    reached[place].append(at)
                if self.failed:
                    answer({"failed": item.nodeid})
                    return
            answer({"seconds": seconds, "reached": reached})

        answer, _ = in_a_child(work)
        if "failed" in answer:
            raise pytest.UsageError(f"{answer['failed']} fails on the unchanged sources.")
        return answer["seconds"], answer["reached"]

    def _try(self, items, tests, seconds, module, source, mutant):
        """The name of the test that notices the mutant, or None."""

        def work(answer):
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            exchange(module, make(source, mutant))
            for place, at in enumerate(tests):
                answer({"by": items[at].nodeid})
                signal.setitimer(signal.ITIMER_PROF, GRACE_SECONDS + 5 * seconds[at])
                self._run(items[at], items[tests[place + 1]] if place + 1 < len(tests) else None)
                if self.failed:
                    return
            answer({"by": None})

        answer, status = in_a_child(work)
        if answer is None:
            return None
        return f"{answer['by']}, which never ends" if status == -signal.SIGPROF else answer["by"]

    def _run(self, item, following):
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)


def exchange(module, tree):
    """Give every function of a module the code of another version of it."""
    path = str(Path(module).resolve())
    code = {(found.co_qualname, found.co_firstlineno): found for found in _codes(compile(tree, path, "exec"))}
    for function in gc.get_objects():
        # By its type alone: asked for its class, a lazy object of some page would work itself out.
        if type(function) is types.FunctionType and function.__code__.co_filename == path:
            function.__code__ = code[function.__code__.co_qualname, function.__code__.co_firstlineno]


def _codes(code):
    for constant in code.co_consts:
        if isinstance(constant, types.CodeType):
            yield constant
            yield from _codes(constant)


def in_a_child(work):
    """Do something in a child of this process: the last answer it gave, and its exit status."""
    with tempfile.TemporaryFile("w+", encoding="utf-8") as answers:
        child = os.fork()
        if child == 0:
            try:
                quiet = os.open(os.devnull, os.O_WRONLY)
                os.dup2(quiet, 1)
                os.dup2(quiet, 2)
                work(lambda answer: print(json.dumps(answer), file=answers, flush=True))
            finally:
                os._exit(0)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        answers.seek(0)
        lines = answers.read().splitlines()
        return (json.loads(lines[-1]) if lines else None), status
