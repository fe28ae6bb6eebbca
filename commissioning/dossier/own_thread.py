"""Work that starts an event loop of its own, done where none runs yet."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


def in_own_thread(work: Callable[P, R], /, *args: P.args, **kwargs: P.kwargs) -> R:
    """What `work` answers, or the error that it raises, from a thread made for it.

    pyHanko signs and validates through `asyncio.run`, which refuses in a thread that drives a loop already: a
    server's, or a browser's. `work` must not use the database, whose connections belong to their thread.
    """
    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="signature") as one:
        return one.submit(work, *args, **kwargs).result()
