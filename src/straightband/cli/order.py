"""`straightband order`: size, place, thickness, tolerance and price of a diagonal from a telescope's dimensions."""

from __future__ import annotations

import argparse
from pathlib import PurePath

from straightband.cli.answer import Answer, read_file
from straightband.cli.outputs import check_outputs, write_outputs
from straightband.errors import BadInput
from straightband.workflows.order import order_from_text, take_order
from straightband.workflows.order_prices import DEFAULT_PRICES, prices_from_toml
from straightband.workflows.order_report import UNITS, order_facts, order_lines
from straightband.workflows.order_request import DEFAULTS


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `order`."""
    parser.add_argument("--aperture", required=True, metavar="LENGTH", help="clear diameter of the primary mirror, like 300mm or 12in")
    parser.add_argument("--focal-length", metavar="LENGTH", help="of the primary mirror, like 1500mm")
    parser.add_argument("--focal-ratio", metavar="NUMBER", help="instead of the focal length: 5 for f/5")
    parser.add_argument("--intercept", required=True, metavar="LENGTH", help="from the middle of the diagonal to the focus, like 240mm")
    parser.add_argument("--full-field", metavar="LENGTH", help="diameter of the field to be fully lit, like 15mm; 0mm: the axis only")
    parser.add_argument(
        "--minor", metavar="LENGTH", help="look at a diagonal of that minor axis; its own field if --full-field is left out"
    )
    parser.add_argument(
        "--have",
        metavar="SIZE",
        nargs="+",
        action="extend",
        help="minor axes the shop has, with commas, like 63mm,75mm,3.1in: the smallest that will do is taken",
    )
    parser.add_argument("--strehl", metavar="NUMBER", help=f"Strehl ratio the face must hold to (default {DEFAULTS['strehl']})")
    parser.add_argument("--light-judged", metavar="WAVELENGTH", help=f"of the Strehl ratio (default {DEFAULTS['light_judged']})")
    parser.add_argument("--light", metavar="LIGHT", help=f"of the test, for bands: wavelength or lamp (default {DEFAULTS['light']})")
    parser.add_argument("--glass", metavar="KIND", help=f"borosilicate, soda-lime, fused-silica, ... (default {DEFAULTS['glass']})")
    parser.add_argument("--thickness", metavar="LENGTH", help="of the glass; left out: suggested")
    parser.add_argument(
        "--margin", metavar="PERCENT", help=f"share of each semi-axis left to the bevel (default {DEFAULTS['margin']})".replace("%", "%%")
    )
    parser.add_argument("--tube", metavar="LENGTH", help="inner diameter of the tube, for the drawing; left out: 1.15 times the aperture")
    parser.add_argument("--prices", metavar="FILE", help="the shop's own figures for the quote (TOML)")
    parser.add_argument("--drawing", metavar="PNG", help="draw tube, cone of light and diagonal to scale, like order.png")
    parser.add_argument(
        "--units", default="mm", metavar="mm|in", help="of the lengths in text and drawing (default mm); JSON is always in mm"
    )


def run(options: argparse.Namespace) -> Answer:
    """Take the order and draw it when asked."""
    if options.units not in UNITS:
        raise BadInput(found=f"the units were given as '{options.units[:40]}'", needed="mm or in is needed", remedy="write one of the two")
    if options.drawing is not None and PurePath(options.drawing).suffix.lower() != ".png":
        raise BadInput(
            found=f"the drawing was to go to '{options.drawing}'", needed="a name ending in .png is needed", remedy="change the ending"
        )
    check_outputs([options.drawing], inputs=[options.prices])
    prices = DEFAULT_PRICES
    if options.prices is not None:
        prices = prices_from_toml(read_file(options.prices, what="the price file"), name=PurePath(options.prices).name)
    have = None if options.have is None else ",".join(options.have)
    telescope = ("aperture", "focal_length", "focal_ratio", "intercept", "full_field")
    names = (*telescope, "minor", *DEFAULTS)
    order = take_order(order_from_text(prices=prices, have=have, **{name: getattr(options, name) for name in names}))
    written: tuple[str, ...] = ()
    if options.drawing is not None:
        from straightband.workflows.order_drawing import order_drawing

        write_outputs([(options.drawing, order_drawing(order, units=options.units))], inputs=[options.prices])
        written = (f"Drawing written to {options.drawing}",)
    return Answer(facts=order_facts(order), lines=(*order_lines(order, units=options.units), *written))
