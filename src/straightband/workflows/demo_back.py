"""The back of the mirror in the demonstration: pads for it, and two photographs of a printed grid through it while it clears."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from straightband.face.shapes import Face, ellipse
from straightband.synthetic.printed_grid import GreyZone, GridScene, GridSheet, render_grid
from straightband.synthetic.scene import Lighting, Sensor, View
from straightband.workflows.clear import GridSetup, Progress, look_at_back
from straightband.workflows.clear_pictures import clearness_picture, grid_sheet, progress_picture
from straightband.workflows.clear_report import progress_lines
from straightband.workflows.pads import PadPlan, plan_pads
from straightband.workflows.pads_report import plan_lines
from straightband.workflows.pads_sheets import pad_template, pads_picture
from straightband.workflows.pads_text import pack_from_text, pad_from_text, plate_from_text

PLATE, PAD, PACK = "160mm", "40mm", "10"
MINUTES = (0.0, 12.0)  # of polishing since the first photograph
GREY = ((0.62, 0.06), (0.36, 0.30))  # radius in semi-minor axes and share that passes unscattered, in each
PHOTOGRAPHS = ("back-1.jpg", "back-2.jpg")
SEED = 26


@dataclass(frozen=True, slots=True, kw_only=True)
class BackChapter:
    """What was planned and seen of the back: the pads, the photographs of the grid (name, bytes), how clear they show it."""

    pads: PadPlan
    photographs: tuple[tuple[str, bytes], ...]
    progress: Progress

    @property
    def lines(self) -> tuple[str, ...]:
        """The story of it."""
        return (
            "3  The back (pads.pdf, pads.png, back-1.jpg, back-2.jpg, back-clear.png)",
            f"   Pads of {PAD.replace('mm', ' mm')} on a plate of {PLATE.replace('mm', ' mm')}, for a stroke by hand:",
            *(f"   {line}" for line in plan_lines(self.pads)[:4]),
            f"   The printed grid seen through the dry mirror, before and after {MINUTES[1]:g} minutes more on the pads:",
            *(f"   {line}" for line in progress_lines(self.progress)[:5]),
        )

    @property
    def papers(self) -> tuple[tuple[str, bytes, str], ...]:
        """Name, bytes and what it shows, of each file."""
        photographs = tuple((name, data, "rendered photograph of the grid through the mirror") for name, data in self.photographs)
        return (
            ("pads.pdf", pad_template(self.pads), "template of the pads at 1:1, over as many sheets as it takes"),
            ("pads.png", pads_picture(self.pads), "where the pads lie, and how fast the back wears from its middle to its rim"),
            ("grid.pdf", grid_sheet(), "the grid at 1:1, to lay under a dry mirror"),
            *photographs,
            ("back-clear.png", clearness_picture(self.progress), "how clear the back is in both photographs"),
            ("back-progress.png", progress_picture(self.progress), "the clear share over time, and when the last of it clears"),
        )


def demo_back(*, minor_mm: float) -> BackChapter:
    """Pads and photographs for the mirror of the order; the same each time."""
    face = ellipse(minor_mm=minor_mm)
    plate = plate_from_text(plate=PLATE, pad=pad_from_text(diameter=PAD, side=None, outline=None, petalled=False), face=face)
    photographs = tuple(
        (name, _photograph(face, radius=radius, specular=share)) for name, (radius, share) in zip(PHOTOGRAPHS, GREY, strict=True)
    )
    return BackChapter(
        pads=plan_pads(plate, pack=pack_from_text(pack=PACK, price=None)),
        photographs=photographs,
        progress=look_at_back(photographs, minutes=MINUTES, setup=GridSetup(face=face, mark_hour=12.0)),
    )


def _photograph(face: Face, *, radius: float, specular: float) -> bytes:
    """The grid through a back that is grey in the middle, from a telephone held a little aslant."""
    semi = face.semi_u_mm
    scene = GridScene(
        face=face,
        view=View(
            width_px=1400,
            height_px=1050,
            scale_px_per_mm=0.74 * 1050 / (2.0 * face.semi_major_mm),
            centre_x_px=708.0,
            centre_y_px=519.0,
            rotation_deg=4.0,
            tilt_deg=6.0,
            tilt_azimuth_deg=70.0,
            camera_distance_mm=600.0,
            blur_px=0.9,
        ),
        sheet=GridSheet(pitch_mm=2.0, line_mm=0.6, angle_deg=9.0),
        zones=(GreyZone(u_mm=0.05 * semi, v_mm=-0.08 * semi, radius_mm=radius * semi, soft_mm=0.1 * semi, specular=specular, veil=0.25),),
        lighting=Lighting(slope_x=0.12, slope_y=-0.08, vignetting=0.08),
        sensor=Sensor(exposure=0.5, jpeg_quality=88),
        scatter_mm=2.6,
        bevel_mm=0.6,
    )
    return render_grid(scene, rng=np.random.default_rng(SEED))
