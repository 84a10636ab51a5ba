"""One paper at a time in a process."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from threading import RLock

_turn = RLock()


@contextmanager
def alone() -> Iterator[None]:
    """Draw and set pages while no other thread of this process does, with the collector of cycles at rest.

    matplotlib's own documentation says that it is not safe for threads, and the font map that all papers
    share may be used by one at a time. Waiting loses next to nothing: it is Python's own work nearly
    throughout, of which one thread runs at a time anyhow. The collector would take a third of a sheet's time.
    """
    with _turn:
        was_at_work = gc.isenabled()
        gc.disable()
        try:
            yield
        finally:
            if was_at_work:
                gc.enable()
