"""`straightband bench`: the shop in the browser."""

from __future__ import annotations

import argparse
import contextlib
import json
from pathlib import Path
from typing import TYPE_CHECKING

from straightband.errors import BadInput
from straightband.quantities import whole_number
from straightband.workflows.shop_folder import open_shop

if TYPE_CHECKING:
    from straightband.web.serve import Opened

DEFAULT_SHOP = "shop"
STAYS_OPEN = True  # no seconds are counted while it serves


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `bench`."""
    parser.add_argument(
        "--shop", default=DEFAULT_SHOP, metavar="FOLDER", help=f"the shop's folder, made where there is none (default {DEFAULT_SHOP})"
    )
    parser.add_argument("--lan", action="store_true", help="let telephones in the same network come, after pairing with a one-time code")
    parser.add_argument("--port", metavar="NUMBER", help="where it listens; left out: the first free one from 8462")


def run(options: argparse.Namespace) -> None:
    """Serve until interrupted."""
    from straightband.web.serve import serve

    def tell(opened: Opened) -> None:
        facts = {"address": opened.address, "lan_addresses": list(opened.lan_addresses), "pairing_code": opened.code or None}
        print(json.dumps(facts) if options.json else "\n".join(_lines(opened)), flush=True)

    shop = open_shop(Path(options.shop), make=True)
    # Ctrl-C is how it is meant to be ended.
    with contextlib.suppress(KeyboardInterrupt):
        serve(shop, lan=options.lan, port=_port(options.port), tell=tell)


def _lines(opened: Opened) -> tuple[str, ...]:
    return (f"The bench is open at {opened.address} on this computer. End it with Ctrl-C.", *_lan_lines(opened))


def _lan_lines(opened: Opened) -> tuple[str, ...]:
    if not opened.code:
        return ()
    if not opened.lan_addresses:
        return ("No address in a network was found; telephones can't come.",)
    return (
        f"For a telephone in the same network: open {opened.lan_addresses[0]} and type {opened.code}, or photograph the drawing at",
        f"{opened.address}/telephones/code (it holds once, for ten minutes). Anyone who can listen in on this network sees what is sent.",
    )


def _port(text: str | None) -> int | None:
    if text is None:
        return None
    port = whole_number(text)
    if port is None or not 1 <= port <= 65535:
        raise BadInput(
            found=f"the port was given as '{text[:20]}'", needed="a number from 1 to 65535 is needed", remedy="write it like 8462"
        )
    return port
