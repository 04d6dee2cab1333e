"""Pictures: the right way up, true to their scales, legible, and the same bytes every time."""

import io
import struct
from concurrent.futures import ThreadPoolExecutor

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image
from skimage.color import rgb2lab

from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.heightmap.map import HeightMap
from straightband.plots import budget, lines, maps, overlay, style
from straightband.uncertainty import Term, budget_of

BAND_NM = 294.6
LONG = "An unreasonably long title, with a $ and a 鏡 in it, that somebody typed without looking up from the bench; " * 3
FACES = {"diagonal": ellipse(minor_mm=90.0), "round": round_face(diameter_mm=150.0), "strip": rectangle(width_mm=120.0, length_mm=25.0), "bar": rectangle(width_mm=20.0, length_mm=200.0)}  # fmt: skip


def hill(face=FACES["diagonal"], *, u_share=0.4, v_share=0.5, height_nm=80.0):
    """A flat with one narrow hill at the given share of each half axis."""
    u, v = np.linspace(-face.semi_u_mm, face.semi_u_mm, 101), np.linspace(-face.semi_v_mm, face.semi_v_mm, 121)
    uu, vv = np.meshgrid(u, v)
    bump = height_nm * np.exp(-((uu / face.semi_u_mm - u_share) ** 2 + (vv / face.semi_v_mm - v_share) ** 2) / 0.02)
    heights = np.where(face.clear_aperture().contains(uu, vv), bump, np.nan)
    return HeightMap(heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=np.full_like(heights, 2.0), face=face)


def a_photo():
    rows, cols = np.mgrid[:300, :400]
    return np.stack([rows % 256, cols % 256, (rows + cols) % 256], axis=2).astype(np.uint8)


def a_profile(label="along the major axis"):
    x = np.linspace(-60.0, 60.0, 50)
    return lines.Profile(label=label, distance_mm=x, heights_nm=30.0 - 0.01 * x**2, uncertainty_nm=np.full_like(x, 2.0))


def a_budget(count=3):
    return budget_of(Term(name=f"cause {n}", nm=float(n), origin="test") for n in range(1, count + 1))


FIELD = {
    "field_radius_mm": np.array([0.0, 5.0, 10.0]),
    "strehl": np.array([0.98, 0.97, 0.95]),
    "uncertainty": np.array([0.01, 0.01, np.nan]),
}
PICTURES = {
    "map": lambda: maps.map_png(hill(), band_nm=BAND_NM, title="Diagonal 7", note="Hill or hole: not known."),
    "overlay": lambda: overlay.bands_overlay_png(a_photo(), dark_lines=[np.array([[50.0, 60.0], [300.0, 90.0]])], outline=np.array([[9.0, 9.0], [390.0, 9.0], [200.0, 280.0]])),
    "profile": lambda: lines.profile_png([a_profile(), a_profile("along the minor axis")], band_nm=BAND_NM, title="Profiles"),
    "strehl": lambda: lines.strehl_field_png(FIELD["field_radius_mm"], FIELD["strehl"], uncertainty=FIELD["uncertainty"], required=0.95),
    "budget": lambda: budget.budget_png(a_budget(), title="Budget"),
}  # fmt: skip


def pixels(png):
    with Image.open(io.BytesIO(png)) as image:
        return np.asarray(image.convert("RGB"))


def chunks(png):
    at, names = 8, []
    while at < len(png):
        length, name = struct.unpack(">I4s", png[at : at + 8])
        names.append(name.decode())
        at += 12 + length
    return names


def rgb(colour):
    return np.array(mpl.colors.to_rgb(colour)) * 255.0


@pytest.mark.parametrize("what", PICTURES)
def test_the_same_drawing_is_the_same_bytes_without_a_date(what):
    """Two drawings agree to the byte, even drawn at once in several threads, and the PNG holds no text and no time."""
    with ThreadPoolExecutor(4) as pool:
        drawn = list(pool.map(lambda _: PICTURES[what](), range(4)))
    assert len(set(drawn)) == 1
    assert set(chunks(drawn[0])) == {"IHDR", "pHYs", "IDAT", "IEND"}


def test_the_look_does_not_depend_on_the_persons_own_settings():
    """Somebody's own matplotlib settings change nothing."""
    plain = PICTURES["profile"]()
    with mpl.rc_context({"font.size": 31.0, "axes.facecolor": "red", "savefig.dpi": 30, "lines.linewidth": 9}):
        assert PICTURES["profile"]() == plain


@pytest.mark.parametrize(("u_share", "v_share"), [(0.4, 0.5), (-0.4, 0.5), (0.4, -0.5), (-0.4, -0.5)])
def test_the_map_has_u_to_the_right_and_v_up(u_share, v_share):
    """A hill at plus u, plus v shows at the right and above the middle of the face, and so on round."""
    shown = pixels(maps.map_png(hill(u_share=u_share, v_share=v_share), band_nm=BAND_NM))[:, :900].astype(float)  # left of the scale
    top = rgb(mpl.colormaps[style.HEIGHT_COLOURS](1.0))
    rows, cols = np.nonzero(np.abs(shown - top).max(axis=2) < 12.0)  # the brightest twentieth of the scale
    face_rows, face_cols = np.nonzero(np.abs(shown - shown[shown.shape[0] // 2, 450]).max(axis=2) < 12.0)  # the flat
    assert np.sign(cols.mean() - face_cols.mean()) == np.sign(u_share)
    assert np.sign(face_rows.mean() - rows.mean()) == np.sign(v_share)


def test_the_colours_of_heights_are_perceptually_even():
    """Equal steps of height are equal steps of lightness (CIE 1976 L*), so that no band appears that is not there."""
    lightness = rgb2lab(mpl.colormaps[style.HEIGHT_COLOURS](np.linspace(0.0, 1.0, 65))[None, :, :3])[0, :, 0]
    steps = np.diff(lightness)
    assert steps.min() > 0.5 * steps.mean()  # measured 0.84; the rainbow, which this guards against, falls and rises again
    assert steps.max() < 1.5 * steps.mean()  # measured 1.3


def test_the_scale_reads_the_same_in_nm_and_in_bands():
    """The right side of the scale is the left divided by the height of a band, and its label says which."""
    with style.drawing():
        bar = maps._map_figure(hill(), band_nm=BAND_NM, title="", note="", v_end="+v").axes[1]
        FigureCanvasAgg(bar.figure).draw()
        bands = bar.child_axes[0]
    np.testing.assert_allclose(np.array(bar.get_ylim()) / BAND_NM, bands.get_ylim(), rtol=1e-9)  # rounding
    assert bands.get_ylabel() == "bands of 294.6 nm"


def test_the_map_shows_heights_after_tilt():
    """A wedge left in the map is not drawn as figure: the picture is the same with and without it."""
    plain = hill()
    wedge = HeightMap(
        heights_nm=plain.heights_nm + 9.0 * plain.u_mm[None, :] - 500.0, u_mm=plain.u_mm, v_mm=plain.v_mm,
        uncertainty_nm=plain.uncertainty_nm, face=plain.face,
    )  # fmt: skip
    difference = pixels(maps.map_png(plain, band_nm=BAND_NM)).astype(int) - pixels(maps.map_png(wedge, band_nm=BAND_NM))
    assert np.mean(np.abs(difference) > 1) < 1e-3  # rounding moves a contour by a hair here and there


@pytest.mark.parametrize(
    ("span", "most", "step"), [(93.0, 8, 20.0), (8.0, 8, 1.0), (8.1, 8, 2.0), (0.3, 8, 0.05), (4e4, 8, 5000.0), (1.0, 1, 1.0)]
)
def test_contours_come_in_round_steps(span, most, step):
    """The step is the smallest of 1, 2, 5 times a power of ten that keeps to the number of lines (worked by hand)."""
    assert style.round_step(span, most=most) == pytest.approx(step, rel=1e-12)  # rounding


def test_a_perfect_flat_is_drawn_without_contours():
    """No line is invented on a map that has no height to show."""
    with style.drawing():
        axes = maps._map_figure(hill(height_nm=0.0), band_nm=BAND_NM, title="", note="", v_end="+v").axes[0]
    assert not any(isinstance(artist, mpl.contour.ContourSet) for artist in axes.collections)


def test_every_pixel_of_the_photograph_is_kept_under_the_overlay():
    """Away from the lines the picture holds the photograph itself, unscaled and upright."""
    shown = pixels(overlay.bands_overlay_png(a_photo(), dark_lines=[], outline=np.array([[5.0, 5.0], [5.0, 6.0], [6.0, 5.0]])))
    np.testing.assert_array_equal(shown[20:300, 20:400], a_photo()[20:, 20:])


def test_a_line_lies_on_the_pixels_it_was_given_for():
    """A band at row 150 is drawn on row 150, between columns 100 and 300, in the accent colour."""
    line = np.array([[100.0, 150.0], [300.0, 150.0]])
    outline = np.array([[20.0, 20.0], [380.0, 20.0], [380.0, 280.0], [20.0, 280.0]])
    shown = pixels(overlay.bands_overlay_png(np.zeros_like(a_photo()), dark_lines=[line], outline=outline)).astype(float)
    accent = np.abs(shown[:300, :400] - rgb(style.ACCENT)).max(axis=2) < 40.0  # smoothing at the edges of a line
    rows, cols = np.nonzero(accent[100:200, 60:340])
    assert rows.mean() + 100.0 == pytest.approx(150.0, abs=0.5)  # half a pixel
    assert (cols.min() + 60, cols.max() + 60) == pytest.approx((100, 300), abs=14)  # dashes and line caps
    left, right = np.split(np.nonzero(accent[200])[0], 2)
    assert (left.mean(), right.mean()) == pytest.approx((20.0, 380.0), abs=0.5)  # half a pixel


def test_the_budget_is_drawn_largest_first_with_its_total():
    """Bars fall from the largest term; the last is the root of the sum of squares (GUM 5.1.2): 1, 2, 3 make 3.74."""
    with style.drawing():
        axes = budget._budget_figure(a_budget(), title="").axes[0]
    assert [bar.get_width() for bar in axes.patches] == pytest.approx([3.0, 2.0, 1.0, 14**0.5])
    assert [text.get_text() for text in axes.texts] == ["3 nm", "2 nm", "1 nm", "3.7 nm"]
    assert [label.get_text() for label in axes.get_yticklabels()] == ["cause 3", "cause 2", "cause 1", "together"]
    assert axes.patches[-1].get_hatch() == "////"


def test_profiles_differ_by_their_dashes():
    """Four lines can be told apart without colour; a fifth is refused."""
    with style.drawing():
        axes = lines._profile_figure([a_profile(str(n)) for n in range(4)], band_nm=BAND_NM, title="").axes[0]
    assert len({str(line._unscaled_dash_pattern) for line in axes.lines}) == 4
    with pytest.raises(ValueError, match=r"^one to 4 profiles can be told apart, got 5$"):
        lines.profile_png([a_profile()] * 5, band_nm=BAND_NM)


FIGURES = {
    **{f"map of {name}": lambda face=face: maps._map_figure(hill(face), band_nm=BAND_NM, title=LONG, note=LONG, v_end="+v, " + LONG) for name, face in FACES.items()},
    "profile": lambda: lines._profile_figure([a_profile(LONG)] * 2, band_nm=BAND_NM, title=LONG),
    "strehl": lambda: lines._strehl_figure(**FIELD, required=0.95, title=LONG),
    "budget": lambda: budget._budget_figure(budget_of([*a_budget(12).terms, Term(name=LONG, nm=1234.5, origin="test")]), title=LONG),
    "overlay": lambda: overlay._overlay_figure(a_photo(), dark_lines=[], outline=np.array([[5.0, 5.0], [5.0, 6.0]]), note=LONG),
}  # fmt: skip


@pytest.mark.parametrize("what", FIGURES)
def test_words_are_large_and_stay_in_the_picture(what):
    """Even with unreasonably long words, strange letters and a dollar sign, all text is 9 points or more and inside the picture."""
    with style.drawing():
        figure = FIGURES[what]()
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        words = [text for text in figure.findobj(mpl.text.Text) if text.get_text() and text.get_visible()]
        everything = figure.get_tightbbox(canvas.get_renderer())
    assert min(text.get_fontsize() for text in words) >= 9.0
    assert not any(text.get_parse_math() for text in words)  # two dollar signs in a name are no formula
    assert everything.x0 >= 0.0
    assert everything.y0 >= 0.0
    assert everything.x1 <= figure.get_figwidth()
    assert everything.y1 <= figure.get_figheight()


def luminance(colour):
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in mpl.colors.to_rgb(colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(("colour", "least"), [(style.INK, 7.0), (style.ACCENT, 4.5)])
def test_words_stand_out_from_the_paper(colour, least):
    """Contrast of text on paper reaches what WCAG 2.2 asks: 7 to 1 for ink (1.4.6), 4.5 to 1 for the accent (1.4.3)."""
    assert (luminance(style.PAPER) + 0.05) / (luminance(colour) + 0.05) >= least


def test_what_nobody_knows_the_size_of_is_not_called_nothing():
    """A cause without a size is named beside the others, and no "0 nm" stands where its bar would be."""
    terms = (Term(name="fit noise", nm=2.0, origin="test"), Term(name="repeat: not known", nm=0.0, origin="test"))
    axes = budget._budget_figure(budget_of(terms), title="").axes[0]
    assert [label.get_text() for label in axes.get_yticklabels()] == ["fit noise", "repeat: not known", "together"]
    assert sorted(text.get_text() for text in axes.texts) == ["", "2 nm", "2 nm"]
