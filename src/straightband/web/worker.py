"""Keeps one worker process at work: started when the bench is, started anew when it dies, ended when its job was stopped or takes too long."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field

from straightband.shop import jobs
from straightband.shop.folder import Shop
from straightband.shop.record import Record
from straightband.workflows.shop_jobs import MOST_SECONDS

LOOK_S = 0.2
_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
TOO_LONG = (
    f"this took more than {MOST_SECONDS / 60:.0f} minutes and was stopped; a photograph of sensible size is needed; try a smaller one."
)
DIED = (
    "the worker ended before it was done, perhaps for want of memory; a smaller photograph is needed; close other programs and try again."
)
LEFT = "the bench was closed before this was done; nothing was entered; ask for it again."


@dataclass(slots=True, kw_only=True)
class Worker:
    """The process, and the thread that watches it.

    Attributes
    ----------
    shop
        Whose work is done.
    most_seconds
        A job may take.
    """

    shop: Shop
    most_seconds: float = MOST_SECONDS
    _process: subprocess.Popen[bytes] | None = None
    _ending: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None
    _began: dict[int, float] = field(default_factory=dict)

    def start(self) -> None:
        """Begin; what an earlier bench left half done is ended first."""
        with self.shop.record() as record:
            for job in jobs.running(record):
                jobs.end(record, job.id, state="failed", sentence=LEFT)
        self._spawn()
        self._thread = threading.Thread(target=self._watch, daemon=True, name="watches the worker")
        self._thread.start()

    def close(self) -> None:
        """End the process and the thread."""
        self._ending.set()
        if self._thread is not None:
            self._thread.join()
        self._kill()

    def _spawn(self) -> None:
        command = [sys.executable, "-m", "straightband.workflows.shop_jobs", str(self.shop.folder)]
        self._process = subprocess.Popen(command, env={**os.environ, **_ONE_THREAD}, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)

    def _kill(self) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
            self._process.wait()

    def _watch(self) -> None:
        at_work: int | None = None
        while not self._ending.wait(LOOK_S):
            with self.shop.record() as record:
                running = jobs.running(record)
                # A job that was at work and was stopped by a page is still being done by the process.
                stopped = at_work is not None and jobs.job_of(record, at_work).state == "stopped"
                at_work = running[0].id if running else None
                self._end_too_long(record, running)
                died = self._process is None or self._process.poll() is not None
                if died and at_work is not None:
                    jobs.end(record, at_work, state="failed", sentence=DIED)
            if stopped or died or (at_work is not None and self._too_long(at_work)):
                self._kill()
                self._spawn()
                at_work = None

    def _end_too_long(self, record: Record, running: tuple[jobs.Job, ...]) -> None:
        self._began = {job.id: self._began.get(job.id, time.monotonic()) for job in running}
        for job in running:
            if self._too_long(job.id):
                jobs.end(record, job.id, state="failed", sentence=TOO_LONG)

    def _too_long(self, number: int) -> bool:
        return time.monotonic() - self._began.get(number, time.monotonic()) > self.most_seconds
