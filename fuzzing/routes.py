"""Every route of the bench, taken from its own table, with whatever headers and bodies: any answer but 5xx, nothing written outside the shop.

An input is a stream of choices, so that both engines and hypothesis can make one: whatever its bytes are, it is some request.
"""

from __future__ import annotations

import asyncio
import re
import shutil
import tempfile
import urllib.parse
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.applications import Starlette

from benchmarks.pages import NOW, shop_with_one
from fuzzing import seeds
from fuzzing.targets import TEXT_WORDS, Target
from fuzzing.texts import PARSERS
from straightband.shop.folder import Shop, open_shop
from straightband.web.app import bench_app
from straightband.web.desk import Desk
from straightband.web.pairing import Pairing

HOST = "127.0.0.1:8462"
NUMBERS = ("1", "2", "0", "9", "00001", "9223372036854775807", "9223372036854775808", "9" * 400, "9" * 5000)
NAMES = (
    "name", "customer", "form", "token", "pieces", "runs", "also", "minutes", "work", "position", "abrasive", "pad", "note", "what", "amount", "currency", "hours", "flat", "grain",
    "diameter", "companion", "abrasives", "signed_by", "code", "units", "shape", "after_abrasive", "photograph", "map",
    *sorted({key for _, texts in PARSERS.values() for key in texts}),
)  # fmt: skip
VALUES = (
    "1", "2", "77", "999999999", "", "90mm", "12min", "20um", "grinding", "top", "sodium", "632.8nm", "300mm", "5", "240mm", "12.50", "1,2", "²", "1,²", "٣", "-1", "9" * 30, "9" * 5000, "1e999", "nan", "a\0b", "\ufeff",
    "../../etc/passwd", "<script>alert(1)</script>", "'; DROP TABLE lamp; --", "{{ 7*7 }}", "x" * 400, "12.4um,12.6um", "11.0um", "40mm", "0mm", "20um,10um", "yes", "lamp", "mm", "in", "ellipse", "round",
    "in", "out", "12", "3%", "1m", "borosilicate", "11mm", "A-1", "0000-00-00", "A" * 20 + "-token_token_token",
)  # fmt: skip
HEADERS = (
    ("host", ("localhost:8462", "evil.example", "", "[::1]:8462", "[::1", "a:b:c", HOST + ".", "\xff", "127.0.0.1:99999999999")),
    ("origin", ("null", "http://evil.example", f"http://{HOST}", f"HTTP://{HOST}", "http://[", "")),
    ("referer", (f"http://{HOST}/orders/1", "http://[", "//evil.example//x", "http://a//evil.example", "\\\\evil", f"http://{HOST}/\r\nx: y", "\xff")),
    ("cookie", ("units=in", "units=\xff", "bench=abc", "=;=;", "units=mm; units=in", '"\\', "bench=" + "x" * 5000)),
    ("accept", ("application/json", "*/*", "\xff")),
    ("accept-encoding", ("gzip", "")),
    ("content-length", ("²", "-1", "1e3", "999999999999", "0", "00005", "+5")),
    ("content-type", ("text/plain", "multipart/form-data", "multipart/form-data; boundary=", "multipart/form-data; boundary=\xff", "application/x-www-form-urlencoded; charset=utf-16")),
    ("range", ("bytes=0-1", "bytes=-1", "bytes=5-2", "bytes=0-0,1-1", "lines=1", "bytes=" + "0-1," * 300)),
    ("if-range", ("abc",)),
    ("if-none-match", ("*",)),
    ("transfer-encoding", ("chunked",)),
    ("expect", ("100-continue",)),
)  # fmt: skip
FILES = (*seeds.npzs(), *seeds.csvs(), *seeds.x3ps(), *seeds.jpegs(), b"", b"PK\x03\x04")
CHARSETS = (
    "utf-8",
    "latin-1",
    "unicode_escape",
    "utf-16",
    "utf-7",
    "idna",
    "undefined",
    "rot13",
    "no such one",
    "hex",
    "zlib",
    "\x00",
    "punycode",
    "raw_unicode_escape",
)
# Forms that are taken as they stand, to be spoilt in places.
FORMS: dict[str, dict[str, str]] = {
    "/orders": PARSERS["order"][1] | {"name": "A-1", "minor": "53.5mm"},
    "/pieces": {"name": "A-1", "minor": "50mm", "glass": "borosilicate", "thickness": "9mm"},
    "/gaug": PARSERS["readings"][1] | {"leg_circle": "40mm", "after_abrasive": "20um"},
    "/timer": {"work": "grinding", "minutes": "12min"},
    "/stop": {"minutes": "12min", "position": "top"},
    "/run": {"work": "polishing", "minutes": "12min", "position": "top", "abrasive": "1", "pad": "1", "note": "x"},
    "/cost": {"what": "glass", "amount": "12.50", "currency": "EUR", "hours": "1.5"},
    "/photograph": {"light": "sodium", "flat": "", "mark": "12", "thicker": "2.5", "mirrored": "1", "camera": "1m", "lens_distortion": "1%", "margin": "3%", "also": "1"},
    "/batches": {"name": "spring", "pieces": "1,2", "abrasives": "20um,5um", "companion": "yes", "runs": "1,2"},
    "/flats": {"name": "flat A", "note": "x"},
    "/shop": {"form": "lamp", "name": "x", "light": "sodium", "grain": "20um", "diameter": "50mm", "signed_by": "x", "note": "x"},
    "/pair": {"code": "AAAAAAAA", "name": "telephone"},
    "/units": {"units": "in"},
}  # fmt: skip
PER_SHOP = 300  # inputs before the shop is laid anew


@dataclass(slots=True)
class Choices:
    """Bytes as a stream of choices; zeros when they are used up."""

    data: bytes
    place: int = 0

    def byte(self) -> int:
        """The next one."""
        self.place += 1
        return self.data[self.place - 1] if self.place <= len(self.data) else 0

    def one_of(self, things: Any) -> Any:
        """One of a few things."""
        return things[(self.byte() << 8 | self.byte()) % len(things)]

    def some(self, most: int) -> bytes:
        """Some bytes as they are."""
        size = self.byte() % most
        self.place += size
        return self.data[self.place - size : self.place]


@dataclass(slots=True)
class Bench:
    """A bench on a copy of a filled shop, made anew now and then.

    Attributes
    ----------
    folder
        In which everything lies.
    """

    folder: Path | None = None
    fed: int = 0
    app: Starlette = field(default_factory=Starlette)
    loop: asyncio.AbstractEventLoop = field(default_factory=asyncio.new_event_loop)

    def fresh(self) -> Starlette:
        """The application, on a new copy of the shop after so many inputs."""
        if self.folder is None:
            self.folder = Path(tempfile.mkdtemp(prefix="straightband-routes-"))
            shop_with_one(self.folder / "first")
        if self.fed % PER_SHOP == 0:
            shutil.rmtree(self.folder / "shop", ignore_errors=True)
            shutil.copytree(self.folder / "first", self.folder / "shop")
            self.app = app_of(open_shop(self.folder / "shop"))
        self.fed += 1
        return self.app


def app_of(shop: Shop) -> Starlette:
    """The bench for a shop, its clock standing still."""
    return bench_app(Desk(shop=shop, lan=True, now=lambda: NOW), pairing_code=Pairing(), addresses=("http://192.0.2.7:8462",))


def paths_of(app: Starlette) -> list[tuple[str, tuple[str, ...]]]:
    """Every route with the methods it takes."""
    return [(route.path, tuple(sorted(route.methods or ()))) for route in app.routes]


def request_of(choices: Choices, app: Starlette) -> tuple[dict[str, Any], bytes]:
    """Scope and body of the request that the choices make."""
    path, methods = choices.one_of(paths_of(app))
    method = choices.one_of((*methods, *methods, "POST", "GET", "HEAD", "DELETE", "PUT"))
    path = re.sub(
        r"\{\w+(:int)?\}", lambda found: choices.one_of(NUMBERS) if found[1] else choices.one_of(("bench.css", "..%2fapp.py", "x")), path
    )
    if choices.byte() < 10:
        path += choices.one_of(("/", "%00", "/../..", "//", "\xff", "?"))
    query = urllib.parse.urlencode([(choices.one_of(NAMES), choices.one_of(VALUES)) for _ in range(choices.byte() % 4)]).encode()
    headers = {"host": HOST, "origin": f"http://{HOST}"}
    body, kind = _body(choices, path)
    if kind:
        headers["content-type"] = kind
    if method != "GET" and choices.byte() < 200:
        headers["content-length"] = str(len(body))
    for _ in range(choices.byte() % 3):
        name, values = choices.one_of(HEADERS)
        headers[name] = choices.one_of(values)
    client = ("127.0.0.1", 50000) if choices.byte() < 230 else ("192.0.2.50", 50000)
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http", "path": urllib.parse.unquote(path), "raw_path": path.encode("latin-1", "replace"),
        "query_string": query, "root_path": "", "headers": [(name.encode(), value.encode("latin-1", "replace")) for name, value in headers.items()], "client": client, "server": ("127.0.0.1", 8462),
    }  # fmt: skip
    return scope, body


def _body(choices: Choices, path: str) -> tuple[bytes, str]:
    kind = choices.byte() % 4
    right = next((fields for part, fields in FORMS.items() if part in path), {}) if choices.byte() < 200 else {}
    spoilt = {
        choices.one_of(NAMES if choices.byte() < 60 or not right else tuple(right)): choices.one_of(VALUES)
        for _ in range(choices.byte() % 4)
    }
    fields = [*(right | spoilt).items(), *((choices.one_of(NAMES), choices.one_of(VALUES)) for _ in range(choices.byte() % 3))]
    if kind == 0:
        return urllib.parse.urlencode(fields).encode(), "application/x-www-form-urlencoded"
    if kind == 1:
        return urllib.parse.urlencode(fields).encode() + choices.some(200), "application/x-www-form-urlencoded"
    charset = choices.one_of(CHARSETS) if choices.byte() < 20 else "utf-8"
    parts = [f'--b\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode() for name, value in fields]
    if choices.byte() < 128:
        name, file = (
            choices.one_of(("photograph", "map", "x")),
            choices.one_of(("a.jpg", "../../a.jpg", "a\0.npz", "\\\\a\\b.csv", "", "b.x3p", "x" * 300)),
        )
        content = choices.one_of(FILES) if choices.byte() < 128 else choices.some(250)
        parts.append(f'--b\r\nContent-Disposition: form-data; name="{name}"; filename="{file}"\r\n\r\n'.encode() + content + b"\r\n")
    body = b"".join(parts) + (b"--b--\r\n" if kind == 2 else choices.some(100))
    return body, f"multipart/form-data; boundary=b; charset={charset}"


async def answer_of(app: Starlette, scope: dict[str, Any], body: bytes, *, parts: int = 1) -> int:
    """The status that the application gives, its body sent in so many parts; 0 where it gave none."""
    size = max(1, -(-len(body) // parts))
    pieces = [body[k : k + size] for k in range(0, len(body), size)] or [b""]
    told = [{"type": "http.request", "body": piece, "more_body": k < len(pieces) - 1} for k, piece in enumerate(pieces)]
    status = 0

    async def receive() -> dict[str, Any]:
        return told.pop(0) if told else {"type": "http.disconnect"}

    async def send(message: dict[str, Any]) -> None:
        nonlocal status
        if message["type"] == "http.response.start":
            status = message["status"]

    await app(scope, receive, send)
    return status


BENCH = Bench()


def feed(data: bytes) -> None:
    """One request."""
    choices, app = Choices(data), BENCH.fresh()
    scope, body = request_of(choices, app)
    if scope["path"].endswith("/events"):
        return  # a stream that lasts as long as its job
    status = BENCH.loop.run_until_complete(answer_of(app, scope, body, parts=1 + choices.byte() % 3))
    if status >= 500:
        raise AssertionError(f"{scope['method']} {scope['path'][:200]} gave {status}")


def streams() -> tuple[bytes, ...]:
    """A few streams of choices."""
    return tuple(bytes((k * 37 + j * j * 11) % 256 for j in range(120)) for k in range(80))


TARGET = Target(feed=feed, seeds=streams, words=TEXT_WORDS, share=12.0)
