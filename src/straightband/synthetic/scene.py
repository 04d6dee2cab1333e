"""Everything that decides what a photograph of bands looks like, as plain numbers.

Light is counted in units of the mean light the face sends back where it is lit fully; `Sensor.exposure` says what share of full scale that is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

from straightband.face.shapes import Face
from straightband.synthetic.surfaces import Surface


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Where the camera stands and what it does to the picture.

    Attributes
    ----------
    width_px, height_px
        Size of the upright photograph.
    scale_px_per_mm
        Pixels per millimetre at the centre of the face, before the tilt foreshortens it.
    centre_x_px, centre_y_px
        Where the centre of the face falls, before lens distortion; the centre of the first pixel is (0, 0), y runs down.
    rotation_deg
        Turns the face counter-clockwise in the picture; at 0, +v is up.
    tilt_deg
        Angle between the line of sight to the centre and the normal of the face.
    tilt_azimuth_deg
        Toward which side of the picture the camera has moved off the normal, counter-clockwise from the right.
    camera_distance_mm
        From the centre of the face; infinite for parallel rays.
    mirrored
        Number of left-right reversals (through the back, by a beam splitter); odd shows +u on the left.
    distortion_percent
        Barrel distortion at the corner of the frame: a point seen at radius r belongs at r (1 + share (r / corner)^2).
    blur_px
        Standard deviation of the blur of lens, focus and hand.
    halo, halo_px
        Share of the light that lens and dust on it scatter widely, and how widely (standard deviation).
    """

    width_px: int = 1600
    height_px: int = 1200
    scale_px_per_mm: float = 8.0
    centre_x_px: float = 799.5
    centre_y_px: float = 599.5
    rotation_deg: float = 0.0
    tilt_deg: float = 0.0
    tilt_azimuth_deg: float = 0.0
    camera_distance_mm: float = math.inf
    mirrored: int = 0
    distortion_percent: float = 0.0
    blur_px: float = 0.0
    halo: float = 0.0
    halo_px: float = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BandLight:
    """The light that makes the bands.

    Attributes
    ----------
    wavelength_nm, fwhm_nm
        Mean and full width at half maximum of the lamp's line.
    contrast
        Of the bands at contact, 0 to 1, before the lamp's width takes its part.
    second_harmonic
        Share of cos(2 phase) that the beams reflected three times add: the reflectance of one surface, 0.042 at most for bare glass.
    """

    wavelength_nm: float = 546.074
    fwhm_nm: float = 0.1
    contrast: float = 0.7
    second_harmonic: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferencePlate:
    """A larger round flat that the piece lies on, seen around it.

    Attributes
    ----------
    radius_mm
        Its radius; `u_mm`, `v_mm` its centre in the frame of the face.
    level
        Light it sends back beside the piece.
    rim_width_mm, rim_level
        Its own bevel along the rim.
    """

    radius_mm: float
    u_mm: float = 0.0
    v_mm: float = 0.0
    level: float = 0.4
    rim_width_mm: float = 1.5
    rim_level: float = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Surround:
    """What is seen beside the bands.

    Attributes
    ----------
    level
        Light of the table; below 0.15 is a dark surround, 0.3 to 0.7 mid-grey.
    mottle
        Relative unevenness of the table, standard deviation, in patches of about a twentieth of the frame.
    bevel_width_mm, bevel_level
        Bevel of the piece, inside its outline; may be brighter than the face.
    bevel_unevenness
        How much of its light the bevel gains toward one side of the picture and loses toward the other.
    plate
        The larger flat around the piece, if it is seen.
    shadow_level, shadow_px
        Light left right beside the outline, and how far the shadow of the piece reaches; a level of 1 is no shadow.
    """

    level: float = 0.05
    mottle: float = 0.0
    bevel_width_mm: float = 0.0
    bevel_level: float = 0.6
    bevel_unevenness: float = 0.0
    plate: ReferencePlate | None = None
    shadow_level: float = 1.0
    shadow_px: float = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lighting:
    """How evenly the lamp lights the scene; positions are in half frame widths from the middle of the picture, y up.

    Attributes
    ----------
    slope_x, slope_y
        Relative gain of light per half frame width.
    bulge
        Relative loss of light at half a frame width from the middle.
    spot, spot_x, spot_y, spot_radius
        A brighter patch (negative: darker): its relative gain, place and 1/e radius.
    vignetting
        Relative loss of light at the corner of the frame.
    """

    slope_x: float = 0.0
    slope_y: float = 0.0
    bulge: float = 0.0
    spot: float = 0.0
    spot_x: float = 0.0
    spot_y: float = 0.0
    spot_radius: float = 0.4
    vignetting: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Glare:
    """Light of the lamp thrown back by the outer face of the glass, added to everything.

    Attributes
    ----------
    u_mm, v_mm
        Its middle in the frame of the face.
    level
        Light it adds at its middle; above 1 / exposure it saturates.
    radius_mm
        1/e radius across.
    stretch
        Length over width; large for a streak.
    angle_deg
        Direction of the length, from +u toward +v.
    """

    u_mm: float
    v_mm: float
    level: float
    radius_mm: float
    stretch: float = 1.0
    angle_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Frost:
    """Part of the back still grey: beyond a straight border the bands lose contrast and a veil lies over them.

    Attributes
    ----------
    border_mm
        Distance of the border from the centre of the face, measured along `angle_deg`; negative passes beyond the centre.
    angle_deg
        Direction, from +u toward +v, in which the frosted part lies.
    softness_mm
        Half width over which clear turns into frosted; 0 is sharp.
    contrast_left
        Factor on the contrast.
    veil
        Light the frosted back adds.
    """

    border_mm: float
    angle_deg: float = 0.0
    softness_mm: float = 0.0
    contrast_left: float = 0.3
    veil: float = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Blemishes:
    """What lies on the bands.

    Attributes
    ----------
    glares
        Glare spots and streaks.
    ghost_level, ghost_u_mm, ghost_v_mm
        Light and displacement of a second, faint image of the outline by reflection in the plates.
    frost
        The part of the back that is not clear, if any.
    dark_specks, bright_specks
        How many specks of dust over the frame, drawn at random.
    speck_px
        Median radius of a speck; sizes scatter by a factor of two.
    scratches
        How many fine bright scratches on the face.
    """

    glares: tuple[Glare, ...] = ()
    ghost_level: float = 0.0
    ghost_u_mm: float = 1.0
    ghost_v_mm: float = 1.0
    frost: Frost | None = None
    dark_specks: int = 0
    bright_specks: int = 0
    speck_px: float = 1.5
    scratches: int = 0


class Subsampling(StrEnum):
    """How a JPEG keeps colour: at full resolution, halved across, or halved both ways."""

    FULL = "4:4:4"
    ACROSS = "4:2:2"
    BOTH = "4:2:0"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """What camera and file do to the light.

    Attributes
    ----------
    exposure
        Share of full scale that unit light fills in the strongest channel.
    read_noise
        Standard deviation, share of full scale, of the noise that is there without light.
    full_well
        Electrons at full scale, which set the shot noise.
    grain_px
        Standard deviation of the blur the camera's own noise reduction lays on the noise; 0 is white noise.
    ambient
        White stray light over the whole frame, share of full scale.
    tone_exponent
        Linear light is raised to this power before the sRGB curve; 1 is a camera that keeps to sRGB.
    jpeg_quality, subsampling
        Of the JPEG written.
    orientation
        EXIF orientation 1 to 8 the stored pixels are turned for.
    """

    exposure: float = 0.4
    read_noise: float = 0.002
    full_well: float = 10_000.0
    grain_px: float = 0.0
    ambient: float = 0.0
    tone_exponent: float = 1.0
    jpeg_quality: int = 92
    subsampling: Subsampling = Subsampling.BOTH
    orientation: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A piece in the test, with everything that the photograph will show.

    Attributes
    ----------
    surface
        The face and its true heights.
    bands_u, bands_v
        Wedge: bands over the full extent along u and along v; positive opens the gap toward +u, +v.
    gap_nm
        Gap at the centre over a surface of height 0.
    reference
        Figure of the flat tested against, as it adds to the heights; None is a perfect flat.
    """

    surface: Surface
    bands_u: float = 0.0
    bands_v: float = 6.0
    gap_nm: float = 2500.0
    reference: Surface | None = None
    light: BandLight = field(default_factory=BandLight)
    view: View = field(default_factory=View)
    surround: Surround = field(default_factory=Surround)
    lighting: Lighting = field(default_factory=Lighting)
    blemishes: Blemishes = field(default_factory=Blemishes)
    sensor: Sensor = field(default_factory=Sensor)

    @property
    def face(self) -> Face:
        """The face photographed."""
        return self.surface.face
