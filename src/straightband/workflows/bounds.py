"""What a process that decodes what came from outside may take of the computer."""

from __future__ import annotations

import os

MOST_MEMORY_BYTES = 4 << 30  # address space: 50 megapixels take less than one
NICENESS = 10
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}  # in its environment: the other cores serve pages
MOST_FILE_BYTES = 1 << 30  # of any file it writes; the largest picture for the screen has a few MB


def give_way() -> None:
    """Let the pages go first where both want the processor."""
    if hasattr(os, "nice"):
        os.nice(NICENESS)


def bound_process(*, cpu_s: int | None = None) -> None:
    """Let this process take no more memory, write no larger file and leave no core; and end it after so much time of the processor.

    Where the system has no such bounds (Windows), the one who started it bounds its time alone.
    """
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_FSIZE, (MOST_FILE_BYTES, MOST_FILE_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if cpu_s is not None:
        resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
