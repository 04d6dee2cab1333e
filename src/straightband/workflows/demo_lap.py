"""What to do next on the lap in the demonstration: strokes for the mirror as it was read before figuring."""

from __future__ import annotations

from dataclasses import dataclass

from straightband.heightmap.map import HeightMap
from straightband.workflows.strokes import StrokePlan, plan_strokes
from straightband.workflows.strokes_pictures import run_toml, stroke_card, zones_picture
from straightband.workflows.strokes_report import strokes_lines
from straightband.workflows.strokes_shelf import shelf_from_diameters

LAPS = ("75mm", "30mm", "15mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class LapChapter:
    """The advice for the piece of this number."""

    plan: StrokePlan
    number: str
    shop: str

    @property
    def lines(self) -> tuple[str, ...]:
        """The story of it: the answer without its notes and cautions, which stand on the card."""
        lines = strokes_lines(self.plan)
        told = next(k for k, line in enumerate(lines) if line.startswith("Afterwards")) + 1 if self.plan.runs else 2
        return (
            "5  On the lap (strokes.png, strokes.pdf, run-1.toml)",
            f"   The shop has pitch laps of {', '.join(lap.name for lap in self.plan.shelf.laps)}; how fast they cut is not learnt yet, so the first run is short:",
            *(f"   {line}" for line in lines[:told]),
        )

    @property
    def papers(self) -> tuple[tuple[str, bytes, str], ...]:
        """Name, bytes and what it shows, of each file."""
        return (
            (
                "strokes.png",
                zones_picture(self.plan),
                "zones to be copied with a wax pencil, and map and bands as they are to be after the run",
            ),
            ("strokes.pdf", stroke_card(self.plan, piece=self.number, shop=self.shop), "the job card of the run"),
            ("run-1.toml", run_toml(self.plan, before="before.npz"), "the run, from which the next advice learns how fast the laps cut"),
        )


def demo_lap(height_map: HeightMap, *, number: str, shop: str) -> LapChapter:
    """The advice for a map; the same each time."""
    return LapChapter(plan=plan_strokes(height_map, shelf=shelf_from_diameters(LAPS)), number=number, shop=shop)
