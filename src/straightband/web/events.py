"""Server-sent events on a job: each change of its stage, and its end. Closing the page ends the telling, not the work."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse

from straightband.shop import jobs
from straightband.shop.folder import Shop
from straightband.shop.jobs import Job
from straightband.shop.record import NotInRecord

LOOK_S = 0.25
STILL_THERE_S = 15.0  # a comment that keeps the connection open
LONGEST_S = 1800.0  # then the browser asks again by itself


def job_events(shop: Shop, number: int) -> StreamingResponse:
    """The stream of one job."""
    return StreamingResponse(_told(shop, number), media_type="text/event-stream", headers={"Cache-Control": "no-store"})


def is_job(shop: Shop, number: int) -> bool:
    """Whether there is such a job: once a stream has begun, it can no longer be refused."""
    try:
        return _job(shop, number).id == number
    except NotInRecord:
        return False


async def _told(shop: Shop, number: int) -> AsyncIterator[str]:
    before, quiet, waited = "", 0.0, 0.0
    while waited < LONGEST_S:
        job = await run_in_threadpool(_job, shop, number)
        text = json.dumps({"state": job.state, "stage": job.stage, "sentence": job.sentence, "leads_to": job.leads_to}, ensure_ascii=False)
        if text != before:
            before, quiet = text, 0.0
            yield f"data: {text}\n\n"
        if job.state in jobs.OVER:
            return
        await asyncio.sleep(LOOK_S)
        quiet, waited = quiet + LOOK_S, waited + LOOK_S
        if quiet >= STILL_THERE_S:
            quiet = 0.0
            yield ": still there\n\n"


def _job(shop: Shop, number: int) -> Job:
    with shop.record() as record:
        return jobs.job_of(record, number)
