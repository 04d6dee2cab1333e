"""The printed grid: its sizes on paper, read back from the drawing orders of the PDF.

Source: ISO 32000-1, 8.5.2 (path construction) and 8.4.4 (cm); 1 mm is 72/25.4 points.
"""

import io
import itertools
import re

import pytest
from pypdf import PdfReader

from straightband.errors import BadInput
from straightband.workflows.clear_pictures import grid_sheet

POINTS_PER_MM = 72.0 / 25.4


def drawing(pdf, page=0):
    return PdfReader(io.BytesIO(pdf)).pages[page].get_contents().get_data().decode("latin1")


def stroke_lengths_mm(orders):
    """Lengths of plain strokes, as (along x, along y) in mm; unscaled transformations only."""
    found = []
    for match in re.finditer(r"([-\d.]+) ([-\d.]+) m ([-\d.]+) ([-\d.]+) l\n?S", orders):
        x0, y0, x1, y1 = map(float, match.groups())
        found.append((abs(x1 - x0) / POINTS_PER_MM, abs(y1 - y0) / POINTS_PER_MM))
    return found


def test_check_bars_are_100_mm_both_ways():
    """One bar of 100 mm along and one across, neither scaled."""
    long = [each for each in stroke_lengths_mm(drawing(grid_sheet())) if max(each) > 50.0]
    assert sorted(long) == [pytest.approx((0.0, 100.0), abs=1e-3), pytest.approx((100.0, 0.0), abs=1e-3)]


@pytest.mark.parametrize(("pitch", "value"), [(None, 3.0), ("2mm", 2.0), ("1/8 in", 3.175)])
def test_lines_are_a_pitch_apart(pitch, value):
    """The left edges of the lines stand one pitch apart, to a micrometre."""
    orders = drawing(grid_sheet(pitch=pitch))
    lefts = sorted({float(x) / POINTS_PER_MM for x in re.findall(r"q 1 0 0 -1 ([\d.]+) [\d.]+ cm", orders)})
    steps = [b - a for a, b in itertools.pairwise(lefts)]
    assert steps[1:20] == pytest.approx([value] * 19, abs=1e-3)


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4)), ("A3", (297.0, 420.0))])
def test_pages_have_the_size_of_the_paper(paper, size_mm):
    """Both pages are as large as the paper (ISO 216; ANSI/ASME Y14.1), and ask not to be scaled."""
    reader = PdfReader(io.BytesIO(grid_sheet(paper=paper)))
    assert len(reader.pages) == 2
    for page in reader.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(
            [POINTS_PER_MM * side for side in size_mm], abs=0.01
        )
    assert reader.viewer_preferences["/PrintScaling"] == "/None"


def test_the_sheet_says_dry_and_how_not_to_be_hurt():
    """On the sheet itself: dry both faces, since wet glass looks clear; dust, edges, turning tables."""
    text = " ".join(PdfReader(io.BytesIO(grid_sheet())).pages[0].extract_text().split())
    assert "DRY BOTH FACES: wet glass looks clear" in text
    assert "Both bars must measure 100 mm" in text
    for word in ("sludge", "Glass edges cut", "turning table", "Local rules"):
        assert word in text


def test_the_same_sheet_has_the_same_bytes():
    """A sheet printed again is the same to the byte."""
    assert grid_sheet() == grid_sheet()


def test_papers_and_pitches_that_cannot_be_printed_are_refused():
    """An unknown paper and a pitch out of range are one sentence each."""
    with pytest.raises(BadInput, match="the paper was given as 'b7'; one of a4, a3, letter, legal is needed; write one of these"):
        grid_sheet(paper="b7")
    with pytest.raises(BadInput, match=r"a pitch of 0.2 mm was asked for; 1 mm to 10 mm is needed; 3mm suits mirrors from 40 mm on"):
        grid_sheet(pitch="0.2mm")
