"""Serving the bench: on this computer only, or with `--lan` for telephones in the same network."""

from __future__ import annotations

import contextlib
import gc
import socket
import sys
from collections.abc import Callable
from dataclasses import dataclass

import uvicorn

from straightband.errors import BadInput
from straightband.shop.folder import Shop
from straightband.web.app import bench_app
from straightband.web.desk import Desk
from straightband.web.intake import Intake
from straightband.web.pairing import Pairing
from straightband.web.worker import Worker

PORT = 8462  # free in the register of well-known services as far as we remember; our choice
PORTS_TRIED = 20
KEEP_ALIVE_S = 60  # longer than between two photographs: a form that meets a connection at its end is lost
SWITCH_S = 0.001  # after which a thread lets another go on: 5 ms, as by default, is longer than a page takes


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A bench that is about to serve.

    Attributes
    ----------
    address
        On this computer.
    lan_addresses
        For telephones, the likeliest first; none without `--lan`.
    code
        By which a telephone is paired; empty without `--lan`.
    """

    address: str
    lan_addresses: tuple[str, ...]
    code: str


def serve(shop: Shop, *, lan: bool, port: int | None, tell: Callable[[Opened], None]) -> None:
    """Serve until interrupted; `tell` is called once, when the address is known. Raises BadInput when the port is taken."""
    sys.setswitchinterval(SWITCH_S)
    listening = listen(lan=lan, port=port)
    number = listening.getsockname()[1]
    addresses = tuple(f"http://{host}:{number}" for host in own_addresses()) if lan else ()
    pairing = Pairing()
    tell(Opened(address=f"http://127.0.0.1:{number}", lan_addresses=addresses, code=pairing.offer() if lan else ""))
    app = bench_app(Desk(shop=shop, lan=lan), pairing_code=pairing, addresses=addresses, worker=Worker(shop=shop), intake=Intake(shop=shop))
    # No Date or Server header from a proxy is trusted, and nobody waits longer than a slow telephone needs.
    config = uvicorn.Config(
        app,
        log_level="warning",
        proxy_headers=False,
        server_header=False,
        timeout_graceful_shutdown=2,
        limit_concurrency=200,
        timeout_keep_alive=KEEP_ALIVE_S,
    )
    _settle()
    uvicorn.Server(config).run(sockets=[listening])


def _settle() -> None:
    """Take the program itself out of the rounds of the collector: to go through all of it takes a tenth of a second, in which no page is made."""
    gc.collect()
    gc.freeze()


def listen(*, lan: bool, port: int | None) -> socket.socket:
    """A socket on the port asked for, or on the first free one from our own; loopback only without `lan`."""
    host = "0.0.0.0" if lan else "127.0.0.1"  # noqa: S104 - the very meaning of --lan, behind pairing
    ports = [port] if port is not None else [*range(PORT, PORT + PORTS_TRIED), 0]
    for each in ports:
        # TCP by its number: otherwise asyncio does not switch off the delay of small packets, and every answer comes 40 ms late.
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host, each))
            listening.listen(128)  # only then is the port ours
        except OSError:
            listening.close()
            continue
        return listening
    raise BadInput(found=f"port {port} is taken", needed="a free port is needed", remedy="leave --port out, or name another")


def own_addresses() -> tuple[str, ...]:
    """Addresses of this computer in its networks, the one it would reach others from first; no packet is sent."""
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # an address kept for documents (RFC 5737): only the route is looked up
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return tuple(dict.fromkeys(str(each) for each in found if not str(each).startswith("127.")))
