"""Keeps the process that reads and enters forms with files: hands it one after the other, and ends it when one takes too long."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import sys
from dataclasses import asdict, dataclass, field

from straightband.errors import BadInput
from straightband.shop.folder import Shop
from straightband.web.delivery import Delivery, Outcome
from straightband.workflows.bounds import ONE_THREAD

MOST_SECONDS = 60.0  # of one form: the largest photograph takes a few
MOST_ANSWER_BYTES = 1 << 22


@dataclass(slots=True, kw_only=True)
class Intake:
    """The process, and whose turn it is.

    Attributes
    ----------
    shop
        In which things are entered.
    most_seconds
        One form may take.
    """

    shop: Shop
    most_seconds: float = MOST_SECONDS
    _process: asyncio.subprocess.Process | None = None
    _turn: asyncio.Lock = field(default_factory=asyncio.Lock)

    @property
    def pid(self) -> int:
        """Number of the process; 0 for none."""
        return 0 if self._process is None else self._process.pid

    async def start(self) -> None:
        """Begin, so that the first form need not wait for it."""
        async with self._turn:
            await self._running()

    async def close(self) -> None:
        """End the process."""
        async with self._turn:
            await self._end()

    async def take(self, delivery: Delivery) -> Outcome:
        """Have a form read and entered; raises BadInput where the process ended over it, or took too long."""
        async with self._turn:
            try:
                answer = await asyncio.wait_for(self._answer(delivery), self.most_seconds)
            except BaseException as fault:
                # Whatever came between: what the process says next would answer this form, not the next one.
                await self._end()
                if not isinstance(fault, TimeoutError):
                    raise
                raise _not_taken(f"it took more than {self.most_seconds:.0f} seconds") from None
            if not answer.endswith(b"\n"):
                await self._end()
                raise _not_taken("whoever reads it ended over it, perhaps for want of memory")
        return Outcome(**json.loads(answer))

    async def _answer(self, delivery: Delivery) -> bytes:
        process = await self._running()
        if process.stdin is None or process.stdout is None:
            return b""
        with contextlib.suppress(OSError):
            process.stdin.write(json.dumps(asdict(delivery)).encode() + b"\n")
            await process.stdin.drain()
        return await process.stdout.readline()

    async def _running(self) -> asyncio.subprocess.Process:
        if self._process is None or self._process.returncode is not None:
            self._process = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "straightband.web.taken", str(self.shop.folder),
                stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, env={**os.environ, **ONE_THREAD}, limit=MOST_ANSWER_BYTES,
            )  # fmt: skip
        return self._process

    async def _end(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            await process.wait()


def _not_taken(why: str) -> BadInput:
    return BadInput(
        found=f"what was sent could not be taken in: {why}",
        needed="a file of sensible size that is whole is needed",
        remedy="open the piece to see whether it was entered, then send another",
    )
