"""The certificate says what was measured and what was not, rests on named bytes, and is the same each time."""

import hashlib
import io
import re
from dataclasses import replace

import numpy as np
import pytest
from pypdf import PdfReader

from straightband.face.shapes import ellipse
from straightband.heightmap.figures import figures
from straightband.heightmap.map import HeightMap
from straightband.report import certificate as paper
from straightband.synthetic.truth import truth_map
from straightband.workflows import certify as workflow
from straightband.workflows.certify import certificate_content, certificate_facts, certify
from straightband.workflows.judge import Decision
from straightband.workflows.maps import map_file
from straightband.workflows.piece import piece_from_toml
from straightband.workflows.report_verdict import verdict_facts
from straightband.workflows.shown import verdict_shown

TELESCOPE = '[telescope]\naperture = "300mm"\nfocal_length = "1500mm"\nintercept = "300mm"\nfull_field = "10mm"\n'
TOLD = "mark = 3\nthicker = 2.5\n"
PIECE = 'name = "G-1"\nminor = "90mm"\nlight = "mercury-green"\nphotographs = ["bands.jpg"]\n'


def made(photograph, *, told="", telescope="", shop="", reference=None):
    piece = piece_from_toml((PIECE + told + TELESCOPE + telescope + shop).encode(), name="piece.toml")
    return certify(piece, photographs=[("bands.jpg", photograph)], reference=reference)


def words(pdf):
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    return re.sub(r"\s+", " ", page.extract_text().replace("\u200b", ""))


@pytest.fixture(scope="module")
def unknown(photograph):
    """A certificate of a piece of which neither thicker side nor mark nor reference flat was told."""
    return made(photograph)


@pytest.fixture(scope="module")
def known(photograph):
    """A certificate of the same piece with all of that told: its flat known to be flat to 6 nm."""
    axis = np.linspace(-80.0, 80.0, 81)
    flat = HeightMap(
        heights_nm=np.zeros((81, 81)),
        u_mm=axis,
        v_mm=axis.copy(),
        uncertainty_nm=np.full((81, 81), 6.0),
        face=ellipse(minor_mm=160, major_mm=160),
    )
    data = map_file(flat, name="flat.npz")
    return made(
        photograph, told=TOLD + 'reference = "flat.npz"\n', telescope='strehl = 0.5\niso = "3/-(0.5)"\n',
        shop='[shop]\nname = "Hollow Lane Glass"\nsigned_by = "A. Person"\ndate = "3 March 2026"\n', reference=("flat.npz", data, flat)
    )  # fmt: skip


def test_the_same_piece_gives_the_same_bytes(photograph, unknown):
    """Two runs on the same input differ in no byte, so that a certificate can be checked by making it again."""
    assert made(photograph).pdf == unknown.pdf


def test_what_is_not_known_stands_on_the_paper(unknown):
    """Hill or hole, half a turn, the reference flat and the repeat are each said to be unknown."""
    text = words(unknown.pdf)
    assert "Not known: where the gap is thicker was not given. The Strehl ratio is the same for both." in text
    assert "Without a mark the map may be turned by half a turn; the worse way round is judged." in text
    assert "Maps are as seen looking at the face; the photograph was taken as not reversed, since nobody said." in text
    assert "Not told. These are heights of the pair, piece and reference flat together: what the flat has of them is not told." in text
    assert "convex, a hill or concave, a hole: not known" in text
    assert "Reference flat not told" in text
    assert "Repeat not known" in text


def test_further_doubts_are_listed_once(unknown):
    """A doubt that no other line spells out is listed, and one that a line does spell out is not said twice."""
    doubts = re.search(r"Doubts (.*?) Photographs it rests on", words(unknown.pdf))[1].lower()
    assert "less than one megapixel" in doubts
    assert "which end goes toward the primary" in doubts
    assert "say where the gap is thicker" not in words(unknown.pdf)


def test_what_is_known_stands_on_the_paper_too(known):
    """The thicker side, the mark, the flat's map with its hash, the tolerance, the signature and the date appear as told."""
    text = words(known.pdf)
    assert "Known: the gap is thicker toward 2.5 o'clock in the upright photograph." in text
    assert "+v points toward the mark, at 3 o'clock in the upright photograph." in text
    assert re.search(r"Its map, flat\.npz \(SHA-256 [0-9a-f ]{64,}\), is taken off\.", text)
    assert "of the pair" not in text
    assert "ISO 10110-5 3/-(0.5): B " in text
    for told in ("Hollow Lane Glass", "A. Person", "3 March 2026", "G-1", "ellipse, 90.0 × 127.3 mm"):
        assert told in text


def test_how_the_piece_lay_stands_on_the_paper(photograph):
    """Weight and heat are lines of the budget and of the page, with the time since the glass was handled."""
    lying = made(photograph, told=TOLD + 'glass = "borosilicate"\nthickness = "20mm"\nhandled = "4min"\n')
    text = words(lying.pdf)
    assert re.search(
        r"Weight and heat 20 mm of borosilicate on three points at its rim: [\d.]+ nm of peak to valley; a hand on the whole face 4 min before:",
        text,
    )
    assert re.search(r"Weight on its support [\d.]+ nm", text)
    assert "Weight and heat" not in words(made(photograph, told=TOLD).pdf)


def test_no_clock_is_looked_at(unknown):
    """Without a date told there is none: the line is left for the pen."""
    assert not re.search(r"\b20\d\d\b", words(unknown.pdf).replace("ISO 10110-5:2015", ""))


@pytest.mark.parametrize("name", ["pv_nm", "rms_nm", "power_nm", "astigmatism_nm", "irregularity_rms_nm"])
def test_numbers_hold_the_golden_face(scene, known, name):
    """END-1: the figures of the five known terms (polynomials of Mahajan and Dai 2007) on the clear aperture lie in the stated intervals."""
    height_map, facts = known.reading.height_map, certificate_facts(known)
    true = getattr(figures(truth_map(scene, u_mm=height_map.u_mm, v_mm=height_map.v_mm)), name)
    assert facts["surface"][name] == pytest.approx(true, abs=facts["uncertainty"][name])  # expanded, 95 %
    assert facts["uncertainty"][name] < 4.0 * 6.0  # the flat is known to 6 nm at each point, so its PV to no more than two such swings


def test_the_paper_says_which_way_the_power_goes(known):
    """The golden face rises from its middle to its rim (its power term is positive in the square of the radius): a hollow."""
    assert "concave, a hole" in words(known.pdf)


def test_facts_name_the_bytes_they_rest_on(photograph, known):
    """The hash is that of the photograph's bytes, by the standard library."""
    assert certificate_facts(known)["sha256"] == [{"name": "bands.jpg", "sha256": hashlib.sha256(photograph).hexdigest()}]


def test_the_paper_and_the_facts_decide_alike(known, unknown):
    """The decision on the paper is the one that programs are told."""
    for certificate in (known, unknown):
        assert certificate_facts(certificate)["decision"].upper() in words(certificate.pdf)


def test_cautions_are_on_the_paper(unknown):
    """The paper says what it does not speak of."""
    assert all(caution in words(unknown.pdf) for caution in paper.CAUTIONS)


@pytest.mark.parametrize(
    ("thicker", "told"),
    [
        ('"out"', "Known: the gap is thicker at the rim."),
        ('"in"', "Known: the gap is thicker in the middle."),
        ("2.5", "Known: the gap is thicker toward 2.5 o'clock in the upright photograph."),
        (
            '"3,9"',
            (
                "Known: the gap is thicker toward 3 o'clock in the upright photograph and toward 9 o'clock in the upright photograph, "
                "in the order of the photographs."
            ),
        ),
    ],
)
def test_the_thicker_side_is_told_as_it_was_given(reading, thicker, told):
    """A clock hour, the rim, the middle, or one side for each photograph: the paper says which."""
    piece = piece_from_toml((PIECE + f"thicker = {thicker}\n" + TELESCOPE).encode(), name="piece.toml")
    assert workflow._sign_words(piece, reading) == told


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ("pressed = 6", "Known: the rim was pressed at 6 o'clock in the upright photograph between the first photograph and the others."),
        ("", "Known: the bands of lamps of several colours agree on one gap only."),
    ],
)
def test_a_sign_that_was_earned_otherwise_says_by_what(reading, told, words):
    """Where pressing or colours told hill from hole, the paper does not say that it is unknown because no side was given."""
    piece = piece_from_toml((PIECE + told + "\n" + TELESCOPE).encode(), name="piece.toml")
    assert workflow._sign_words(piece, replace(reading, sign="known")) == words


def test_a_thicker_side_that_does_not_fit_leaves_the_sign_unknown(reading):
    """Where what was given contradicts the bands, the paper says so instead of choosing."""
    piece = piece_from_toml((PIECE + "thicker = 5\n" + TELESCOPE).encode(), name="piece.toml")
    assert workflow._sign_words(piece, replace(reading, sign="unknown")) == (
        "Not known: the thicker side that was given does not fit the bands. The Strehl ratio is the same for both."
    )


def test_a_mirror_that_is_too_small_says_so_on_paper_and_page(photograph, unknown):
    """Where part of the beam misses the mirror, the certificate's verdict and that of the page say how much is caught and why it can't meet."""
    piece = piece_from_toml((PIECE + TELESCOPE).encode(), name="piece.toml")
    verdict = replace(unknown.verdict, decision=Decision.FAILS, flags=("beam-misses-the-face",))
    content = certificate_content(piece, reading=unknown.reading, verdict=verdict, photograph=("bands.jpg", photograph), reference=None)
    said = "of the light of a star on the axis, and part of it misses the mirror: it is too small for this telescope, or stands wrong."
    assert said in content.verdict
    assert said in verdict_shown(verdict_facts(verdict, unknown.reading.height_map), "mm")[1]
    assert (
        "too small"
        not in certificate_content(
            piece, reading=unknown.reading, verdict=unknown.verdict, photograph=("bands.jpg", photograph), reference=None
        ).verdict
    )
