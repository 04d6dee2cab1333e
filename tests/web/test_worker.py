"""The worker outside the web process: it can be stopped, is bounded in time and memory, and dies without harm."""

import os
import resource
import signal
import subprocess
import sys
import time

import pytest

from straightband.shop import jobs
from straightband.shop.entries import ReadingEntry
from straightband.web.worker import DIED, LEFT, TOO_LONG, Worker
from straightband.workflows.bounds import MOST_MEMORY_BYTES
from straightband.workflows.shop_jobs import ask_reading, ask_recompute

NOW = "2026-03-03T09:41:07Z"
PATIENCE_S = 60.0


def until(shop, number, *states):
    """The job once it is in one of these states."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        with shop.record() as record:
            job = jobs.job_of(record, number)
        if job.state in states:
            return job
        time.sleep(0.05)
    pytest.fail(f"the job is still {job.state} ({job.stage})")


@pytest.fixture
def at_work(unsigned):
    worker = Worker(shop=unsigned)
    worker.start()
    yield worker
    worker.close()


def stopped(shop, number):
    with shop.record() as record:
        jobs.end(record, number, state="stopped")


def test_a_job_is_stopped_and_the_next_one_done(unsigned, at_work):
    """Stopping ends the process at work; a new one does what comes next, and nothing of the stopped job is entered."""
    first = ask_reading(unsigned, (1,), texts={"light": "mercury-green"}, now=NOW)
    until(unsigned, first, "running")
    pid = at_work.pid
    stopped(unsigned, first)
    again = ask_recompute(unsigned, 1, now=NOW)
    done = until(unsigned, again, "done", "failed")
    assert (done.state, done.leads_to) == ("done", "/readings/1")
    assert done.sentence == "Read again from the photographs: every number came out the same, to the last figure, and so did the verdict."
    assert at_work.pid != pid
    with unsigned.record() as record:
        assert record.count(ReadingEntry) == 1
        assert jobs.job_of(record, first).state == "stopped"


def test_a_worker_that_dies_fails_its_job_in_a_sentence(unsigned, at_work):
    """Killed by the system, as for want of memory: the job says so, and another worker is there."""
    job = ask_recompute(unsigned, 1, now=NOW)
    until(unsigned, job, "running")
    os.kill(at_work.pid, signal.SIGKILL)
    assert until(unsigned, job, "failed").sentence == DIED


def test_a_job_that_takes_too_long_is_ended(unsigned):
    """The bound on time holds from outside, whatever the job does."""
    worker = Worker(shop=unsigned, most_seconds=0.2)
    worker.start()
    job = ask_recompute(unsigned, 1, now=NOW)
    assert until(unsigned, job, "failed", "done").sentence == TOO_LONG
    worker.close()


def test_what_was_left_half_done_is_ended(unsigned):
    """A job that was running when the bench was last closed is not shown as running for ever."""
    job = ask_recompute(unsigned, 1, now=NOW)
    with unsigned.record() as record:
        jobs.take_next(record)
    worker = Worker(shop=unsigned)
    worker.start()
    worker.close()
    with unsigned.record() as record:
        assert jobs.job_of(record, job).sentence == LEFT


def test_the_bound_on_memory_holds():
    """A process that bounds itself gets no more than that, and says MemoryError rather than drag the computer down."""
    code = (
        "from straightband.workflows.bounds import bound_process; import resource; bound_process();"
        "print(resource.getrlimit(resource.RLIMIT_AS)[0]); bytearray(5 << 30)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.stdout.strip() == str(MOST_MEMORY_BYTES)
    assert "MemoryError" in run.stderr
    assert resource.getrlimit(resource.RLIMIT_AS)[0] != MOST_MEMORY_BYTES  # ours is left alone
