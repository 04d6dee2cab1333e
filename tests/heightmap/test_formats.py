"""Maps as bytes: what goes in comes out, other programs' files are read, damaged ones are refused in one sentence.

The X3P checks rest on ISO 25178-72:2017 / ISO 5436-2 for the names and the layout; the text was not at hand, so they are from memory.
"""

import hashlib
import io
import json
import re
import zipfile
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from straightband.errors import BadInput, RecordUnreadable
from straightband.face.shapes import Face, Shape, ellipse, rectangle, round_face
from straightband.heightmap.formats import (
    from_csv,
    from_npz,
    from_x3p,
    map_bytes,
    read_map,
    to_csv,
    to_npz,
    to_x3p,
)  # fmt: skip
from straightband.heightmap.map import HeightMap
from straightband.heightmap.record import assembled

WRITERS = {"npz": to_npz, "x3p": to_x3p, "csv": to_csv}
READERS = {"npz": from_npz, "x3p": from_x3p, "csv": from_csv}


def md5(data: bytes) -> str:
    return hashlib.md5(data, usedforsecurity=False).hexdigest()


DIAGONAL = ellipse(minor_mm=60.0)


def a_map(face: Face = DIAGONAL, *, points: int = 41, margin: float = 0.03, meta: dict | None = None) -> HeightMap:
    """A bowed map with a little of everything on it."""
    u, v = np.linspace(-face.semi_u_mm, face.semi_u_mm, points), np.linspace(-face.semi_v_mm, face.semi_v_mm, points + 6)
    uu, vv = np.meshgrid(u, v)
    heights = 40.0 - 0.03 * (uu**2 + vv**2) + np.sin(uu / 7.0 + vv / 11.0)
    inside = face.clear_aperture(margin).contains(uu, vv)
    return HeightMap(
        heights_nm=np.where(inside, heights, np.nan), u_mm=u, v_mm=v, uncertainty_nm=np.where(inside, 2.0 + 0.01 * uu, np.nan),
        face=face, clear_margin=margin, meta={"sign": "known", "photos": ["a.jpg"]} if meta is None else meta,
    )  # fmt: skip


def members(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def same(got: HeightMap, want: HeightMap, *, height_nm: float, length: float) -> None:
    np.testing.assert_allclose(got.heights_nm, want.heights_nm, rtol=1e-15 if height_nm else 0.0, atol=height_nm)
    np.testing.assert_allclose(got.uncertainty_nm, want.uncertainty_nm, rtol=1e-15 if height_nm else 0.0, atol=height_nm)
    np.testing.assert_allclose(got.u_mm, want.u_mm, rtol=length, atol=length * abs(want.u_mm).max())
    np.testing.assert_allclose(got.v_mm, want.v_mm, rtol=length, atol=length * abs(want.v_mm).max())
    assert (got.face, got.clear_margin, got.meta) == (want.face, want.clear_margin, want.meta)


heights = st.floats(-1e6, 1e6) | st.just(np.nan)
names = st.text(max_size=8).filter(lambda key: key not in {"face", "clear_margin", "face_from"})
plain = st.none() | st.booleans() | st.integers(-(2**60), 2**60) | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20)
metas = st.dictionaries(names, plain | st.lists(plain, max_size=3) | st.dictionaries(names, plain, max_size=2), max_size=4)


@st.composite
def maps(draw: st.DrawFn) -> HeightMap:
    rows, cols = draw(st.tuples(st.integers(2, 9), st.integers(2, 9)))
    values = draw(hnp.arrays(float, (rows, cols), elements=heights))
    values[rows // 2, cols // 2] = draw(st.floats(-1e6, 1e6))
    uncertainty = draw(hnp.arrays(float, (rows, cols), elements=st.floats(0.0, 1e6) | st.just(np.nan)))
    semi_u, semi_v = draw(st.tuples(st.floats(0.5, 500.0), st.floats(0.5, 500.0)))
    return HeightMap(
        heights_nm=values, uncertainty_nm=uncertainty, meta=draw(metas),
        # Half the face, so that the point that surely has a height lies well inside it.
        u_mm=np.linspace(-semi_u / 2, semi_u / 2, cols), v_mm=np.linspace(-semi_v / 2, semi_v / 2, rows),
        face=Face(shape=draw(st.sampled_from(Shape)), semi_u_mm=semi_u, semi_v_mm=semi_v), clear_margin=draw(st.floats(0.0, 0.2)),
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(height_map=maps())
def test_npz_gives_back_every_bit(height_map: HeightMap) -> None:
    """What is written as .npz is read back exactly, whatever the map knows of itself."""
    same(from_npz(to_npz(height_map)), height_map, height_nm=0.0, length=0.0)


@settings(max_examples=60, deadline=None)
@given(height_map=maps())
def test_x3p_gives_back_the_map_to_rounding(height_map: HeightMap) -> None:
    """What is written as .x3p is read back to the rounding of the way to metres and back."""
    same(from_x3p(to_x3p(height_map)), height_map, height_nm=1e-9, length=1e-14)  # double precision: 1e6 nm x 4e-16


@settings(max_examples=60, deadline=None)
@given(height_map=maps())
def test_csv_gives_back_the_map_to_its_figures(height_map: HeightMap) -> None:
    """What is written as .csv is read back to 0.0001 nm and nine figures of the coordinates."""
    same(from_csv(to_csv(height_map)), height_map, height_nm=5.1e-5, length=6e-9)  # half the last place written, 5e-5 and 5e-9


@pytest.mark.parametrize("kind", WRITERS)
@pytest.mark.parametrize("face", [ellipse(minor_mm=60.0), round_face(diameter_mm=80.0), rectangle(width_mm=25.0, length_mm=70.0)])
def test_the_same_map_gives_the_same_bytes(kind: str, face: Face) -> None:
    """Writing carries no date and depends on no order of the meta's names."""
    one = a_map(face, meta={"sign": "known", "light": "sodium"})
    other = a_map(face, meta={"light": "sodium", "sign": "known"})
    assert WRITERS[kind](one) == WRITERS[kind](other)
    assert read_map(WRITERS[kind](one), f"flat.{kind}").face == face


def test_npz_opens_in_plain_numpy_without_pickles() -> None:
    """Any scientific program finds the five arrays of the contract, the meta as JSON text."""
    height_map = a_map()
    with np.load(io.BytesIO(to_npz(height_map)), allow_pickle=False) as loaded:
        assert sorted(loaded) == ["heights_nm", "meta", "u_mm", "uncertainty_nm", "v_mm"]
        np.testing.assert_array_equal(loaded["heights_nm"], height_map.heights_nm)
        about = json.loads(str(loaded["meta"]))
    assert about["face"] == {"shape": "ellipse", "semi_u_mm": 30.0, "semi_v_mm": height_map.face.semi_v_mm}
    assert about["sign"] == "known"


def test_npz_made_by_plain_numpy_is_read() -> None:
    """A map that somebody made with numpy alone, in single precision and by columns, is a map."""
    height_map, out = a_map(), io.BytesIO()
    np.savez_compressed(
        out, heights_nm=np.asfortranarray(height_map.heights_nm.astype("f4")), u_mm=height_map.u_mm.astype("f4"),
        v_mm=height_map.v_mm, uncertainty_nm=height_map.uncertainty_nm, meta=np.array([json.dumps({"face": {
            "shape": "ellipse", "semi_u_mm": 30.0, "semi_v_mm": height_map.face.semi_v_mm}, "clear_margin": 0.03})]),
    )  # fmt: skip
    got = read_map(out.getvalue(), "own.npz")
    assert got.face == height_map.face
    np.testing.assert_allclose(got.heights_nm, height_map.heights_nm, rtol=6e-8)  # half a unit of single precision


def test_x3p_has_the_elements_and_order_of_the_standard() -> None:
    """The XML names its records, axes, sizes and links as ISO 25178-72 / ISO 5436-2 does (names and order from memory)."""
    root = ET.fromstring(members(to_x3p(a_map()))["main.xml"])  # noqa: S314 -- we wrote it ourselves
    assert root.tag == "{http://www.opengps.eu/2008/ISO5436_2}ISO5436_2"
    tree = {child.tag: [grand.tag for grand in child] for child in root}
    assert tree == {
        "Record1": ["Revision", "FeatureType", "Axes"], "Record3": ["MatrixDimension", "DataLink"],
        "Record4": ["ChecksumFile"], "VendorSpecificID": [],
    }  # fmt: skip
    assert list(tree) == ["Record1", "Record3", "Record4", "VendorSpecificID"]
    axes = {axis.tag: [child.tag for child in axis] for axis in root.find("Record1/Axes")}
    assert axes == {axis: ["AxisType", "DataType", "Increment", "Offset"] for axis in ("CX", "CY", "CZ")}
    assert [root.findtext(f"Record1/Axes/{axis}/AxisType") for axis in ("CX", "CY", "CZ")] == ["I", "I", "A"]
    assert root.findtext("Record1/FeatureType") == "SUR"
    assert [root.findtext(f"Record3/MatrixDimension/Size{axis}") for axis in "XYZ"] == ["41", "47", "1"]
    assert root.findtext("Record3/DataLink/PointDataLink") == "bindata/data.bin"
    assert root.findtext("Record4/ChecksumFile") == "md5checksum.hex"


def test_x3p_is_in_metres_x_fastest_with_both_checksums() -> None:
    """Read with nothing but the standard library, the file gives metres, rows of constant y, and checksums that hold."""
    height_map = a_map()
    parts = members(to_x3p(height_map))
    root = ET.fromstring(parts["main.xml"])  # noqa: S314 -- we wrote it ourselves
    values = np.frombuffer(parts["bindata/data.bin"], "<f8").reshape(47, 41)
    assert float(root.findtext("Record1/Axes/CX/Offset")) == pytest.approx(-0.030, rel=1e-15)  # half of 60 mm
    assert float(root.findtext("Record1/Axes/CX/Increment")) == pytest.approx(0.060 / 40, rel=1e-14)  # 40 steps
    assert values[23, 20] == pytest.approx(height_map.heights_nm[23, 20] * 1e-9, rel=1e-15)  # one rounding
    assert np.isnan(values[0, 0])
    assert root.findtext("Record3/DataLink/MD5ChecksumPointData") == md5(parts["bindata/data.bin"])
    assert parts["md5checksum.hex"].decode() == md5(parts["main.xml"]) + " *main.xml\n"


FOREIGN = """<?xml version="1.0" encoding="UTF-8" standalone="no" ?>
<q:ISO5436_2 xmlns:q="http://www.opengps.eu/2008/ISO5436_2" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
 <Record1><Revision>ISO5436 - 2000</Revision><FeatureType>SUR</FeatureType><Axes>
  <CX><AxisType>I</AxisType><DataType>D</DataType><Increment>1.0E-3</Increment></CX>
  <CY><AxisType>I</AxisType><DataType>D</DataType><Increment>2.0E-3</Increment><Offset>5e-3</Offset></CY>
  <CZ><AxisType>A</AxisType><DataType>{letter}</DataType><Increment>1e-9</Increment><Offset>1e-6</Offset></CZ></Axes></Record1>
 <Record2><Date>2020-02-02T08:00:00Z</Date><Instrument><Manufacturer/></Instrument></Record2>
 <Record3><MatrixDimension><SizeX>4</SizeX><SizeY>3</SizeY><SizeZ>1</SizeZ></MatrixDimension><DataLink>
  <PointDataLink>/bindata\\data.bin</PointDataLink><MD5ChecksumPointData>{md5}</MD5ChecksumPointData>{mask}</DataLink></Record3>
 <Record4><ChecksumFile>md5checksum.hex</ChecksumFile></Record4>
</q:ISO5436_2>"""


def foreign(values: np.ndarray, *, letter: str, valid: bytes = b"", xml: str = FOREIGN) -> bytes:
    """A file as another program would lay it out: other prefix, record of the instrument, scaled whole numbers, mask."""
    mask = f"<ValidPointsLink>bindata/valid.bin</ValidPointsLink><MD5ChecksumValidPoints>{md5(valid)}</MD5ChecksumValidPoints>"
    data = values.tobytes()
    main = xml.format(letter=letter, md5=md5(data).upper(), mask=mask if valid else "").encode()
    parts = {"main.xml": main, "bindata/data.bin": data, "md5checksum.hex": md5(main).encode() + b" *main.xml\r\n"}
    return zipped(parts | ({"bindata/valid.bin": valid} if valid else {}))


@pytest.mark.parametrize(("letter", "dtype"), [("I", "<i2"), ("L", "<i4"), ("F", "<f4"), ("D", "<f8")])
def test_x3p_of_another_program_is_read_and_says_that_its_face_was_inferred(letter: str, dtype: str) -> None:
    """All four number types of the standard, their scale and offset, come out in nm about the centre of the heights."""
    got = read_map(foreign(np.arange(12).astype(dtype), letter=letter), "other.x3p")
    np.testing.assert_allclose(got.heights_nm, 1000.0 + np.arange(12).reshape(3, 4), rtol=1e-12)  # roundings of a scale and a sum
    np.testing.assert_allclose(got.u_mm, [-1.5, -0.5, 0.5, 1.5], atol=1e-12)  # rounding
    np.testing.assert_allclose(got.v_mm, [-2.0, 0.0, 2.0], atol=1e-12)  # rounding
    assert (got.face.shape, got.clear_margin) == (Shape.RECTANGLE, 0.0)
    assert (got.face.semi_u_mm, got.face.semi_v_mm) == pytest.approx((2.0, 3.0))
    assert got.meta == {"face_from": "extent of the heights"}
    assert np.isnan(got.uncertainty_nm).all()


def test_x3p_mask_of_valid_points_takes_points_away() -> None:
    """A cleared bit, least significant first (ISO 5436-2, from memory), makes a point missing."""
    bits = np.ones(16, dtype=np.uint8)
    bits[5] = 0
    data = foreign(np.arange(12, dtype="<i2"), letter="I", valid=np.packbits(bits, bitorder="little").tobytes())
    with pytest.raises(RecordUnreadable, match="its heights fill 92% of their box"):  # 11 of 12 are no whole rectangle
        from_x3p(data)
    bits[:4], bits[5] = 0, 1  # a whole row away leaves a rectangle
    data = foreign(np.arange(12, dtype="<i2"), letter="I", valid=np.packbits(bits, bitorder="little").tobytes())
    np.testing.assert_array_equal(np.isnan(from_x3p(data).heights_nm).sum(axis=1), [4, 0, 0])


@pytest.mark.parametrize("face", [ellipse(minor_mm=60.0), round_face(diameter_mm=60.0), rectangle(width_mm=40.0, length_mm=60.0)])
def test_a_face_is_inferred_from_the_heights_when_the_file_is_silent(face: Face) -> None:
    """Shape and half axes come from the extent of the heights, to half a step, and the origin moves to their centre."""
    full = a_map(face, points=121, margin=0.0)
    got = assembled(
        heights_nm=full.heights_nm, u_mm=full.u_mm + 100.0, v_mm=full.v_mm - 7.0, uncertainty_nm=full.uncertainty_nm, about={}, name="x"
    )
    step_mm = full.v_mm[1] - full.v_mm[0]
    assert got.face.shape is face.shape
    assert got.face.semi_u_mm == pytest.approx(face.semi_u_mm, abs=step_mm)  # a step is all the heights tell
    assert got.face.semi_v_mm == pytest.approx(face.semi_v_mm, abs=step_mm)  # the same
    np.testing.assert_allclose(got.u_mm, full.u_mm, atol=1e-9)  # rounding of +100 -100


def test_an_unknown_outline_is_refused_rather_than_guessed() -> None:
    """Heights over a triangle with no face given make no map."""
    full = a_map(rectangle(width_mm=40.0, length_mm=40.0), margin=0.0)
    triangle = np.where(full.u_mm[None, :] > full.v_mm[:, None], full.heights_nm, np.nan)
    with pytest.raises(RecordUnreadable, match=r"does not say what face it is of, and its heights fill 5.% of their box"):
        assembled(heights_nm=triangle, u_mm=full.u_mm, v_mm=full.v_mm, uncertainty_nm=full.uncertainty_nm, about={}, name="x")


def test_csv_is_read_in_any_order_and_without_its_heading() -> None:
    """The lines of a table may be shuffled and the comments lost: the map is the same but for its inferred face."""
    height_map = a_map(rectangle(width_mm=20.0, length_mm=30.0), points=9, margin=0.0)
    head, *lines = [line for line in to_csv(height_map).decode().splitlines() if not line.startswith("#")]
    got = read_map("\r\n".join([head, *lines[::-1]]).encode(), "table.CSV")
    np.testing.assert_allclose(got.heights_nm, height_map.heights_nm, atol=5.1e-5)  # half the last place written
    assert got.meta == {"face_from": "extent of the heights"}


def with_part(kind: str, part: str, change: bytes) -> bytes:
    return zipped(members(WRITERS[kind](a_map())) | {part: change})


def npy(array: np.ndarray) -> bytes:
    out = io.BytesIO()
    np.save(out, array, allow_pickle=True)
    return out.getvalue()


def main_with(old: str, new: str) -> bytes:
    """Our own X3P with `old` replaced in its XML and the checksum put right, so that only the change is wrong."""
    parts = members(to_x3p(a_map()))
    main = parts["main.xml"].decode()
    assert old in main
    main = main.replace(old, new).encode()
    return zipped(parts | {"main.xml": main, "md5checksum.hex": md5(main).encode()})


def csv_with(old: str, new: str) -> bytes:
    text = to_csv(a_map()).decode()
    assert old in text
    return text.replace(old, new, 1).encode()


HUGE_HEADER = b"\x93NUMPY\x01\x00v\x00" + b"{'descr': '<f8', 'fortran_order': False, 'shape': (400000, 400000), }".ljust(117) + b"\n"
BROKEN = {
    "nothing": (b"", "x.npz", "'x.npz' is empty; a height map in .npz, .x3p or .csv is needed; "),
    "words": (b"my dear map", "x.x3p", "'x.x3p' is no height map, or is damaged; "),
    "a photograph": (b"\xff\xd8\xff\xe0", "IMG_1.jpg", "'IMG_1.jpg' is no height map, or is damaged; "),
    "another archive": (zipped({"letter.txt": b"hello"}), "x.npz", "'x.npz' is an archive without a height map in it; "),
    "a crowd": (zipped({f"{n}": b"" for n in range(65)}), "x.npz", "'x.npz' is an archive of 65 files; "),
    "cut short": (to_npz(a_map())[:-40], "x.npz", "'x.npz' is damaged, or cut short; "),
    "a pickle": (with_part("npz", "heights_nm.npy", npy(np.array([[{}]]))), "x.npz", "'heights_nm' in 'x.npz' is not an array of numbers or text"),
    "huge by its word": (with_part("npz", "heights_nm.npy", HUGE_HEADER), "x.npz", "'heights_nm' in 'x.npz' is not an array of numbers or text, or is cut short; "),
    "a bomb": (with_part("npz", "u_mm.npy", bytes(140_000_000)), "x.npz", "'u_mm.npy' in 'x.npz' unpacks to more than 128004096 bytes; "),
    "wrong shape": (with_part("npz", "u_mm.npy", npy(np.arange(7.0))), "x.npz", "the heights in 'x.npz' (47 by 41) do not match its rows and columns (47 by 7); "),
    "a list": (with_part("npz", "heights_nm.npy", npy(np.arange(7.0))), "x.npz", "the heights in 'x.npz' (7) do not match its rows and columns (47 by 41); "),
    "no spread": (with_part("npz", "uncertainty_nm.npy", npy(np.zeros(3))), "x.npz", "the uncertainty in 'x.npz' (3) does not match its heights (47 by 41); "),
    "uneven": (with_part("npz", "u_mm.npy", npy(np.arange(41.0) ** 2)), "x.npz", "u_mm in 'x.npz' does not rise in even steps; "),
    "falling": (with_part("npz", "v_mm.npy", npy(-np.arange(47.0))), "x.npz", "v_mm in 'x.npz' does not rise in even steps; "),
    "endless": (with_part("npz", "heights_nm.npy", npy(np.full((47, 41), np.inf))), "x.npz", "'x.npz' holds no height at all; "),
    "a mountain": (with_part("npz", "heights_nm.npy", npy(np.full((47, 41), 1e300))), "x.npz", "'x.npz' holds heights beyond a metre; "),
    "less than nothing": (with_part("npz", "uncertainty_nm.npy", npy(np.full((47, 41), -1.0))), "x.npz", "'x.npz' holds an uncertainty that is negative or endless; "),
    "meta no JSON": (with_part("npz", "meta.npy", npy(np.array('{"a": NaN}'))), "x.npz", "what 'x.npz' says about its map is not a JSON object; "),
    "meta a number": (with_part("npz", "meta.npy", npy(np.array(3.0))), "x.npz", "'meta' in 'x.npz' is not one piece of text; "),
    "a star": (with_part("npz", "meta.npy", npy(np.array('{"face": {"shape": "star"}}'))), "x.npz", "the face that 'x.npz' speaks of is not an ellipse, round or rectangle"),
    "no size": (with_part("npz", "meta.npy", npy(np.array('{"face": {"shape": "round", "semi_u_mm": 0, "semi_v_mm": 1}}'))), "x.npz", "the face that 'x.npz' speaks of has no size"),
    "elsewhere": (with_part("npz", "u_mm.npy", npy(np.arange(41.0) + 500.0)), "x.npz", "'x.npz' holds no height inside the clear aperture of its face; "),
    "heights changed": (with_part("x3p", "bindata/data.bin", bytes(47 * 41 * 8)), "x.x3p", "'bindata/data.bin' in 'x.x3p' does not match its checksum; "),
    "XML changed": (with_part("x3p", "main.xml", members(to_x3p(a_map()))["main.xml"] + b"\n"), "x.x3p", "main.xml in 'x.x3p' does not match its checksum; "),
    "entities": (main_with("<p:ISO", '<!DOCTYPE p [<!ENTITY a "aaaa">]><p:ISO'), "x.x3p", "main.xml in 'x.x3p' defines a document type; "),
    "no XML": (with_part("x3p", "main.xml", b"<p:ISO5436_2"), "x.x3p", "main.xml in 'x.x3p' is not XML; "),
    "other XML": (with_part("x3p", "main.xml", b"<svg/>"), "x.x3p", "main.xml in 'x.x3p' begins with 'svg'; "),
    "a profile": (main_with("SUR", "PRF"), "x.x3p", "'x.x3p' is no areal map; "),
    "absurd size": (main_with("<SizeX>41", "<SizeX>4100000"), "x.x3p", "'x.x3p' says its map is 47 by 4100000 points; "),
    "wrong size": (main_with("<SizeX>41", "<SizeX>40"), "x.x3p", "'x.x3p' holds 15416 bytes for 47 by 40 points; "),
    "two maps": (main_with("<SizeZ>1", "<SizeZ>2"), "x.x3p", "'x.x3p' holds 2 maps; "),
    "no size given": (main_with("SizeY", "SizeQ"), "x.x3p", "main.xml in 'x.x3p' has no Record3/MatrixDimension/SizeY; "),
    "odd size": (main_with("<SizeY>47", "<SizeY>4.7"), "x.x3p", "Record3/MatrixDimension/SizeY in 'x.x3p' is '4.7'; "),
    "scattered": (main_with("<AxisType>I", "<AxisType>A"), "x.x3p", "CX of 'x.x3p' is not in even steps; "),
    "no step": (main_with("<Increment>1.0<", "<Increment>wide<"), "x.x3p", "Record1/Axes/CZ/Increment in 'x.x3p' is not a number; "),
    "no link": (main_with("DataLink>", "DataList>"), "x.x3p", "the heights in 'x.x3p' are not in a binary file of known type; "),
    "short mask": (foreign(np.arange(12, dtype="<i2"), letter="I", valid=b"\xff"), "x.x3p", "the mask of valid points in 'x.x3p' is too short; "),
    "other columns": (b"x,y,z\n1,2,3\n", "x.csv", "the first line of 'x.csv' is not u_mm,v_mm,height_nm,uncertainty_nm; "),
    "a word": (csv_with(",nan\n", ",none\n"), "x.csv", "'x.csv' has a line that is not four numbers, or none at all; "),
    "no lines": (b"u_mm,v_mm,height_nm,uncertainty_nm\n", "x.csv", "'x.csv' has a line that is not four numbers, or none at all; "),
    "twice": (b"u_mm,v_mm,height_nm,uncertainty_nm\n0,0,1,1\n1,1,1,1\n0,0,1,1\n", "x.csv", "'x.csv' gives the same point twice; "),
    "three": (b"u_mm,v_mm,height_nm,uncertainty_nm\n0,0,1\n1,1,1\n", "x.csv", "'x.csv' has 3 numbers on a line; "),
    "not text": (b"\xff\xfe\x00", "x.csv", "'x.csv' is not plain text; "),
    "scatter": (b"u_mm,v_mm,height_nm,uncertainty_nm\n" + b"".join(b"%d,%d,1,1\n" % (n, n) for n in range(4001)), "x.csv", "'x.csv' says its map is 4001 by 4001 points; "),
}  # fmt: skip


@pytest.mark.parametrize("what", BROKEN)
def test_a_file_that_is_no_map_is_refused_in_one_sentence(what: str) -> None:
    """Found, needed, to do: one sentence that names the file, for everything that can be wrong with it."""
    data, name, begins = BROKEN[what]
    with pytest.raises(RecordUnreadable, match=f"^{re.escape(begins)}") as caught:
        read_map(data, name)
    assert re.fullmatch(r"[^\n;]+; [^\n;]+; [^\n;]+\.", str(caught.value))


@settings(max_examples=150, deadline=None)
@given(
    kind=st.sampled_from(sorted(WRITERS)),
    flips=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(1, 255)), max_size=3),
    kept=st.floats(0, 1),
)
def test_damage_never_ends_in_anything_but_a_sentence(kind: str, flips: list, kept: float) -> None:
    """Bytes flipped or cut off give a map or RecordUnreadable, never another error."""
    whole = WRITERS[kind](a_map(points=7))
    data = bytearray(whole[: round(kept * len(whole))] if not flips else whole)
    for place, change in flips:
        data[int(place * len(data))] ^= change
    try:
        read_map(bytes(data), f"x.{kind}")
    except RecordUnreadable:
        return


@pytest.mark.parametrize("name", ["flat.npz", "folder/FLAT.X3P", "flat.csv"])
def test_the_ending_chooses_the_format(name: str) -> None:
    """A map saved under a name is read back under that name."""
    assert read_map(map_bytes(a_map(), name=name), name).face == a_map().face


def test_another_ending_is_refused() -> None:
    """A name that asks for no known format is refused before anything is written."""
    with pytest.raises(BadInput) as caught:
        map_bytes(a_map(), name="flat.tif")
    assert str(caught.value) == "the map was to be saved as 'flat.tif'; a name ending in .npz, .x3p or .csv is needed; change the ending."
