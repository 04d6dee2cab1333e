"""The whole job on an invented shop: an order, photographs, readings, verdicts, the certificate; and real photographs at the end."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from straightband.heightmap.figures import Figures, figures
from straightband.synthetic.block import block_photograph
from straightband.telescope.sizing import Cut, cut_of_cone
from straightband.workflows.certify import certify, verdict_on
from straightband.workflows.demo_back import BackChapter, demo_back
from straightband.workflows.demo_flats import PAIRS, pair_maps
from straightband.workflows.demo_lap import demo_lap
from straightband.workflows.demo_plan import demo_papers, plan_story
from straightband.workflows.demo_rings import PAPERS, Rings, read_rings, shipped
from straightband.workflows.demo_scene import CAMERA_MM, Shot, after_figuring, before_figuring, flat_map
from straightband.workflows.demo_story import Chapter, story
from straightband.workflows.maps import map_file
from straightband.workflows.pictures import budget_picture, map_picture, overlay_picture, profile_picture, strehl_picture
from straightband.workflows.piece import piece_from_toml
from straightband.workflows.read import Reading
from straightband.workflows.report_reading import reading_facts
from straightband.workflows.report_verdict import verdict_facts
from straightband.workflows.several import read_photos

SHOP, NUMBER = "Hollow Lane Glass (invented)", "2026-31"
FLAT = "flat-a.npz"
STEP, STEP_FRACTION, STEP_SEED = "step.jpg", 0.26, 5
PIECE_FILE = """\
# What `straightband certify` needs to know of a piece. Lengths carry their unit; hours are those of a clock laid on the upright photograph.
name = "{number}"
order = "Diagonal for a reflecting telescope"
glass = "borosilicate, 12 mm thick"
shape = "ellipse"
minor = "{minor:g}mm"
light = "sodium"
photographs = ["{photograph}"]
mark = {mark:g}        # the pencil mark on the rim, at the end that goes toward the primary mirror
thicker = {thicker:g}     # a paper shim lies under this side
mirrored = 1      # seen once through the back of the piece
camera = "{camera:g}mm"
reference = "{flat}"

[telescope]
aperture = "250mm"
focal_ratio = 5
intercept = "205mm"
full_field = "12mm"
strehl = 0.95

[shop]
name = "{shop}"
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoFile:
    """A file of the demonstration: its name, its bytes and what it shows."""

    name: str
    data: bytes
    shows: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Demo:
    """What the demonstration made.

    Attributes
    ----------
    files
        To be written into one folder, in the order of the story.
    lines
        The story, for people.
    facts
        Its numbers, as plain JSON values.
    flat
        Name and bytes of the map of the shop's flat.
    exposures
        The photographs of the mirror with what came of them, for the record of the invented shop.
    back
        Pads and photographs of a back, for the same.
    """

    files: tuple[DemoFile, ...]
    lines: tuple[str, ...]
    facts: dict[str, Any]
    flat: tuple[str, bytes]
    exposures: tuple[tuple[Shot, Chapter], ...]
    back: BackChapter


def run_demo() -> Demo:
    """Carry the order through the job; the same files each time."""
    flat = (FLAT, map_file(flat_map(), name=FLAT), flat_map())
    minor_mm, cut = ordered_minor_mm()
    shots = before_figuring(minor_mm=minor_mm), after_figuring(minor_mm=minor_mm)
    tomls = [_piece_file(minor_mm=minor_mm, photograph=shot.name, mark=shot.mark, thicker=shot.thicker) for shot in shots]
    pieces = [piece_from_toml(toml, name="piece") for toml in tomls]
    first = read_photos([(shots[0].name, shots[0].data)], setup=pieces[0].setup, reference=flat[2])
    made = certify(pieces[1], photographs=[(shots[1].name, shots[1].data)], reference=flat)
    before = Chapter(stem="before", reading=first, verdict=verdict_on(first, pieces[0].requirement), truth=_truth(shots[0], first))
    after = Chapter(stem="after", reading=made.reading, verdict=made.verdict, truth=_truth(shots[1], made.reading))
    back, lap = demo_back(minor_mm=minor_mm), demo_lap(first.height_map, number=NUMBER, shop=SHOP)
    rings = read_rings()
    lines = story([before, after], minor_mm=minor_mm, cut=cut, between=(plan_story(), back.lines, lap.lines), rings=rings)
    files = (
        DemoFile(name="story.txt", data=("\n".join(lines) + "\n").encode(), shows="the story above, with its numbers"),
        DemoFile(name=FLAT, data=flat[1], shows="map of the shop's reference flat, which is taken off every reading"),
        *_pair_files(),
        DemoFile(
            name=STEP, data=_step_photograph(), shows="rendered photograph of a gauge block wrung on a platen, for `straightband step`"
        ),
        *_chapter_files(before, shots[0], toml=tomls[0]),
        *_chapter_files(after, shots[1], toml=tomls[1]),
        *_papers(after, pdf=made.pdf),
        *_ring_files(rings),
        *(DemoFile(name=name, data=data, shows=shows) for name, data, shows in (*demo_papers(shop=SHOP), *back.papers, *lap.papers)),
    )
    return Demo(
        files=files,
        lines=lines,
        facts=_facts([before, after], minor_mm=minor_mm, rings=rings),
        flat=flat[:2],
        exposures=tuple(zip(shots, (before, after), strict=True)),
        back=back,
    )


def _step_photograph() -> bytes:
    return block_photograph(fraction=STEP_FRACTION, noise=0.02, rng=np.random.default_rng(STEP_SEED))


def _pair_files() -> list[DemoFile]:
    return [
        DemoFile(
            name=name,
            data=data,
            shows=f"map of flat {PAIRS[name][0]} on flat {PAIRS[name][1]}{' turned' if PAIRS[name][2] else ''}, for `straightband threeflat`",
        )
        for name, data in pair_maps()
    ]


def ordered_minor_mm() -> tuple[float, Cut]:
    """The minor axis the shop makes for this telescope: half millimetres, so that the clear aperture covers the cone of light; and the cut."""
    piece = piece_from_toml(_piece_file(minor_mm=50.0, photograph="none.jpg", mark=12.0, thicker=12.0), name="order")
    telescope = piece.requirement.telescope
    cut = cut_of_cone(telescope, full_field_mm=telescope.full_field_mm or 0.0)
    return math.ceil(2.0 * cut.minor_axis_mm / (1.0 - piece.setup.clear_margin)) / 2.0, cut


def _piece_file(*, minor_mm: float, photograph: str, mark: float, thicker: float) -> bytes:
    text = PIECE_FILE.format(
        number=NUMBER, minor=minor_mm, photograph=photograph, mark=mark, thicker=thicker, camera=CAMERA_MM, flat=FLAT, shop=SHOP
    )
    return text.encode()


def _truth(shot: Shot, reading: Reading) -> Figures:
    """Figures of the surface that the photograph was rendered from, on the points that were read."""
    height_map = reading.height_map
    u, v = np.meshgrid(height_map.u_mm, height_map.v_mm)
    heights = np.where(np.isfinite(height_map.heights_nm), shot.truth.heights_nm(u, v), np.nan)
    return figures(replace(height_map, heights_nm=heights))


def _title(chapter: Chapter) -> str:
    return f"{NUMBER}, {chapter.stem} figuring"


def _chapter_files(chapter: Chapter, shot: Shot, *, toml: bytes) -> list[DemoFile]:
    stem, height_map = chapter.stem, chapter.reading.height_map
    bands, shape = overlay_picture(chapter.reading, shot.data), map_picture(height_map, title=_title(chapter))
    return [
        DemoFile(name=shot.name, data=shot.data, shows=f"rendered telephone photograph {stem} figuring"),
        DemoFile(
            name=f"{stem}.toml",
            data=toml,
            shows=f"piece file for it: try `straightband certify {stem}.toml --out again.pdf` in this folder",
        ),
        DemoFile(
            name=f"{stem}-bands.png", data=bands, shows="the photograph with the outline found and the dark bands as read drawn over it"
        ),
        DemoFile(name=f"{stem}-map.png", data=shape, shows=f"height map {stem} figuring"),
        DemoFile(
            name=f"{stem}-profile.png",
            data=profile_picture(height_map, title=_title(chapter)),
            shows="heights along both axes, with their 95 % interval",
        ),
        DemoFile(name=f"{stem}.npz", data=map_file(height_map, name=f"{stem}.npz"), shows="the same map as arrays"),
    ]


def _papers(chapter: Chapter, *, pdf: bytes) -> list[DemoFile]:
    height_map, title = chapter.reading.height_map, _title(chapter)
    budget = budget_picture(chapter.reading, title=f"{title}: behind the PV")
    strehl = strehl_picture(chapter.verdict, title=title)
    return [
        DemoFile(
            name="after.x3p",
            data=map_file(height_map, name="after.x3p"),
            shows="the same map as ISO 25178-72, for other metrology programs",
        ),
        DemoFile(name="after.csv", data=map_file(height_map, name="after.csv"), shows="the same map as lines of text"),
        DemoFile(name="after-strehl.png", data=strehl, shows="what stars get across the field, against what was ordered"),
        DemoFile(name="after-budget.png", data=budget, shows="where the uncertainty of the peak to valley comes from"),
        DemoFile(name="certificate.pdf", data=pdf, shows="the paper that goes with the mirror"),
    ]


def _ring_files(rings: tuple[Rings, ...]) -> list[DemoFile]:
    files = []
    for number, one in enumerate(rings, start=1):
        files += [
            DemoFile(
                name=one.name,
                data=one.data,
                shows=f"real photograph {number}: a lens on a flat, sodium light, through a measuring microscope",
            ),
            DemoFile(
                name=f"rings-{number}-bands.png",
                data=overlay_picture(one.reading, one.data),
                shows=f"real photograph {number} with what was read in it",
            ),
        ]
    first = rings[0].reading.height_map
    files.append(
        DemoFile(
            name="rings-1-map.png", data=map_picture(first, title="Real rings, photograph 1"), shows="height map of the lens over the flat"
        )
    )
    return [*files, *(DemoFile(name=f"rings-{name}", data=shipped(name), shows=shows) for name, shows in PAPERS.items())]


def _facts(chapters: list[Chapter], *, minor_mm: float, rings: tuple[Rings, ...]) -> dict[str, Any]:
    told = {}
    for chapter in chapters:
        reading = reading_facts(chapter.reading)
        told[chapter.stem] = {
            **verdict_facts(chapter.verdict, chapter.reading.height_map),
            **{key: reading[key] for key in ("surface", "uncertainty", "bands_across", "sign", "photographs")},
            "truth": {name: getattr(chapter.truth, name) for name in ("pv_nm", "rms_nm", "power_nm", "astigmatism_nm")},
        }
    return {
        "minor_axis_mm": minor_mm,
        **told,
        "rings": [
            {
                "name": one.name,
                "bands_centre_to_rim": one.bands,
                "uncertainty": one.bands_uncertainty,
                "sha256": one.reading.sources[0].sha256,
            }
            for one in rings
        ],
    }
