"""Print one document at a time in a process."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from threading import RLock

_lock = RLock()


@contextmanager
def printing_lock() -> Iterator[None]:
    """Hold the lock for drawing and typesetting, with garbage collection paused.

    matplotlib's documentation says that it is not thread-safe, and the font map shared by all documents may
    be used by one thread at a time. The lock costs little because the work is bound by the GIL anyway.
    Garbage collection would take a third of a sheet's time.
    """
    with _lock:
        was_enabled = gc.isenabled()
        gc.disable()
        try:
            yield
        finally:
            if was_enabled:
                gc.enable()
