"""A form with files on its way: kept as it comes, then named to whoever reads and enters it, which is not the process that serves pages.

A photograph of a telephone takes that process a tenth of a second and more of the interpreter, in which no page is made; and what is sent may be made to harm
whoever takes it apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from straightband.errors import BadInput
from straightband.shop.incoming import forget_incoming, incoming_in_words, new_incoming
from straightband.shop.record import NotInRecord

TOGETHER_BYTES = 1 << 20  # written at once


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What came, not yet read.

    Attributes
    ----------
    kind
        Which form it is.
    place
        The file that holds it.
    content_type
        As the browser named it.
    numbers
        Numbers in the address.
    units
        `mm` or `in`.
    now
        When it had come.
    """

    kind: str
    place: str
    content_type: str
    numbers: Mapping[str, int]
    units: str
    now: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of it.

    Attributes
    ----------
    leads_to
        The page that shows what was entered, or nothing.
    found, needed, remedy
        The sentence by which it was refused.
    missing
        Whether it named something that is not in the record.
    status, words
        The answer to what was no form, otherwise 0.
    texts
        What was typed, when it was refused.
    """

    leads_to: str = ""
    found: str = ""
    needed: str = ""
    remedy: str = ""
    missing: bool = False
    status: int = 0
    words: str = ""
    texts: Mapping[str, str] = field(default_factory=dict)

    @property
    def refusal(self) -> BadInput:
        """The refusal as it was raised."""
        kind = NotInRecord if self.missing else BadInput
        return kind(found=self.found, needed=self.needed, remedy=self.remedy)


async def received(request: Request, folder: Path) -> Path:
    """Keep what comes with a request in a file; whoever asked for it takes it away. Raises RecordUnreadable, nothing left behind then."""
    file = await run_in_threadpool(new_incoming, folder)
    path, waiting = Path(file.name), bytearray()

    def write() -> None:
        with incoming_in_words():
            file.write(waiting)
            file.flush()
        waiting.clear()

    try:
        with file:
            async for chunk in request.stream():
                waiting += chunk
                if len(waiting) >= TOGETHER_BYTES:
                    await run_in_threadpool(write)
            await run_in_threadpool(write)
    except BaseException:
        forget_incoming(path)
        raise
    return path
