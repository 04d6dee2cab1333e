"""The certificate: one page, whole, the same every time, and deaf to whatever a name contains."""

import dataclasses
import io
import re

import pytest
from PIL import Image
from pypdf import PdfReader

from straightband.errors import BadInput
from straightband.provenance import Source, source_of
from straightband.report.certificate import CAUTIONS, CertificateContent, certificate_pdf

A4_PT = (210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0)  # ISO 216: 210 x 297 mm; a point is 1/72 inch


def a_picture(kind="PNG", *, size=(300, 200)):
    out = io.BytesIO()
    Image.new("RGB", size, (120, 110, 40)).save(out, kind)
    return out.getvalue()


CONTENT = CertificateContent(
    shop="Hollow Lane Glass",
    piece="2026-14",
    fields=(("For", "order 31"), ("Face", "ellipse 90.0 x 127.3 mm"), ("Telescope", "300 mm, f/5")),
    decision="meets",
    verdict="The least Strehl ratio is 0.961 ± 0.006 (95 %), this meets it.",
    photo=a_picture("JPEG"),
    photo_caption="First of two photographs",
    map_picture=a_picture(),
    map_caption="Height map, as seen looking at the face",
    numbers=(("Peak to valley", "57.2 ± 4.1 nm", ""), ("Power", "−12.1 ± 2.2 nm", "concave, a hole")),
    strehl=(("0 mm", "0.983 ± 0.004"), ("15 mm", "0.961 ± 0.006")),
    budget_title="Behind the uncertainty of PV",
    budget=(("Fit noise", "0.4 nm"), ("Reference flat", "4.1 nm"), ("Together", "4.1 nm")),
    method=(("Light", "sodium, λ = 589.3 nm"), ("Hill or hole", "known: paper shim at 6 o'clock")),
    photographs=(source_of("one.jpg", b"1"), source_of("two.jpg", b"2")),
    program="Straightband 0.0",
)
LONG_NAME = "Wolfgangspanner und Söhne, Ofenbau und Spiegelschleiferei in der Hinteren Unteren Gasse, Žďár"
CROWDED = dataclasses.replace(
    CONTENT,
    shop=LONG_NAME,
    piece="diagonal-of-the-long-telescope-on-the-hill-2026-14-b",
    fields=tuple((name, LONG_NAME) for name in ("For", "Face", "Telescope", "Glass", "Thickness", "Order")),
    verdict=" ".join([CONTENT.verdict] * 4),
    photo_caption=LONG_NAME,
    numbers=tuple((f"Figure {n}", "57.2 ± 4.1 nm", "highest at the rim along 32° ± 6° from u toward v") for n in range(9)),
    strehl=tuple((f"{n} mm", "0.983 ± 0.004") for n in range(5)),
    budget=(*((f"Cause of doubt number {n}, told at some length", "0.4 nm") for n in range(12)), ("Together", "1.4 nm")),
    method=tuple((f"Step {n}", LONG_NAME) for n in range(8)),
    photographs=tuple(source_of("x" * 60 + f"{n}.jpg", bytes([n])) for n in range(8)),
)


def pages(content):
    return PdfReader(io.BytesIO(certificate_pdf(content))).pages


def words(content):
    """All text of the page, spaces of every kind and breaks within long words evened out."""
    (page,) = pages(content)
    return re.sub(r"\s+", " ", page.extract_text().replace("\u200b", ""))


@pytest.mark.parametrize("content", [CONTENT, CROWDED], ids=["ordinary", "crowded"])
def test_it_is_one_page_of_a4(content):
    """However much there is to say, up to long names and twelve causes of doubt, it is said on one A4 page."""
    (page,) = pages(content)
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(A4_PT, abs=0.01)  # PDF's rounding


def strings(content):
    for field in dataclasses.fields(content):
        value = getattr(content, field.name)
        entries = [value] if isinstance(value, str) else [] if isinstance(value, bytes) else list(value)
        for entry in entries:
            yield from (entry,) if isinstance(entry, str) else dataclasses.astuple(entry) if isinstance(entry, Source) else entry


@pytest.mark.parametrize("content", [CONTENT, CROWDED], ids=["ordinary", "crowded"])
def test_everything_given_is_on_the_page(content):
    """No string is lost: each of them, hashes in full, can be read off the page, with both pictures."""
    shown = words(content).replace(" ", "").lower()
    missing = [text for text in strings(content) if text.replace(" ", "").lower() not in shown]
    assert missing == []
    assert len(pages(content)[0].images) == 2


def places(content):
    """Where each piece of text begins, (words, x) in points from the left edge."""
    found = []
    (page,) = pages(content)
    page.extract_text(visitor_text=lambda text, place, *_: found.append((text.strip(), place[4])) if text.strip() else None)
    return found


@pytest.mark.parametrize("letters", ["W", "i", "a word "])
def test_a_very_long_name_of_a_piece_leaves_the_title_its_place(letters):
    """300 letters are cut short, and stand right of the title, which stays on one line at the left margin; short ones are shown whole."""
    content = dataclasses.replace(CONTENT, piece=(letters * 300)[:300])
    assert "Certificate of flatness" in words(content)
    shown = words(content).replace(" ", "")
    assert f"{(letters * 300)[:50].replace(' ', '')}" in shown
    assert (letters * 300)[:70].replace(" ", "") not in shown
    assert "..." in shown
    at = dict(places(content))
    title = next(x for text, x in at.items() if text.startswith("Certificate of"))
    assert title == pytest.approx(16.0 / 25.4 * 72.0, abs=1.0)  # the page's margin of 16 mm
    box = next(x for text, x in at.items() if text == "Piece")
    assert box > 0.5 * A4_PT[0]


def test_the_same_content_is_the_same_bytes():
    """No clock and no chance: two papers of one content agree to the byte and carry no date."""
    once = certificate_pdf(CONTENT)
    assert certificate_pdf(dataclasses.replace(CONTENT)) == once
    reader = PdfReader(io.BytesIO(once))
    assert set(reader.metadata) == {"/Title", "/Author", "/Creator"}
    assert b"Date" not in reader.trailer["/Root"]["/Metadata"].get_data()
    assert reader.trailer["/ID"] == PdfReader(io.BytesIO(once)).trailer["/ID"]


def test_other_content_is_another_paper():
    """A digit changed in a number changes the paper, its identifier included."""
    other = dataclasses.replace(CONTENT, budget=(("Together", "4.2 nm"),))
    ids = [PdfReader(io.BytesIO(certificate_pdf(content))).trailer["/ID"] for content in (CONTENT, other)]
    assert ids[0] != ids[1]


@pytest.mark.parametrize(
    "name",
    [
        "#panic(1)",
        "*bold* _x_",
        "$x^2$",
        "@ref <label>",
        "= heading",
        "// gone",
        "\\ `raw`",
        '"; #read("/etc/passwd")',
        "[#box]",
        "$unclosed",
    ],
)
def test_markup_in_a_name_is_set_as_it_was_typed(name):
    """A name is text: what would be markup or code to the typesetter appears letter by letter."""
    shown = words(dataclasses.replace(CONTENT, shop=name, method=((name, name),), photographs=(Source(name=name, sha256="0" * 64),)))
    assert shown.replace(" ", "").count(name.replace(" ", "")) == 4


@pytest.mark.parametrize("name", ["Žďár nad Sázavou", "Ελλάδα", "Пила", "2″ × 3 µm ≤ λ/10"])
def test_letters_of_europe_and_of_the_trade_are_shown(name):
    """Names with accents, Greek, Cyrillic and the signs of the trade appear as typed."""
    assert name.replace(" ", "") in words(dataclasses.replace(CONTENT, shop=name)).replace(" ", "")


@pytest.mark.parametrize(("name", "letter"), [("鏡屋", "鏡"), ("a bell \x07", "\\u{7}"), ("\ufeffmark", "\\u{feff}")])
def test_a_letter_without_a_glyph_is_refused(name, letter):
    """A name that would come out as empty boxes is refused by its letter instead."""
    with pytest.raises(BadInput) as caught:
        certificate_pdf(dataclasses.replace(CONTENT, shop=name))
    assert str(caught.value) == (
        f'the certificate was to show "{letter}", which its typeface lacks; '
        "Latin, Greek or Cyrillic letters are needed; write the name in those."
    )


def test_half_a_letter_in_a_file_name_is_shown_as_a_question_mark():
    """A file name that is no proper text does not stop the paper."""
    assert "IMG?7.jpg" in words(dataclasses.replace(CONTENT, photographs=(Source(name="IMG\udcff7.jpg", sha256="0" * 64),)))


def test_without_a_telescope_nothing_is_said_of_one():
    """A flat that was measured but not judged at 45 degrees has no empty table for it."""
    assert "45 degrees" in words(CONTENT)
    assert "45 degrees" not in words(dataclasses.replace(CONTENT, strehl=()))


def test_more_words_than_a_page_holds_are_refused():
    """Rather than a second page or type too small to read, one sentence."""
    with pytest.raises(BadInput) as caught:
        certificate_pdf(dataclasses.replace(CONTENT, cautions=CAUTIONS * 40))
    assert str(caught.value) == (
        "the certificate has more words than fit on one page in type that can be read; "
        "one page is needed; shorten the names, the remarks or the cautions."
    )


def test_only_fonts_of_its_own_are_used_and_they_travel_with_it():
    """The paper looks the same everywhere: its two typefaces are inside the file, none is taken from the machine."""
    (page,) = pages(CROWDED)
    fonts = [font.get_object() for font in page["/Resources"]["/Font"].values()]
    assert {font["/BaseFont"].partition("+")[2].split("-")[0] for font in fonts} == {"LibertinusSerif", "DejaVuSansMono"}
    for font in fonts:
        descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
        assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_it_asks_to_be_printed_at_its_size_and_can_be_read_out():
    """The viewer is asked not to scale (ISO 32000, PrintScaling), and the page is tagged, its pictures described (ISO 14289-1)."""
    root = PdfReader(io.BytesIO(certificate_pdf(CONTENT))).trailer["/Root"]
    assert root["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert root["/MarkInfo"]["/Marked"]
    described = re.findall(r"'/Alt': '([^']*)'", str(_unfolded(root["/StructTreeRoot"])))
    assert {"First of two photographs", "Height map, as seen looking at the face"} <= set(described)


def _unfolded(node, depth=0):
    """The tags below one, as plain nested values; parents left out, for they would lead round in a circle."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, dict) and depth < 12:
        return {key: _unfolded(value, depth + 1) for key, value in node.items() if key in {"/K", "/Alt", "/S"}}
    return [_unfolded(each, depth + 1) for each in node] if isinstance(node, list) else node


def test_signature_and_date_are_blank_unless_given():
    """The pen signs; only a name and a date that were handed in are printed."""
    assert words(dataclasses.replace(CONTENT, signed_by="A. Example", date="7 May 2026")).count("7 May 2026") == 1
    assert not re.search(r"20\d\d(?!-14)", words(CONTENT).replace("20000", ""))


def test_a_picture_of_another_kind_is_a_mistake_of_the_caller():
    """Bytes that are neither PNG nor JPEG never reach the typesetter."""
    with pytest.raises(ValueError, match=r"^a picture on the certificate must be PNG or JPEG, got bytes that begin with b'<svg'$"):
        certificate_pdf(dataclasses.replace(CONTENT, photo=b"<svg/>"))
