"""The piece file: what it holds arrives, and whatever is wrong with it is one sentence that names it."""

import pytest

from straightband.errors import BadInput
from straightband.face.shapes import Shape
from straightband.workflows.piece import piece_from_toml
from straightband.workflows.toml_table import LARGEST_BYTES

WHOLE = """\
name = "D-118"
customer = "order 31"
glass = "borosilicate"
shape = "ellipse"
minor = "2 1/8 in"
light = "632.8nm"
photographs = ["a.jpg", "more/b.jpg"]
thicker = "out"
mark = 3
mirrored = 1
camera = "1.2m"
reference = "flat.npz"
outline = "500,400,141.4,100,30"
[telescope]
aperture = "250mm"
focal_ratio = 5
intercept = "205mm"
full_field = "12mm"
strehl = 0.9
iso = "3/0.5(0.2)"
wide_end = "-v"
[shop]
name = "Hollow Lane Glass"
signed_by = "A. Person"
date = "3 March 2026"
"""
LEAST = 'name = "D"\nminor = "90mm"\nlight = "sodium"\nphotographs = ["a.jpg"]\n[telescope]\naperture = "250mm"\nfocal_ratio = 5\nintercept = "205mm"\n'
KEYS = (
    "name, shape, minor, major, diameter, width, length, light, outline, thicker, pressed, mark, mirrored, camera, lens_distortion, margin, support, handled, "
    "together, photographs, photographed, reference, customer, order, glass, thickness, telescope, shop"
)


def piece(text):
    return piece_from_toml(text.encode(), name="p.toml")


def refusal(text):
    with pytest.raises(BadInput) as caught:
        piece_from_toml(text if isinstance(text, bytes) else text.encode(), name="p.toml")
    return str(caught.value)


def test_everything_in_a_piece_file_arrives():
    """Each entry of a full piece file ends where the reading, the verdict or the certificate looks for it."""
    found = piece(WHOLE)
    setup, wanted = found.setup, found.requirement
    assert (found.name, found.photographs, found.reference) == ("D-118", ("a.jpg", "more/b.jpg"), "flat.npz")
    assert (setup.face.shape, setup.face.semi_u_mm) == (Shape.ELLIPSE, pytest.approx(26.9875))  # 2 1/8 in x 25.4 / 2
    assert setup.lamp.wavelength_nm == pytest.approx(632.8)
    assert (setup.thicker, setup.mark_hour, setup.mirrored, setup.camera_mm) == ("out", 3.0, 1, 1200.0)
    assert (setup.outline.cx, setup.outline.semi_minor) == (500.0, 100.0)
    assert (wanted.telescope.focal_length_mm, wanted.telescope.full_field_mm) == (1250.0, 12.0)
    assert (wanted.strehl_wanted, wanted.iso, wanted.mounting.wide_end) == (0.9, "3/0.5(0.2)", "-v")
    assert found.told == {"customer": "order 31", "glass": "borosilicate"}
    assert (found.shop, found.signed_by, found.date) == ("Hollow Lane Glass", "A. Person", "3 March 2026")


def test_most_of_it_may_be_left_out():
    """A piece file needs a name, a size, a light, photographs and a telescope; the rest stays empty or unknown."""
    found = piece(LEAST)
    assert (found.reference, found.told, found.shop, found.signed_by, found.date) == (None, {}, "", "", "")
    assert (found.setup.thicker, found.setup.mark_hour, found.setup.mirrored) == (None, None, None)


def test_how_the_piece_lay_counts_where_it_is_told():
    """Glass and thickness alone are words for the paper; with the support or the handling beside them they are what `read` takes."""
    glass = 'glass = "Fused silica"\nthickness = "12mm"\n'
    alone = piece(glass + LEAST)
    assert (alone.setup.rest, alone.told) == (None, {"glass": "Fused silica", "thickness": "12mm"})
    lying = piece(f'{glass}handled = "40min"\nsupport = "three-inside"\npressed = 6\n{LEAST}')
    rest = lying.setup.rest
    assert (rest.glass.name, rest.thickness_mm, rest.support, rest.handled_s) == ("fused-silica", 12.0, "three-inside", 2400.0)
    assert (lying.setup.pressed_hour, lying.told) == (6.0, alone.told)


@pytest.mark.parametrize(("number", "text"), [("thicker = 2.5", 'thicker = "2.5"'), ("mark = 11", 'mark = "11"')])
def test_an_hour_may_be_a_number_or_text(number, text):
    """A clock hour means the same with and without quotes."""
    assert piece(f"{number}\n{LEAST}").setup == piece(f"{text}\n{LEAST}").setup


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            f'thiker = "out"\n{LEAST}',
            f"the piece file 'p.toml' has 'thiker', which is not known; the keys are {KEYS}; correct its name or take it out.",
        ),
        (
            f"{LEAST}fokal_length = 1",
            (
                "[telescope] in the piece file 'p.toml' has 'fokal_length', which is not known; the keys are aperture, focal_length, focal_ratio, "
                "intercept, full_field, offset, wide_end, strehl, iso, light; correct its name or take it out."
            ),
        ),
        (
            LEAST.replace('"90mm"', "90"),
            "'minor' in the piece file 'p.toml' is a number; text in quotes is needed; write it like minor = \"...\".",
        ),
        (
            LEAST.replace('"90mm"', "2026-01-02"),
            "'minor' in the piece file 'p.toml' is a date or time; text in quotes is needed; write it like minor = \"...\".",
        ),
        (
            f"mark = true\n{LEAST}",
            "'mark' in the piece file 'p.toml' is true or false; text in quotes is needed; write it like mark = \"...\".",
        ),
        (
            LEAST.replace('"90mm"', '"90"'),
            (
                "in the piece file 'p.toml', the minor was given as '90' without a unit; one of \", cm, in, m, mm, nm, um, µm, μm, ″ is needed; "
                "write it like 90mm or 2 5/8 in."
            ),
        ),
        (
            LEAST.replace('minor = "90mm"\n', ""),
            "in the piece file 'p.toml', the minor axis is missing; an ellipse's minor axis is needed; add 'minor' like 90mm.",
        ),
        (
            f'handled = "40min"\nglass = "borosilicate"\n{LEAST}',
            (
                "in the piece file 'p.toml', the thickness is missing beside the handling; glass and thickness are needed to say how the piece bends; "
                "add 'glass' like borosilicate and 'thickness' like 15mm."
            ),
        ),
        (
            LEAST.replace('name = "D"\n', ""),
            "the piece file 'p.toml' has no 'name'; it is needed for every piece; add name = \"D-118\".",
        ),
        (
            LEAST.replace('photographs = ["a.jpg"]\n', ""),
            "the piece file 'p.toml' has no 'photographs'; it is needed for every piece; add photographs = [\"bands.jpg\"].",
        ),
        (
            LEAST.replace('["a.jpg"]', '"a.jpg"'),
            "'photographs' in the piece file 'p.toml' is text; a list of file names in quotes is needed; write it like photographs = [\"bands.jpg\"].",
        ),
        (
            LEAST.replace('["a.jpg"]', "[]"),
            "'photographs' in the piece file 'p.toml' names 0 files; 1 to 20 are needed; name the photographs that the certificate is to rest on.",
        ),
        (
            LEAST.replace('["a.jpg"]', '["a.jpg", "a.jpg"]'),
            "'photographs' in the piece file 'p.toml' names a file twice; each must add something new; take the second out.",
        ),
        (
            LEAST.partition("[telescope]")[0],
            (
                "the piece file 'p.toml' has no [telescope]; what the mirror is for must be known before it can be judged; "
                "add [telescope] with aperture, focal_length and intercept."
            ),
        ),
        (
            LEAST.partition("[telescope]")[0] + "telescope = 5",
            "'telescope' in the piece file 'p.toml' is a number; a table is needed; write [telescope] on a line of its own.",
        ),
        (
            LEAST.replace("focal_ratio = 5\n", ""),
            (
                "in the piece file 'p.toml', neither focal length nor focal ratio was given; one of the two is needed; "
                "give 'focal_length' like 1500mm or 'focal_ratio' like 5."
            ),
        ),
        (
            f'glass = " "\n{LEAST}',
            "'glass' in the piece file 'p.toml' is empty; 1 to 300 letters are needed; shorten it, or take it out.",
        ),
    ],
)
def test_what_cannot_be_used_is_named(text, sentence):
    """Each fault of a piece file is one sentence with the file, the key, what is needed and what to do."""
    assert refusal(text) == sentence


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"\xff\xfe", "it is not plain text in UTF-8"),
        (b"name = ", "Invalid value (at end of document)"),
        (b"a = " + b"[" * 5000, "it nests too deep"),
    ],
    ids=["not text", "not TOML", "nested"],
)
def test_what_is_no_toml_is_refused(data, reason):
    """Bytes that are no TOML, however malformed, give one sentence with the reason."""
    assert (
        refusal(data)
        == f"the piece file 'p.toml' is not TOML ({reason}); lines like name = \"D-118\" are needed; correct it and call again."
    )


@pytest.mark.parametrize("digits", [30, 400, 5000])
def test_a_number_of_many_digits_is_refused_like_any_other(digits):
    """Numbers longer than a computer's decimals are refused in words, with a sentence that names the file."""
    sentence = refusal(f"{LEAST}strehl = 1{'0' * digits}")
    assert "the piece file 'p.toml'" in sentence
    assert "needed" in sentence


def test_a_byte_order_mark_is_no_fault():
    """Some editors put an invisible mark before the first letter; it is passed over."""
    assert piece_from_toml(b"\xef\xbb\xbf" + LEAST.encode(), name="p.toml").name == "D"


def test_a_file_far_too_large_is_refused_unread():
    """A photograph named by mistake is refused by its size."""
    assert refusal(b"x" * (LARGEST_BYTES + 1)) == (
        "the piece file 'p.toml' has 100001 bytes; at most 100000 are needed; check that it is the right file."
    )
