"""A cache that several "processes" of one test have in common, and what watches them plan."""

import threading
import time

from django.core.cache.backends.filebased import FileBasedCache


class Away:
    """A cache server that does not answer."""

    def __init__(self):
        self.asked = 0

    def __getattr__(self, name):
        def refuse(*args, **kwargs):
            self.asked += 1
            raise ConnectionError("no route to the cache server")

        return refuse


def process_with(cache):
    """What one web process keeps, beside others that know the same cache; None for a shop without one."""
    from kits.catalog.caching.shared import Shared
    from kits.planning.keeping.plans import Plans

    return Plans(Shared(lambda: cache))


class Files(FileBasedCache):
    """A cache of files: as good as a server, and nothing has to be started.

    Of several who add the same key a server lets one through; the library's files let in whoever comes close behind.
    """

    _adding = threading.Lock()

    def add(self, *args, **kwargs):
        with self._adding:
            return super().add(*args, **kwargs)


def files_in(folder):
    return Files(str(folder), {})


def settle():
    """Wait for what runs behind the back of whoever asked."""
    for thread in threading.enumerate():
        if thread.name in {"put plan", "renew plan"}:
            thread.join(20)


def count_plans(monkeypatch, seconds=0):
    """Count from now on how many plans are worked out, each of which takes so long."""
    from kits.planning.keeping import plans as keeping

    made, plain = [], keeping.plan

    def counting(*args):
        time.sleep(seconds)
        made.append(plain(*args))
        return made[-1]

    monkeypatch.setattr(keeping, "plan", counting)
    return made
