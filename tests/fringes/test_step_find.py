"""The block's face found by itself: drawn photographs of known faces first, then parts and altered copies of a laboratory's photographs."""

import csv
import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps
from scipy import ndimage
from scipy.special import ndtr

from straightband.errors import OutlineNotFound
from straightband.fringes import step_find
from straightband.fringes.step import read_step
from straightband.fringes.step_cells import face_from_corners
from straightband.fringes.step_edges import cut_at, lost_with_fewer
from straightband.fringes.step_field import COLUMNS, ROWS, Field, Lines, lines_of, lit_field
from straightband.fringes.step_find import FOUND_MARGINS, LEAST_JUMP, LEAST_SEAM, evidence, find_block
from straightband.fringes.step_jumps import jumps_of
from straightband.fringes.step_pairs import find_pair, tell
from straightband.fringes.step_seams import depth_down, seams_of
from straightband.workflows.step import step_of_photo

TRUTH = Path(__file__).parents[1] / "truth" / "gaugeblock"
WIDTH, HEIGHT = 420, 760


def _scene(fraction, *, seed, seam=0.25, wedge=(0.05, 0.02), down=4.0, lean=0.06, half=0.23, block=True):
    """A drawn photograph and its face: blurred edges, one blunter than the other, a seam that takes `seam` of the contrast, speckle, dust, a dark rim.

    Bands over half the face: `down` of them on the platen, `wedge` (down, across) more on the block, which is bowed a little.
    """
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(WIDTH) + 0.5, np.arange(HEIGHT) + 0.5)
    wide, high, middle = half * WIDTH, 0.46 * HEIGHT, WIDTH * (0.5 + rng.uniform(-0.04, 0.04))
    sides = np.array([[-1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]]) @ np.array([[wide, -lean * wide], [lean * high, high]])
    face = face_from_corners(np.array([middle, HEIGHT / 2.0]) + sides - 0.5)
    a, b = np.tensordot(np.linalg.inv(face.axes), np.stack([x - 0.5 - face.centre[0], y - 0.5 - face.centre[1]]), axes=1)
    platen = 0.2 + down * b + rng.uniform(-0.4, 0.4) * a
    on_block = fraction + wedge[0] * b + wedge[1] * a + 0.08 * b * b - 0.08 * a * a
    share = (
        ndtr((a + 1.0) * wide / 1.5) * ndtr((1.0 - a) * wide / 4.0) * ndtr((b + 1.0) * high / 1.5) * ndtr((1.0 - b) * high / 4.0) * block
    )
    bands = np.real(np.exp(2j * np.pi * platen) * (1.0 - share + share * np.exp(2j * np.pi * on_block)))
    beside = np.where(np.abs(b) < 1.0, np.abs(np.abs(a) - 1.0) * wide, np.inf)
    bands *= 1.0 - seam * block * np.exp(-((beside / 4.0) ** 2))
    u, v = 2.0 * x / WIDTH - 1.0, 2.0 * y / HEIGHT - 1.0
    light = (1.0 - 0.25 * u * u) * (1.0 - 0.2 * (v + 1.0)) * ndtr((1.0 - (u / 1.1) ** 8 - (v / 1.03) ** 8) / 0.12)
    for size in (2.0, 8.0):
        grain = ndimage.gaussian_filter(rng.normal(size=light.shape), size)
        light *= 1.0 + 0.05 * grain / grain.std()
    for _ in range(2):
        light *= 1.0 - 0.5 * np.exp(-((x - rng.uniform(0, WIDTH)) ** 2 + (y - rng.uniform(0, HEIGHT)) ** 2) / rng.uniform(4, 12) ** 2)
    light *= (1.0 + 0.65 * bands) * (1.0 + 0.05 * rng.normal(size=light.shape))
    return np.round(45.0 * np.clip(light, 0.0, None)).astype(np.float32) / 255.0 + 1e-4, face  # as dark as the laboratory's


def _apart(one, other):
    return (one - other + 0.5) % 1.0 - 0.5


def _read(light, face):
    return read_step(light, np.zeros(light.shape, dtype=bool), face=face, margins=FOUND_MARGINS)


@pytest.mark.parametrize(
    ("fraction", "options"),
    [
        (0.0, {"wedge": (0.0, 0.0)}),
        (0.97, {"down": 2.2, "half": 0.26}),
        (0.3, {"wedge": (0.5, 0.0), "lean": -0.1}),  # a whole band from the block's top to its bottom
        (0.6, {"wedge": (0.1, 0.3), "down": 7.0, "half": 0.18}),  # two thirds of a band across
        (0.85, {"wedge": (-0.1, -0.3), "seam": 0.0}),  # no jump at one edge half-way up, and no seam but what the blur makes
    ],
)
def test_a_block_is_found_and_read(fraction, options):
    """Synthetic: whatever the fraction and the tilt of block against platen, the face is found and the fraction at its middle read."""
    light, face = _scene(fraction, seed=round(100 * fraction), **options)
    found = find_block(light)
    off = np.abs((found.corners - face.corners) @ np.linalg.inv(face.axes).T)
    assert off[:, 0].max() < 0.2  # half widths: inside the 0.28 that the margins leave out
    if 0.1 < fraction < 0.9:
        assert off[:, 1].max() < 0.1  # half heights: what the margins leave out; elsewhere the ends tell too little
    reading = _read(light, found)
    assert abs(_apart(reading.band_fraction, fraction)) < 0.03  # promised as rms; blurred ends put the middle of a tilted block off
    assert abs(_apart(reading.band_fraction, fraction)) < reading.band_fraction_uncertainty


def test_a_block_that_does_not_jump_is_found_by_its_seams_alone():
    """Synthetic: level with the platen, a block is found where its edges take a fifth of the contrast, and refused where they take none."""
    light, face = _scene(0.0, seed=4, seam=0.2, wedge=(0.0, 0.0))
    cut, pair = evidence(lit_field(light))
    assert cut.seams_seen
    assert not cut.jumps_seen
    assert not pair.jumps_seen
    assert "block-hardly-shows" in _read(light, find_block(light)).flags
    assert np.abs((find_block(light).corners - face.corners) @ np.linalg.inv(face.axes).T)[:, 0].max() < 0.2  # as above
    with pytest.raises(OutlineNotFound):
        find_block(_scene(0.0, seed=4, seam=0.0, wedge=(0.0, 0.0), block=False)[0])


@pytest.mark.parametrize("seed", range(3))
def test_a_platen_without_a_block_is_refused(seed):
    """Synthetic: speckle and dust make neither seams nor jumps: one face alone is refused, and no seam in it comes near the strength asked for."""
    light, _ = _scene(0.0, seed=20 + seed, block=False, down=2.0 + 1.5 * seed)
    with pytest.raises(OutlineNotFound):
        find_block(light)
    assert evidence(lit_field(light))[0].seams.min() < LEAST_SEAM - 1.0  # 30 drawn photographs gave 4.2 at most


@pytest.mark.parametrize("part", [slice(0, 220), slice(200, None)], ids=["left edge", "right edge"])
def test_one_edge_alone_is_refused(part):
    """Synthetic: half a picture shows one edge of the block, however clearly; the other is not made up at the picture's margin."""
    with pytest.raises(OutlineNotFound):
        find_block(np.ascontiguousarray(_scene(0.4, seed=7)[0][:, part]))


def test_depth_and_ends_of_a_seam():
    """Closed form: a line three columns wide that takes a fifth of the contrast over the middle of the rows has that depth, there and nowhere else."""
    contrast = np.ones((ROWS, COLUMNS)) + 0.02 * np.random.default_rng(3).normal(size=(ROWS, COLUMNS))
    contrast[75:225, 69:72] *= 0.8
    lines = Lines(lean=0.0, phasor=np.ones((ROWS, COLUMNS), dtype=complex), contrast=contrast, independent=1.0)
    seams = seams_of(lines)
    assert int(np.argmax(seams.strength)) == 70
    assert seams.depth[70] == pytest.approx(0.2, abs=0.01)  # 450 cells of 2 % noise leave 0.001, a blunted group at either end 0.01
    assert np.delete(seams.strength, range(66, 75)).max() < 0.3 * seams.strength[70]  # chance
    down = depth_down(lines, seams, column=70)
    assert np.mean(down[80:220]) == pytest.approx(0.2, abs=0.005)  # 420 cells of 2 % noise
    assert abs(np.mean(down[:70])) < 0.005  # as above
    assert abs(np.mean(down[230:])) < 0.005  # as above


def test_a_field_that_ends_is_no_seam():
    """Closed form: contrast that ends with the lit field, as at its rim, makes no seam there."""
    contrast = np.ones((ROWS, COLUMNS)) + 0.02 * np.random.default_rng(3).normal(size=(ROWS, COLUMNS))
    lit = np.arange(COLUMNS) < 150
    lines = Lines(lean=0.0, phasor=np.ones((ROWS, COLUMNS)) * lit + 0j, contrast=contrast * lit, independent=1.0)
    assert seams_of(lines).strength.max() < LEAST_SEAM  # chance alone


def _field_of_jump(jump, *, noise=0.0):
    """A field whose bands bend smoothly and jump ahead by `jump` bands from column 60 up to column 130."""
    u, v = np.meshgrid((np.arange(COLUMNS) + 0.5) * 2.0 / COLUMNS - 1.0, (np.arange(ROWS) + 0.5) * 2.0 / ROWS - 1.0)
    column = np.arange(COLUMNS)
    waves = 3.0 * v + 0.4 * u + 0.1 * u * u + 0.2 * u * v + np.where((column >= 60) & (column < 130), jump, 0.0)
    bands = 0.7 * np.cos(2.0 * np.pi * waves) + noise * np.random.default_rng(5).normal(size=waves.shape)
    return Field(bands=bands, tone=(3.0, 0.375), lit=np.ones(bands.shape, dtype=bool), corner=(0, 0), scale=(1.0, 1.0))


@pytest.mark.parametrize("jump", [0.0, 0.05, 0.2, -0.3, 0.5])
def test_a_jump_is_told_and_a_bend_is_none(jump):
    """Closed form: bands that bend across both edges give exp(2 pi i jump) - 1 of themselves at each, and nothing elsewhere."""
    lines = jumps_of(_field_of_jump(jump), lean=0.0)
    expected = np.exp(2j * np.pi * jump) - 1.0
    for telling, column in ((lines.left[0], 60), (lines.right[0], 130)):
        told = telling.value[:, 0] + 1j * telling.value[:, 1]
        # Columns 57 to 63 stand on both sides of the jump or carry half of it.
        assert abs(np.mean(told[[column - 1, column]]) - expected) < 0.1 * abs(expected) + 0.02
        assert np.abs(told[[30, 95, 160]]).max() < 0.02  # the bend over a dozen columns


def test_a_small_jump_is_found_and_a_bend_is_refused():
    """Closed form with noise: a jump of a tenth of a band is found within the few columns compared, and bands that only bend make no pair."""
    pair = find_pair(tell(_field_of_jump(0.1, noise=0.1)))
    assert (pair.left, pair.right) == (pytest.approx(60, abs=4), pytest.approx(130, abs=4))
    assert pair.weaker > LEAST_JUMP
    assert find_pair(tell(_field_of_jump(0.0, noise=0.1))).weaker < LEAST_JUMP


def test_fewer_edges_lose_nothing_where_there_are_none():
    """Closed form: a block between two edges loses much of the tone without them; a face that only bends is explained as well with one of them."""
    for jump, least, most in ((0.4, 0.5, 9.0), (0.0, -9.0, 0.0)):
        lines = lines_of(_field_of_jump(jump, noise=0.1), lean=0.0)
        assert least < lost_with_fewer(cut_at(lines, left=60, right=130)) < most


@pytest.mark.parametrize("silent", ["_seams_go_on", "_like_block"], ids=["by the bands", "by the seams"])
def test_each_cue_alone_tells_where_the_block_ends(monkeypatch, silent):
    """Synthetic: the bands without the seams, and the seams without the bands, each find the ends of a leaning block; without either they are not found."""
    light, face = _scene(0.4, seed=11, lean=0.1)

    def ends_off():
        return float(np.abs((find_block(light).corners - face.corners) @ np.linalg.inv(face.axes).T)[:, 1].max())

    monkeypatch.setattr(step_find, silent, lambda *_: np.zeros(ROWS))
    assert ends_off() < 0.06  # half heights; the block ends 0.04 of the height before the field does, or 0.09 half heights
    monkeypatch.setattr(step_find, {"_seams_go_on": "_like_block", "_like_block": "_seams_go_on"}[silent], lambda *_: np.zeros(ROWS))
    assert ends_off() > 0.06  # as the block is then taken to fill the field


def _rows():
    with (TRUTH / "truth.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _altered(row, change, *, raw=False):
    picture = Image.open(TRUTH / "raw" / row["raw_photo"] if raw else TRUTH / "crop" / row["crop"]).convert("RGB")
    file = io.BytesIO()
    change(picture).save(file, "png", compress_level=1)
    return step_of_photo(file.getvalue(), name="altered.png", light=f"{float(row['vacuum_wavelength_nm']):.2f}nm").reading


def _cut(picture):
    width, height = picture.size
    return picture.crop((int(0.1 * width), int(0.04 * height), int(0.95 * width), int(0.97 * height)))


@pytest.mark.parametrize(
    ("number", "change", "sign"),
    [
        (0, ImageOps.mirror, 1.0),
        (0, _cut, 1.0),
        (2, ImageOps.flip, -1.0),  # upside down the phase counts the other way
        (4, lambda picture: picture.rotate(3.0, Image.Resampling.BICUBIC), 1.0),
    ],
    ids=["mirrored", "cut closer", "upside down", "turned"],
)
def test_altered_copies_read_as_recorded(number, change, sign):
    """Outside truth, the record of a national standards laboratory: the face is found in mirrored, turned and cut copies too, at worst 0.05 band off."""
    row = _rows()[number]
    assert abs(_apart(_altered(row, change).band_fraction, sign * float(row["recorded_fringe_fraction"]))) < 0.05  # promised


def test_a_whole_photograph_reads_as_recorded():
    """Outside truth, as above: in the camera's whole dark photograph the face is found as well, even where the bands hardly jump."""
    row = _rows()[0]
    reading = _altered(row, lambda picture: picture, raw=True)
    assert abs(_apart(reading.band_fraction, float(row["recorded_fringe_fraction"]))) < 0.05  # promised; measured 0.02


@pytest.mark.parametrize("number", [0, 5])
def test_a_photograph_of_one_edge_is_refused(number):
    """Real bands, dust and ripples: the part that shows only the block's left edge is refused."""
    with pytest.raises(OutlineNotFound):
        _altered(
            _rows()[number],
            lambda picture: picture.resize((2 * picture.width, 2 * picture.height)).crop(
                (0, 0, int(1.1 * picture.width), 2 * picture.height)
            ),
        )
