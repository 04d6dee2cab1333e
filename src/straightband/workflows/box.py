"""The test box: camera above, a clear plate at 45 degrees that sends the lamp's light down, the flats on the board.

Seen from the face the camera stands at L; light that reaches it left the face toward the camera's mirror image, so the beam that lamp and plate must
fill widens upward as r (1 + z / L). Heights are from the board the flats lie on, sideways places from the axis of the camera, toward the lamp.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from straightband.errors import BadInput
from straightband.light.bands import camera_for_false_sag_mm, false_sag_nm, height_per_band_nm
from straightband.light.contrast import lamp_contrast, lamp_gap_um, pair_contrast, pupil_contrast, reflectance
from straightband.light.lines import Lamp
from straightband.light.splitter import ghost_mm, plate_ends_mm, shift_mm

GAP_UM = 5.0  # of two clean flats with a wedge of a few bands: common practice, no source
ERROR_NM = 10.0  # false power allowed; our choice, a twenty-seventh of a band
SPLITTER_MM = 3.0  # window glass; common practice, no source
INDEX = 1.518  # soda-lime glass
ALUMINIUM = 0.88  # reflectance of a fresh coating: common practice, no source
STACK_SHARE = 1.0 / 3.0  # of the largest piece: two plates of a sixth each; common practice, no source
HAND_MM = 80.0  # room for a hand above the flats: our choice
AROUND_MM = 10.0  # that a piece may lie off the middle: our choice
GRIP_MM = 8.0  # by which the slot holds the plate at either end
SLACK_MM = 0.5  # by which the slot is wider than the plate is thick
WALL_MM = 20.0  # clear of the light on every side
LAMP_MM = 100.0  # behind the diffuser
PUPIL_MM = 5.0  # of an eye in a dim room, larger than a telephone's lens: from memory
NEAREST = 3.0  # largest pieces: nearer, and the plate becomes larger than the box
NEAREST_MM = 400.0  # above the lid of the smallest box
GOOD_CONTRAST, LAST_CONTRAST = 0.5, 0.1
FAR_MM = 3000.0  # beyond the arm that presses the shutter


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxRequest:
    """What the box is for.

    Attributes
    ----------
    largest_mm
        Longest extent of the largest piece or flat.
    lamp
        The light.
    gap_um
        Air between the flats in the test.
    error_nm
        False power allowed from the nearness of the camera.
    splitter_mm, index
        Thickness and refractive index of the plate at 45 degrees.
    stack_mm
        Height of the two flats together.
    coated
        Whether the face tested has its aluminium already.
    camera_mm
        Distance of the camera, or None for the least that will do.
    """

    largest_mm: float
    lamp: Lamp
    gap_um: float = GAP_UM
    error_nm: float = ERROR_NM
    splitter_mm: float = SPLITTER_MM
    index: float = INDEX
    stack_mm: float | None = None
    coated: bool = False
    camera_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """The plate at 45 degrees and its slot.

    Attributes
    ----------
    length_mm, width_mm
        Of the plate: along the slope, across; grip included.
    low_mm, high_mm
        Heights of its ends above the board.
    low_at_mm, high_at_mm
        How far its ends stand off the axis; the high end on the lamp's side.
    slot_mm
        Width of the slot.
    shift_mm, ghost_mm
        Sideways shift of the light that passes, and distance of the second image.
    """

    length_mm: float
    width_mm: float
    low_mm: float
    high_mm: float
    low_at_mm: float
    high_at_mm: float
    slot_mm: float
    shift_mm: float
    ghost_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """What bands can be expected to show, each factor and their product."""

    pair: float
    lamp: float
    pupil: float

    @property
    def expected(self) -> float:
        """Product of the factors, which are independent."""
        return self.pair * self.lamp * self.pupil


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """The box.

    Attributes
    ----------
    request
        What it is for.
    eye_mm, eye_above_board_mm
        Distance of the camera from the faces, and its height.
    face_mm, stack_mm
        Heights of the faces in contact and of the top of the flats.
    crossing_mm
        Height at which the plate crosses the axis; the lamp's middle as well.
    plate
        At 45 degrees.
    diffuser_mm, diffuser_at_mm
        Side of the square diffuser, and how far from the axis it stands.
    hole_mm
        Diameter of the hole in the lid.
    inside_mm
        Length toward the lamp, width, height.
    axis_at_mm
        The axis from the wall opposite the lamp.
    false_power_nm
        That the camera's nearness makes at the assumed gap.
    gap_good_um, gap_last_um
        Gaps to which the lamp leaves half and a tenth of the contrast.
    contrast
        To expect at the gap.
    flags
        Short names of doubts.
    """

    request: BoxRequest
    eye_mm: float
    eye_above_board_mm: float
    face_mm: float
    stack_mm: float
    crossing_mm: float
    plate: Plate
    diffuser_mm: float
    diffuser_at_mm: float
    hole_mm: float
    inside_mm: tuple[float, float, float]
    axis_at_mm: float
    false_power_nm: float
    gap_good_um: float
    gap_last_um: float
    contrast: Contrast
    flags: tuple[str, ...]


def plan_box(request: BoxRequest) -> Box:
    """The box for the largest piece; raises BadInput where the camera cannot stand so near."""
    radius = request.largest_mm / 2.0
    least = camera_for_false_sag_mm(sag_nm=request.error_nm, gap_um=request.gap_um, radius_mm=radius)
    eye = max(least, NEAREST * request.largest_mm, NEAREST_MM) if request.camera_mm is None else request.camera_mm
    stack = STACK_SHARE * request.largest_mm if request.stack_mm is None else request.stack_mm
    beam = radius + AROUND_MM
    slope = beam / eye
    # The low end of the plate stands a hand above the flats; the beam there is what it is at the crossing less what it gained.
    crossing = (1.0 + slope) * (stack / 2.0 + HAND_MM) + beam
    plate = _plate(request, crossing_mm=crossing, beam_mm=beam * (1.0 + crossing / eye), slope=slope, face_mm=stack / 2.0)
    diffuser_at = plate.high_at_mm + WALL_MM
    diffuser = 2.0 * beam * (1.0 + (crossing + diffuser_at) / eye)
    height = plate.high_mm + WALL_MM
    if eye + stack / 2.0 <= height:
        raise BadInput(
            found=f"the camera was to stand {eye:.0f} mm from the faces, inside a box {height:.0f} mm high",
            needed=f"more than {height - stack / 2.0:.0f} mm is needed",
            remedy="give a longer --camera, or leave it out",
        )
    return Box(
        request=request,
        eye_mm=eye,
        eye_above_board_mm=eye + stack / 2.0,
        face_mm=stack / 2.0,
        stack_mm=stack,
        crossing_mm=crossing + stack / 2.0,
        plate=plate,
        diffuser_mm=diffuser,
        diffuser_at_mm=diffuser_at,
        hole_mm=2.0 * (beam * (1.0 - (height - stack / 2.0) / eye) + WALL_MM / 4.0),
        inside_mm=(plate.low_at_mm + WALL_MM + diffuser_at + LAMP_MM, max(diffuser, plate.width_mm) + WALL_MM, height),
        axis_at_mm=plate.low_at_mm + WALL_MM,
        false_power_nm=false_sag_nm(gap_um=request.gap_um, radius_mm=radius, camera_mm=eye),
        gap_good_um=lamp_gap_um(request.lamp, contrast=GOOD_CONTRAST),
        gap_last_um=lamp_gap_um(request.lamp, contrast=LAST_CONTRAST),
        contrast=_contrast(request, eye_mm=eye),
        flags=_flags(request, eye_mm=eye, least_mm=least),
    )


def _plate(request: BoxRequest, *, crossing_mm: float, beam_mm: float, slope: float, face_mm: float) -> Plate:
    low, high = plate_ends_mm(radius_mm=beam_mm, slope=slope)
    grip = GRIP_MM / math.sqrt(2.0)
    return Plate(
        length_mm=math.sqrt(2.0) * (low + high) + 2.0 * GRIP_MM,
        width_mm=2.0 * high,
        low_mm=face_mm + crossing_mm - low - grip,
        high_mm=face_mm + crossing_mm + high + grip,
        low_at_mm=low + grip,
        high_at_mm=high + grip,
        slot_mm=request.splitter_mm + SLACK_MM,
        shift_mm=shift_mm(thickness_mm=request.splitter_mm, index=request.index),
        ghost_mm=ghost_mm(thickness_mm=request.splitter_mm, index=request.index),
    )


def _contrast(request: BoxRequest, *, eye_mm: float) -> Contrast:
    bare = reflectance(request.index)
    test = ALUMINIUM if request.coated else bare
    return Contrast(
        # the outer face of the upper plate sends back as much again, without bands
        pair=pair_contrast(reference=bare, test=test, stray=bare),
        lamp=lamp_contrast(request.lamp, gap_um=request.gap_um),
        pupil=pupil_contrast(gap_um=request.gap_um, half_angle_rad=PUPIL_MM / (2.0 * eye_mm), wavelength_nm=request.lamp.wavelength_nm),
    )


def _flags(request: BoxRequest, *, eye_mm: float, least_mm: float) -> tuple[str, ...]:
    raised = {
        "gap-beyond-lamp": request.gap_um > lamp_gap_um(request.lamp, contrast=GOOD_CONTRAST),
        "camera-too-near": eye_mm < least_mm * (1.0 - 1e-9),
        "camera-out-of-reach": eye_mm > FAR_MM,
        "mercury-lamp": request.lamp.name.startswith("mercury"),
        "laser": request.lamp.name == "helium-neon",
    }
    return tuple(name for name, is_so in raised.items() if is_so)


def bands_to(gap_um: float, *, lamp: Lamp) -> float:
    """How many bands lie between contact and a gap."""
    return 1000.0 * gap_um / height_per_band_nm(wavelength_nm=lamp.wavelength_nm)
