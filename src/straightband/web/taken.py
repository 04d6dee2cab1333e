"""Forms with files, read and entered by a process of its own with bounds, so that pages go on and a file that is made to harm harms nobody else.

`python -m straightband.web.taken FOLDER` reads one delivery to a line from standard input, as JSON, and answers each with one line; it ends when its input does,
and so with whoever started it.
"""

from __future__ import annotations

import asyncio
import json
import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any

from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import Request
from starlette.types import Message

from straightband.errors import StraightbandError
from straightband.shop.folder import Shop, open_shop
from straightband.shop.incoming import incoming_in_words
from straightband.shop.record import NotInRecord
from straightband.web.delivery import TOGETHER_BYTES, Delivery, Outcome
from straightband.web.desk import Ask, Desk, Sent
from straightband.web.guard import MOST_FORM_BYTES, MOST_UPLOAD_BYTES
from straightband.web.pages.backs import take_grid
from straightband.web.pages.flats import take_flat
from straightband.web.pages.photographs import take_photograph
from straightband.web.sent import sent_with
from straightband.workflows.bounds import bound_process

TAKES: dict[str, Callable[[Ask], str]] = {"photograph": take_photograph, "flat": take_flat, "grid": take_grid}
NICENESS = 5  # between pages and readings
MultiPartParser.spool_max_size = MOST_UPLOAD_BYTES  # otherwise parts are written to a folder outside the shop


def taken(shop: Shop, delivery: Delivery) -> Outcome:
    """Read a delivery and enter what is in it; a refusal is an outcome."""
    texts: dict[str, str] = {}
    try:
        with incoming_in_words(), Path(delivery.place).open("rb") as file:
            texts, files = asyncio.run(_read(file, content_type=delivery.content_type))
        desk = Desk(shop=shop, now=lambda: delivery.now)
        return Outcome(
            leads_to=TAKES[delivery.kind](Ask(desk=desk, numbers=delivery.numbers, texts=texts, files=files, units=delivery.units))
        )
    except HTTPException as fault:
        return Outcome(status=fault.status_code, words=fault.detail)
    except StraightbandError as refusal:
        return Outcome(
            found=refusal.found, needed=refusal.needed, remedy=refusal.remedy, missing=isinstance(refusal, NotInRecord), texts=texts
        )


async def _read(file: IO[bytes], *, content_type: str) -> tuple[dict[str, str], dict[str, tuple[Sent, ...]]]:
    async def receive() -> Message:
        chunk = file.read(TOGETHER_BYTES)
        return {"type": "http.request", "body": chunk, "more_body": bool(chunk)}

    headers = [(b"content-type", content_type.encode("latin-1", "replace"))]
    try:
        texts, files = await sent_with(
            Request({"type": "http", "method": "POST", "path": "/", "query_string": b"", "headers": headers}, receive)
        )
    except MultiPartException as fault:
        raise HTTPException(400, fault.message) from fault
    if sum(len(key) + len(value) for key, value in texts.items()) > MOST_FORM_BYTES:
        raise HTTPException(413, "Too much was typed; type less.")
    return texts, files


def take_all(shop: Shop, *, asked: Iterable[str], answer: Callable[[str], None]) -> None:
    """Take one delivery after the other, and answer each with what came of it."""
    for line in asked:
        told: dict[str, Any] = json.loads(line)
        answer(json.dumps(asdict(taken(shop, Delivery(**told)))))


def main(arguments: list[str]) -> int:
    """Serve the shop in the folder named."""
    bound_process()
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    take_all(open_shop(Path(arguments[0])), asked=sys.stdin, answer=lambda line: print(line, flush=True))  # noqa: T201 - how it answers
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
