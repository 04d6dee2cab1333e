"""Damaged films, each decoded by a fork of this process: a hundred times as many as when each has to be sent to a process that is started for it."""

from __future__ import annotations

import faulthandler
import os
import signal
import traceback
from pathlib import Path

from straightband.errors import StraightbandError
from straightband.photo import film
from straightband.workflows.bounds import bound_process

LONGEST_S = 10  # of the processor
MOST_MEMORY_KB = 2 << 20
MOST_FRAMES = 6
FAULT = 3


def feed(data: bytes) -> None:
    """Decode it. The library may fall, since films are decoded apart; what is raised, hangs or takes too much is a fault."""
    had_kb = _own_kb()
    child = os.fork()
    if child == 0:
        os._exit(_decoded(data))
    _, status, used = os.wait4(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status) == FAULT:
        raise AssertionError("no sentence")
    if os.WIFSIGNALED(status) and os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL):  # by the bound on time
        raise AssertionError(f"more than {LONGEST_S} s")
    if used.ru_maxrss - had_kb > MOST_MEMORY_KB:  # a fork begins with what this process holds
        raise AssertionError("more than 2 GiB of memory")


def _own_kb() -> int:
    resident, shared = Path("/proc/self/statm").read_text(encoding="ascii").split()[1:3]
    return (int(resident) - int(shared)) * (os.sysconf("SC_PAGE_SIZE") >> 10)


def _decoded(data: bytes) -> int:
    faulthandler.disable()  # a fall is an answer
    bound_process(cpu_s=LONGEST_S)
    told = os.fdopen(os.dup(2), "w")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # the library talks; in the program nobody hears it either
    try:
        for count, _ in enumerate(film.frames_of(data, name="film.mp4")):
            if count == MOST_FRAMES:
                break
    except StraightbandError:
        return 0
    except BaseException:  # noqa: BLE001 - whatever it is, it must not go on in the fork
        traceback.print_exc(file=told)
        told.flush()
        return FAULT
    return 0
