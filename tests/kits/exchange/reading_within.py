"""Reads one file alone in a process of its own, whose memory and time the system limits; not on every system."""

import multiprocessing
import resource

from kits.exchange.files import sheet_stream
from tests.kits.exchange.reading_alone import read_alone

READY = multiprocessing.get_context("forkserver")
"""The program is set up once; each file is read by a copy of that process."""
READY.set_forkserver_preload(["tests.kits.exchange.reading_ready"])


def read_within(path, *, memory, seconds, cells):
    """Read a sheet of so many cells at most by a process that may take so many bytes and seconds of a processor.

    Returns the rows, the first problems, how many there are, and the first remarks.
    """
    ours, theirs = READY.Pipe(duplex=False)
    reading = READY.Process(target=_read_and_tell, args=(path, memory, seconds, cells, theirs))
    reading.start()
    theirs.close()
    try:
        assert ours.poll(3 * seconds), "it neither reads nor ends"
        return ours.recv()
    except EOFError:
        reading.join()
        raise AssertionError(f"its process ended with {reading.exitcode}") from None
    finally:
        reading.kill()
        reading.join()


def _read_and_tell(path, memory, seconds, cells, pipe):
    sheet_stream.MOST_CELLS = cells
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    rows, problems, remarks = read_alone(path.read_bytes(), path.name)
    pipe.send((rows, problems[:20], len(problems), remarks[:20]))
