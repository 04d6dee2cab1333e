"""The test box: by the light that must pass it, followed ray by ray.

Sources: false power of a near camera, path 2 t cos(theta) in a film, derived; the rest is geometry. Contrast: tests/light/test_contrast.py.
"""

import math

import pytest

from straightband.errors import BadInput
from straightband.workflows.box import AROUND_MM, GRIP_MM, HAND_MM, plan_box
from straightband.workflows.box_drawing import SCALES, box_drawing, box_sheet
from straightband.workflows.box_report import SENTENCES, box_facts, box_lines
from straightband.workflows.box_text import box_from_text


def planned(largest="200mm", **more):
    return plan_box(box_from_text(largest=largest, **more))


@pytest.mark.parametrize(
    ("largest", "gap", "error", "camera"),
    [("200mm", "5um", "24.81404895nm", 1000.0), ("200mm", "5um", "6.238305611nm", 2000.0), ("150mm", "20um", "154.4424657nm", 600.0)],
)
def test_the_camera_stands_where_the_error_allows(largest, gap, error, camera):
    """The distances of NEWTON-3 from their errors; the error that is made there is the one allowed."""
    box = planned(largest, gap=gap, error=error)
    assert box.eye_mm == pytest.approx(camera, rel=1e-6)
    assert box.false_power_nm == pytest.approx(float(error[:-2]), rel=1e-6)


def test_light_from_the_whole_face_reaches_the_lamp():
    """Rays from the eye to points all over the largest piece, sent back, up to the plate and across, meet plate and diffuser within their edges."""
    box = planned(gap="5um", error="25nm")
    plate, clear = box.plate, box.request.largest_mm / 2.0 + AROUND_MM
    for radius in (0.0, 0.5 * clear, clear * (1.0 - 1e-9)):
        for angle in (k * math.pi / 8.0 for k in range(16)):
            x, y = radius * math.cos(angle), radius * math.sin(angle)
            slope_x, slope_y = x / box.eye_mm, y / box.eye_mm  # leaving the face, as seen from the eye's mirror image
            rise = (box.crossing_mm + x - box.face_mm) / (1.0 - slope_x)  # to the plate, z = crossing + x there
            at_plate = (x + slope_x * rise, y + slope_y * rise, box.face_mm + rise)
            assert plate.low_mm <= at_plate[2] <= plate.high_mm
            assert abs(at_plate[1]) <= plate.width_mm / 2.0 + 1e-9
            run = box.diffuser_at_mm - at_plate[0]
            assert abs(at_plate[2] + slope_x * run - box.crossing_mm) <= box.diffuser_mm / 2.0 + 1e-9
            assert abs(at_plate[1] + slope_y * run) <= box.diffuser_mm / 2.0 + 1e-9


def test_plate_and_room_for_the_hand():
    """The plate's slope is as long as it is said, and its lit low end stands a hand above the flats."""
    box = planned(stack="60mm")
    plate = box.plate
    slope = math.hypot(plate.high_mm - plate.low_mm, plate.high_at_mm + plate.low_at_mm)
    assert slope == pytest.approx(plate.length_mm, rel=1e-12)
    assert plate.high_mm - plate.low_mm == pytest.approx(plate.high_at_mm + plate.low_at_mm, rel=1e-12)  # 45 degrees
    assert plate.low_mm + GRIP_MM / math.sqrt(2.0) == pytest.approx(60.0 + HAND_MM, rel=1e-9)


def test_contrast_to_expect():
    """An LED of 630 nm, 20 nm wide, at 3 um leaves 0.7222 (LIGHT-6); faces and pupil take theirs, and the product is told."""
    contrast = planned(gap="3um").contrast
    assert contrast.lamp == pytest.approx(0.722240003, rel=3e-3)
    assert contrast.expected == pytest.approx(contrast.pair * contrast.lamp * contrast.pupil, rel=1e-12)
    assert 0.6 < contrast.pair < 2.0 / 3.0
    assert contrast.pupil > 0.999
    assert planned(coated=True).contrast.pair < contrast.pair


def test_the_doubts():
    """Each doubt comes when it should, and has its sentence."""
    assert planned(gap="3um").flags == ()
    assert planned(gap="5um").flags == ("gap-beyond-lamp",)
    assert "camera-too-near" in planned(gap="3um", camera="800mm").flags
    assert "camera-out-of-reach" in planned("600mm").flags
    assert planned(light="mercury-green").flags == ("mercury-lamp",)
    assert planned(light="helium-neon").flags == ("laser",)
    lines = "\n".join(box_lines(planned("600mm", light="mercury-green")))
    assert SENTENCES["mercury-lamp"] in lines
    assert SENTENCES["camera-out-of-reach"] in lines


def test_cautions_always_stand_there():
    """Extra-low voltage, foil and wet hands, ultraviolet and mercury, and that local codes go first, in text and JSON whatever the lamp."""
    box = planned()
    said = " ".join(box_facts(box)["cautions"])
    for word in ("extra-low voltage", "foil", "wet hands", "ultraviolet", "mercury", "local codes"):
        assert word in said
        assert word in " ".join(box_lines(box))


def test_a_camera_inside_its_own_box_is_refused():
    """A distance shorter than the box is high is refused with the least that fits."""
    with pytest.raises(BadInput) as refused:
        planned(camera="300mm")
    assert str(refused.value).startswith("the camera was to stand 300 mm from the faces, inside a box ")


@pytest.mark.parametrize(
    ("texts", "sentence"),
    [
        ({"largest": "200"}, "the largest piece was given as '200' without a unit; one of "),
        ({"largest": "5m"}, "the largest piece was given as '5m'; a length between 10 mm and 2000 mm is needed; check number and unit."),
        ({"gap": "2mm"}, "the gap was given as '2mm'; a length between 0.0001 mm and 1 mm is needed; check number and unit."),
        ({"index": "15"}, "the refractive index was given as '15'; a number from 1.3 to 2.2 is needed; write it like 1.518."),
    ],
)
def test_what_cannot_be_used_is_one_sentence(texts, sentence):
    """Bad measures are refused with what is needed."""
    with pytest.raises(BadInput) as refused:
        planned(**texts)
    assert str(refused.value).startswith(sentence)


@pytest.mark.parametrize("largest", ["20mm", "63mm", "200mm", "500mm", "1.9m"])
def test_the_drawing_fits_its_page_and_keeps_its_scale(largest):
    """Every stroke lies on the drawing, and the floor is as long as the scale says."""
    box = planned(largest)
    sheet = box_sheet(box)
    assert all(0.0 <= x <= 178.0 and 0.0 <= y <= 158.0 for stroke in sheet.strokes for x, y in stroke.points_mm)
    floor = sheet.strokes[0].points_mm
    scale = float(sheet.subtitle.split("1 : ")[1].split(";")[0])
    assert scale in SCALES
    assert (floor[3][0] - floor[2][0]) * scale == pytest.approx(box.inside_mm[0], rel=1e-9)


def test_the_drawing_is_a_pdf_and_the_same_each_time():
    """One PDF, the same bytes for the same box."""
    first = box_drawing(planned())
    assert first.startswith(b"%PDF")
    assert box_drawing(planned()) == first
