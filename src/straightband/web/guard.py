"""Who may talk to the bench: host, origin, pairing, size and pace of what comes in; and what browsers are told to keep out.

Threat model. The bench has no passwords. Without `--lan` it listens on this computer only; then the danger is another web page in the same
browser, which the checks of `Host` (against rebinding of names) and `Origin` (against forms sent from elsewhere) stop. With `--lan`
everybody in the network can connect; then a telephone is let in by a cookie that it got for a one-time code. On plain HTTP browsers leave out
`Sec-Fetch-Site`, so `Origin` carries the weight. Whoever can listen in on the network sees what is sent: that is said where a telephone is paired.
"""

from __future__ import annotations

import ipaddress
import time
from collections import deque
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from straightband.quantities import whole_number

MOST_UPLOAD_BYTES = 120_000_000  # a 50-megapixel raw file has half of that
MOST_FORM_BYTES = 200_000
COOKIE = "bench"
REQUESTS_PER_MINUTE = 600  # of one address: a page with its map takes ten
SAFE = ("GET", "HEAD")
OPEN_TO_ALL = ("/pair", "/static/")  # without a cookie
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    # "no-referrer" would make browsers send "Origin: null" with our own forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def host_of(header: str) -> str:
    """The host in a `Host` header, without port and brackets."""
    bare = header.strip().lower()
    if bare.startswith("["):
        return bare[1:].partition("]")[0]
    return bare.rpartition(":")[0] if bare.count(":") == 1 else bare


def is_loopback(address: str) -> bool:
    """Whether an address is this very computer's."""
    if address in {"localhost", "testclient"}:
        return True
    try:
        return ipaddress.ip_address(address.partition("%")[0]).is_loopback
    except ValueError:
        return False


@dataclass(slots=True, kw_only=True)
class Pace:
    """How often an address asks.

    Attributes
    ----------
    most, within_s
        The most in that time.
    seen
        Moments by address.
    """

    most: int
    within_s: float
    seen: dict[str, deque[float]] = field(default_factory=dict)

    def too_fast(self, address: str, *, now: float | None = None) -> bool:
        """Count one more and tell whether it is too many."""
        moment = time.monotonic() if now is None else now
        if len(self.seen) > 1000:
            self.seen.clear()
        times = self.seen.setdefault(address, deque())
        while times and moment - times[0] > self.within_s:
            times.popleft()
        times.append(moment)
        return len(times) > self.most


@dataclass(slots=True)
class Guard:
    """Stands before the pages.

    Attributes
    ----------
    app
        What it guards.
    hosts
        Names and addresses by which the bench may be called.
    knows
        Tells whether a cookie is that of a paired telephone.
    pace
        Of requests by address.
    """

    app: ASGIApp
    hosts: frozenset[str]
    knows: Callable[[str], Awaitable[bool]]
    pace: Pace = field(default_factory=lambda: Pace(most=REQUESTS_PER_MINUTE, within_s=60.0))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        refusal = await self._refusal(scope)
        bounded = _Bounded(receive=receive, most=_most_bytes(scope["path"]))
        answer = refusal if refusal is not None else self.app
        try:
            await answer(scope, bounded, _with_headers(send))
        except _TooLarge:
            refused = PlainTextResponse(
                "What was sent is too large; at most 120 MB are taken; send it smaller.", 413, {"Connection": "close"}
            )
            await refused(scope, receive, _with_headers(send))

    async def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        address = scope["client"][0] if scope.get("client") else ""
        if host_of(headers.get("host", "")) not in self.hosts:
            return PlainTextResponse("The bench is not called by that name; call it by the address it was started with.", 403)
        if scope["method"] not in SAFE and not same_origin(headers):
            return PlainTextResponse("This form was sent from another page; open the bench itself and send it from there.", 403)
        local = is_loopback(address)
        if not local and self.pace.too_fast(address):
            return PlainTextResponse("Too many requests; wait a minute.", 429, {"Retry-After": "60"})
        if not local and not scope["path"].startswith(OPEN_TO_ALL) and not await self.knows(cookie_in(headers)):
            return (
                RedirectResponse("/pair", 303)
                if scope["method"] in SAFE
                else PlainTextResponse("This telephone is not paired; open /pair.", 403)
            )
        size = whole_number(headers.get("content-length", "0"))
        if size is None or size > _most_bytes(scope["path"]):
            return PlainTextResponse("What was sent is too large; at most 120 MB are taken; send it smaller.", 413, {"Connection": "close"})
        return None


def same_origin(headers: Headers) -> bool:
    """Whether a form comes from a page of the bench itself: by `Origin`, else by `Referer`; without both it does not."""
    ours = f"http://{headers.get('host', '').lower()}"
    origin = headers.get("origin")
    if origin is not None:
        return origin.lower() == ours
    referer = headers.get("referer", "").lower()
    return referer == ours or referer.startswith(f"{ours}/")


def cookie_in(headers: Headers) -> str:
    """The bench's cookie, or nothing."""
    jar: SimpleCookie = SimpleCookie()
    try:
        jar.load(headers.get("cookie", ""))
    except CookieError:
        return ""
    return jar[COOKIE].value if COOKIE in jar else ""


def _most_bytes(path: str) -> int:
    return MOST_UPLOAD_BYTES if path.endswith(("/photograph", "/flats", "/grid")) else MOST_FORM_BYTES


class _TooLarge(Exception):
    """More came than may come; raised where it is counted."""


@dataclass(slots=True, kw_only=True)
class _Bounded:
    """Counts what comes in, since a length that was announced need not be true."""

    receive: Receive
    most: int
    count: int = 0

    async def __call__(self) -> Message:
        message = await self.receive()
        if message["type"] == "http.request":
            self.count += len(message.get("body", b""))
            if self.count > self.most:
                raise _TooLarge
        return message


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending
