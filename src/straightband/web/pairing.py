"""A telephone is let in by a one-time code: shown on the computer as a drawing to be photographed and as letters to be typed."""

from __future__ import annotations

import hmac
import io
import secrets
import threading
import time
from dataclasses import dataclass, field

import segno

from straightband.errors import BadInput
from straightband.web.guard import Pace

LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # without those that look like another
LENGTH = 8  # 31^8: at ten tries in ten minutes, longer than anybody lives
LASTS_S = 600.0
TRIES = 10
COOKIE_DAYS = 90


@dataclass(slots=True, kw_only=True)
class Pairing:
    """The code that holds at the moment; used once, it is gone.

    Attributes
    ----------
    code, born
        The code and the moment it was made; empty where none holds.
    tries
        Wrong and right ones, over all addresses.
    """

    code: str = ""
    born: float = 0.0
    tries: Pace = field(default_factory=lambda: Pace(most=TRIES, within_s=LASTS_S))
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def offer(self, *, now: float | None = None) -> str:
        """The code that holds, or a new one."""
        moment = time.monotonic() if now is None else now
        with self._lock:
            if not self.code or moment - self.born > LASTS_S:
                self.code, self.born = "".join(secrets.choice(LETTERS) for _ in range(LENGTH)), moment
            return self.code

    def redeem(self, typed: str, *, now: float | None = None) -> str:
        """A new cookie for a right code, which then is gone; raises BadInput."""
        moment = time.monotonic() if now is None else now
        with self._lock:
            if self.tries.too_fast("all", now=moment):
                raise BadInput(
                    found="too many codes were tried",
                    needed="a pause is needed",
                    remedy="wait ten minutes and ask the computer for a new code",
                )
            right = bool(self.code) and moment - self.born <= LASTS_S
            if not (hmac.compare_digest(self.code, "".join(typed.split()).upper()) and right):
                raise BadInput(
                    found="this code does not hold",
                    needed="the code that the computer shows at this moment is needed; each holds once and for ten minutes",
                    remedy="open 'Telephone' on the computer and type what it shows",
                )
            self.code = ""
            return secrets.token_urlsafe(32)


def code_drawing(address: str) -> str:
    """The address as a drawing that a telephone's camera reads, as SVG text."""
    out = io.BytesIO()
    segno.make(address, error="m").save(
        out, kind="svg", scale=6, border=4, xmldecl=False, svgns=True, nl=False, svgclass="code", lineclass=None, omitsize=True
    )
    return out.getvalue().decode()
