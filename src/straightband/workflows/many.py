"""The same work on many things, on all cores or on a scheduler's: one function over any executor of `concurrent.futures`."""

from __future__ import annotations

import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any, TypeVar

from straightband.errors import BadInput

Job = TypeVar("Job")
Result = TypeVar("Result")

AHEAD = 2  # jobs that wait for each worker: enough to keep it busy, few enough that frames do not fill the memory


def cores_here() -> int:
    """Cores this program may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def run_many(work: Callable[[Job], Result], jobs: Iterable[Job], *, executor: Executor, workers: int) -> Iterator[Result]:
    """Results in the order of the jobs, a few of which are under way at once; jobs are only taken from their source as they are needed."""
    waiting: deque[Future[Result]] = deque()
    try:
        for job in jobs:
            waiting.append(executor.submit(work, job))
            if len(waiting) >= workers * (1 + AHEAD):
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        for each in waiting:
            each.cancel()


@contextmanager
def here(workers: int) -> Iterator[Executor]:
    """Processes on this computer; for one worker a thread, which starts at once."""
    if workers == 1:
        with ThreadPoolExecutor(1) as threads:
            yield threads
        return
    # A process that is started anew holds no lock that another thread had at the moment of a fork.
    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as processes:
        yield processes


@contextmanager
def at_scheduler(address: str) -> Iterator[tuple[Executor, int]]:
    """The workers of a dask scheduler, and how many there are; raises BadInput where dask is missing or the scheduler does not answer."""
    try:
        import distributed
    except ImportError:
        raise BadInput(
            found="a scheduler was named, but dask's distributed is not installed",
            needed="it is needed to reach one",
            remedy="install straightband[cluster], or leave --scheduler out",
        ) from None
    try:
        client: Any = distributed.Client(address, timeout="10s")
    except (OSError, ValueError, TimeoutError):
        raise BadInput(
            found=f"no scheduler answers at '{address[:60]}'",
            needed="the address of one that runs is needed",
            remedy="write it like tcp://192.168.1.5:8786, or leave --scheduler out",
        ) from None
    try:
        workers = max(1, sum(client.nthreads().values()))
        yield client.get_executor(), workers
    finally:
        client.close()
