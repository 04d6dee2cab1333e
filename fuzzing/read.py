"""Whole readings of damaged photographs: what decodes to a picture of bands goes on through outline, bands, figures and verdict."""

from __future__ import annotations

import contextlib

import numpy as np

from fuzzing.targets import PICTURE_WORDS, Target
from straightband.errors import StraightbandError
from straightband.photo import load
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.workflows.read import read_photo
from straightband.workflows.report_reading import reading_facts
from straightband.workflows.setup import setup_from_text

WIDTH_PX = 240


def seeds() -> tuple[bytes, ...]:
    """The golden face, small, as JPEG and as PNG."""
    rendered = render(golden_scene(width_px=WIDTH_PX, height_px=WIDTH_PX * 3 // 4), rng=np.random.default_rng(3))
    return rendered.encode("jpeg"), rendered.encode("jpeg"), rendered.encode("png")


def feed(data: bytes) -> None:
    """Read it."""
    load.FEWEST_MEGAPIXELS = 0.0
    with contextlib.suppress(StraightbandError):
        reading_facts(
            read_photo(data, name="bands.jpg", setup=setup_from_text(light="mercury-green", minor="90mm", mark="3", thicker="2.5"))
        )


TARGET = Target(feed=feed, seeds=seeds, words=PICTURE_WORDS, share=1.0)
