"""A plate of pads planned from what is typed: checked from outside by its polygons, and on its sheets.

Sources: ISO 32000-1 for the drawing orders of the PDF; polygons judged with matplotlib's point-in-path, which shares nothing with what laid them.
"""

import io
import math
import re

import numpy as np
import pytest
from matplotlib.path import Path as Outline
from pypdf import PdfReader

from straightband.errors import BadInput
from straightband.report.pad_template import OVERLAP_MM, _marks, _tiles
from straightband.workflows.pads import plan_pads
from straightband.workflows.pads_report import CAUTIONS, SENTENCES, plan_facts, plan_lines
from straightband.workflows.pads_sheets import pad_template, pads_picture
from straightband.workflows.pads_text import pack_from_text, pad_from_text, plate_from_text
from straightband.workflows.setup import face_from_text

POINTS_PER_MM = 72.0 / 25.4


def plate_told(*, pad=None, minor="90mm", **told):
    the_pad = pad_from_text(**{"diameter": None, "side": None, "outline": None, "petalled": False} | (pad or {"diameter": "50mm"}))
    return plate_from_text(**{"plate": "200mm", "pad": the_pad, "face": face_from_text(shape="ellipse", minor=minor)} | told)


@pytest.fixture(scope="module")
def plan():
    return plan_pads(plate_told(coverage="50%"), pack=pack_from_text(pack="6", price="8.50 EUR"))


@pytest.fixture(scope="module")
def facts(plan):
    return plan_facts(plan)


@pytest.fixture(scope="module")
def template(plan):
    return pad_template(plan)


def test_polygons_do_not_overlap_or_leave_the_plate(facts):
    """No point of a raster lies in two pieces, and every corner lies on the plate."""
    x, y = np.meshgrid(np.arange(-100.0, 100.0, 0.5), np.arange(-100.0, 100.0, 0.5))
    points = np.column_stack([x.ravel(), y.ravel()])
    within = np.array([Outline(polygon).contains_points(points) for polygon in facts["pieces"]])
    assert within.sum(axis=0).max() == 1
    assert within.sum() * 0.25 / (math.pi * 100.0**2) == pytest.approx(facts["coverage"], rel=5e-3)  # raster of 0.5 mm
    assert max(math.hypot(*corner) for polygon in facts["pieces"] for corner in polygon) <= 99.0 + 1e-9


def test_the_facts_fit_together(facts):
    """Pads, packs and cost; the centre's lag and the evenness follow from the rates by radius."""
    assert facts["pads_used"] == len({kind["pad"] for kind in facts["piece_kinds"]})
    assert facts["packs"] == math.ceil(facts["pads_used"] / 6)
    assert facts["cost"] == pytest.approx(8.5 * facts["packs"])
    rates = [row["rate"] for row in facts["rate_by_radius"]]
    assert np.mean(rates) == pytest.approx(1.0)
    assert facts["centre_lag"] == pytest.approx(max(rates) / rates[0] - 1.0)
    assert facts["evenness"] == pytest.approx(max(rates) / min(rates))
    assert facts["evenness"] - 1.0 <= 0.5 * (facts["evenness_naive"] - 1.0)
    assert facts["rate_by_radius"][int(np.argmin(rates))]["radius_mm"] == facts["clears_last_at_mm"]
    assert all(row["uncertainty"] > 0.0 for row in facts["rate_by_radius"])


def test_the_text_says_what_matters(plan):
    """How many pads, how even, where last, how far the rim gets, and how not to be hurt."""
    text = "\n".join(plan_lines(plan))
    assert re.match(
        r"7 whole pads(, \d halves)?( and|,) [\d]+ (petals|halves) from \d+ pads cover \d\d % of the plate. That is 2 packs of 6, 17.00 EUR.",
        text,
    )
    assert "with pads in rows it would be" in text
    assert "The rim gets 85 mm from the middle of a plate of 100 mm radius." in text
    for caution in CAUTIONS:
        assert caution in text


def _drawing(page):
    return page.get_contents().get_data().decode("latin1")


def _strokes_mm(orders):
    found = []
    for match in re.finditer(r"([-\d.]+) ([-\d.]+) m ([-\d.]+) ([-\d.]+) l\n?S", orders):
        x0, y0, x1, y1 = map(float, match.groups())
        found.append((abs(x1 - x0) / POINTS_PER_MM, abs(y1 - y0) / POINTS_PER_MM))
    return found


def test_every_sheet_has_its_check_bars(template):
    """On every page one bar of 100 mm each way; the pages ask to be printed unscaled."""
    reader = PdfReader(io.BytesIO(template))
    assert reader.viewer_preferences["/PrintScaling"] == "/None"
    assert len(reader.pages) == 4  # overview, two halves of the plate, pads to cut
    for page in reader.pages:
        long = [each for each in _strokes_mm(_drawing(page)) if max(each) == pytest.approx(100.0, abs=1e-3)]
        assert sorted(long) == [pytest.approx((0.0, 100.0), abs=1e-3), pytest.approx((100.0, 0.0), abs=1e-3)]


def test_pieces_on_the_sheets_are_at_full_size(template, facts):
    """Somewhere on the sheets stands each piece's polygon at 1:1: the lengths of its sides, in order."""
    orders = "".join(_drawing(page) for page in PdfReader(io.BytesIO(template)).pages[1:3])
    paths = [
        np.array(re.findall(r"([-\d.]+) ([-\d.]+) [ml]", path), dtype=float) / POINTS_PER_MM
        for path in re.findall(r"[-\d.]+ [-\d.]+ m(?: [-\d.]+ [-\d.]+ l)+", re.sub(r"\s+", " ", orders))
    ]
    sides = [np.hypot(*np.diff(path, axis=0).T) for path in paths if len(path) > 2]
    for polygon in facts["pieces"]:
        own = np.hypot(*np.diff(np.array(polygon), axis=0).T)
        assert any(len(each) >= len(own) and np.allclose(each[: len(own)], own, atol=2e-3) for each in sides)


def test_sheets_hold_the_plate_and_share_their_marks():
    """Tiles overlap, hold the whole plate, and each register mark lies on both sheets of its joint."""
    for radius in (40.0, 100.0, 250.0):
        lows = _tiles(radius, extent_mm=186.0)
        assert lows[0] <= -radius
        assert lows[-1] + 186.0 >= radius
        assert np.diff(lows) == pytest.approx([186.0 - OVERLAP_MM] * (len(lows) - 1))
        marks = _marks(lows, lows, wide_mm=186.0, tall_mm=186.0, radius_mm=radius)
        assert bool(marks) == (len(lows) > 1)
        for x, y in marks:
            assert sum(a <= x <= a + 186.0 and b <= y <= b + 186.0 for a in lows for b in lows) >= 2


def test_the_overview_draws_the_mirror_and_warns(template):
    """The first page says what to do, how even it is, and how not to be hurt."""
    text = " ".join(PdfReader(io.BytesIO(template)).pages[0].extract_text().split())
    for words in ("never 'fit to page'", "Both bars must measure 100 mm", "mirror at the ends of its stroke", "Never sweep it dry"):
        assert words in text


def test_the_picture_is_drawn(plan):
    """The plate and the rates as PNG."""
    assert pads_picture(plan).startswith(b"\x89PNG")


def test_a_stroke_over_the_edge_is_said():
    """A mirror that passes the plate's edge is warned of, in the text and in the flags."""
    found = plan_pads(plate_told(stroke="90mm"))
    assert "mirror-passes-plate-edge" in found.flags
    assert SENTENCES["mirror-passes-plate-edge"] in "\n".join(plan_lines(found))


def test_pads_of_any_outline():
    """Corners with one unit are a pad; its middle is the middle of its area."""
    pad = pad_from_text(diameter=None, side=None, outline="0,0 4,0 4,2.5 0,2.5 cm", petalled=False)
    assert pad.outline.area == pytest.approx(1000.0)
    assert pad.outline.centroid.coords[0] == pytest.approx((0.0, 0.0), abs=1e-9)


def test_the_usual_stroke_stays_on_the_plate():
    """Left out, the stroke is a third of the mirror, less where its rim would leave the plate."""
    assert plate_told().motion.stroke_mm == pytest.approx(2.0 / 3.0 * 45.0 * math.sqrt(2.0))
    near = plate_told(plate="150mm")
    assert near.motion.stroke_mm / 2.0 + near.face.semi_major_mm == pytest.approx(75.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: plate_told(pad={"diameter": None}),
            "no pad was described; one of its diameter, the side of a square or its corners is needed",
        ),
        (lambda: plate_told(pad={"diameter": "50mm", "side": "40mm"}), "the pad was described by --pad-diameter and --pad-side"),
        (lambda: plate_told(pad={"diameter": None, "side": "40mm", "petalled": True}), "--petalled was given without a diameter"),
        (
            lambda: plate_told(pad={"diameter": None, "outline": "0,0 1,1"}),
            "the outline of the pad was given as '0,0 1,1'; its corners in order",
        ),
        (lambda: plate_told(pad={"diameter": None, "outline": "0,0 4-,0 4,2 mm"}), "the outline of the pad was given as '0,0 4-,0 4,2 mm'"),
        (lambda: plate_told(pad={"diameter": "2mm"}), "the diameter of the pad was given as '2mm'; 5 mm to 300 mm is needed"),
        (lambda: plate_told(plate="3m"), "the plate was given as '3m'; 20 mm to 1000 mm is needed"),
        (lambda: plate_told(plate="900mm"), "the plate has room for more than 60 such pads; larger pads are needed"),
        (lambda: plate_told(gap="60mm"), "the gap between pads was given as '60mm'; at most 50 mm is needed"),
        (lambda: plate_told(coverage="90%"), "the coverage was given as '90%'; a percentage up to 75 % is needed"),
        (lambda: plate_told(spindle_rpm="fast"), "the spindle's turning was given as 'fast'; a number from -500 to 500 is needed"),
        (lambda: pack_from_text(pack="0", price=None), "the pack was given as '0'; a whole number of pads is needed"),
        (lambda: pack_from_text(pack=None, price="8"), "--pack-price was given alone; how many pads it buys is needed"),
        (lambda: pack_from_text(pack="5", price="$8"), "the price of a pack was given as '$8'"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(call, message):
    """Each refusal says what was found and what is needed."""
    with pytest.raises(BadInput) as refusal:
        call()
    assert str(refusal.value).startswith(message)
