"""Keeps one worker process at work: hands it one job after the other, and ends it when its job was stopped or takes too long."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from typing import IO

from straightband.errors import RecordUnreadable
from straightband.shop import jobs
from straightband.shop.folder import Shop
from straightband.shop.holding import hold
from straightband.workflows.bounds import ONE_THREAD
from straightband.workflows.shop_jobs import MOST_SECONDS

LOOK_S = 0.1
TOO_LONG = (
    f"this took more than {MOST_SECONDS / 60:.0f} minutes and was stopped; a photograph of sensible size is needed; try a smaller one."
)
DIED = (
    "the worker ended before it was done, perhaps for want of memory; a smaller photograph is needed; close other programs and try again."
)
LEFT = "the bench was closed before this was done; nothing was entered; ask for it again."


@dataclass(slots=True, kw_only=True)
class _Process:
    """The process, and what it was given to do."""

    running: subprocess.Popen[str]
    job: int = 0
    began: float = 0.0
    answered: threading.Event = field(default_factory=threading.Event)
    _hearing: threading.Thread | None = None

    def hear(self) -> None:
        """Begin to hear its answers."""
        self._hearing = threading.Thread(target=self._hear, daemon=True, name="hears the worker")
        self._hearing.start()

    def _hear(self) -> None:
        if self.running.stdout is not None:
            with self.running.stdout as answers:
                for _ in answers:
                    self.answered.set()

    def give(self, number: int) -> None:
        """Hand a job over; a process that has died meanwhile is found by whoever watches it."""
        self.job, self.began = number, time.monotonic()
        self.answered.clear()
        if self.running.stdin is not None:
            with contextlib.suppress(OSError):
                self.running.stdin.write(f"{number}\n")
                self.running.stdin.flush()

    def end(self) -> None:
        """End it at once."""
        self.running.kill()
        self.running.wait()
        if self._hearing is not None:
            self._hearing.join()
        if self.running.stdin is not None:
            with contextlib.suppress(OSError):
                self.running.stdin.close()


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
    _process: _Process | None = None
    _held: IO[bytes] | None = None
    _ending: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    @property
    def pid(self) -> int:
        """Number of the process at work; 0 for none."""
        return 0 if self._process is None else self._process.running.pid

    def start(self) -> None:
        """Begin: at once where no other bench works on this folder, otherwise when that one has ended; until then it does the work of both."""
        self._take_over()
        self._thread = threading.Thread(target=self._watch, daemon=True, name="watches the worker")
        self._thread.start()

    def _take_over(self) -> None:
        """Become the one who works on this folder, if nobody is; what an earlier bench left half done is ended first."""
        held = hold(self.shop.folder)
        if held is None:
            return
        try:
            with self.shop.record() as record:
                for job in jobs.running(record):
                    jobs.end(record, job.id, state="failed", sentence=LEFT)
        except RecordUnreadable:
            held.close()
            raise
        self._held, self._process = held, self._spawned()

    def close(self) -> None:
        """End the thread and the process."""
        self._ending.set()
        if self._thread is not None:
            self._thread.join()
        self._end_process()
        if self._held is not None:
            self._held.close()

    def _spawned(self) -> _Process:
        command = [sys.executable, "-m", "straightband.workflows.shop_jobs", str(self.shop.folder)]
        running = subprocess.Popen(
            command, env={**os.environ, **ONE_THREAD}, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="ascii"
        )
        process = _Process(running=running)
        process.hear()
        return process

    def _end_process(self) -> None:
        if self._process is not None:
            self._process.end()

    def _watch(self) -> None:
        while not self._ending.wait(LOOK_S):
            # A full disk, or another who holds the record, passes; whoever watches stays.
            with contextlib.suppress(RecordUnreadable):
                self._look()

    def _look(self) -> None:
        process = self._process
        if self._held is None:
            self._take_over()
        elif process is None or process.running.poll() is not None or (process.job and not self._goes_on(process)):
            self._renew(process)
        elif not process.job:
            self._give_next(process)

    def _renew(self, process: _Process | None) -> None:
        """End what is there and start another; a job that was still wanted has failed."""
        if process is not None:
            process.end()
            if process.job:
                with self.shop.record() as record:
                    jobs.end(record, process.job, state="failed", sentence=DIED)
        self._process = self._spawned()

    def _goes_on(self, process: _Process) -> bool:
        """Whether the process may go on; a job that is over leaves it free for the next."""
        if process.answered.is_set():
            process.job = 0
            return True
        with self.shop.record() as record:
            if time.monotonic() - process.began > self.most_seconds:
                jobs.end(record, process.job, state="failed", sentence=TOO_LONG)
            return jobs.job_of(record, process.job).state == "running"

    def _give_next(self, process: _Process) -> None:
        with self.shop.record() as record:
            job = jobs.take_next(record)
        if job is not None:
            process.give(job.id)
