"""How two plates move against each other: a turning spindle carries the lower, a hand or an arm strokes the upper.

The bench frame has its origin on the axis of the spindle, x along the stroke and y across it, seen from above; angles turn anticlockwise.
The lower plate's centre sits on that axis. The upper plate's centre goes to and fro along x as a sine, at `side_mm` across, and the plate turns
about it. A plate with its face up shows its own frame; one with its face down shows it mirrored, u pointing the other way.

Sources
-------
Velocity of a rigid body: elementary. With both plates turning alike the relative velocity is the same everywhere, which follows from it.
Even sampling of several phases at once: H. Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992), ch. 3 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput

RAD_S_PER_RPM = 2.0 * math.pi / 60.0
_GENERATOR = 1.2207440846057596  # real root of g^4 = g + 1: powers of 1/g step three phases evenly


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """How the plates are moved.

    Attributes
    ----------
    spindle_rpm
        Turns of the lower plate, anticlockwise positive.
    top_rpm
        Turns of the upper plate about its own centre, seen from the bench.
    stroke_mm
        Travel of the upper plate's centre from end to end.
    strokes_per_min
        To and fro counts as one.
    side_mm
        Distance of the line of the stroke from the spindle's axis.
    """

    spindle_rpm: float
    top_rpm: float
    stroke_mm: float
    strokes_per_min: float
    side_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no bench does."""
        numbers = (self.spindle_rpm, self.top_rpm, self.stroke_mm, self.strokes_per_min, self.side_mm)
        if not all(math.isfinite(number) for number in numbers) or self.stroke_mm < 0.0 or self.strokes_per_min < 0.0:
            raise BadInput(
                found=f"a stroke of {self.stroke_mm:g} mm at {self.strokes_per_min:g} per minute was asked for",
                needed="numbers of zero or more are needed",
                remedy="correct the stroke",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Poses:
    """Where the plates are at some moments, each as likely as another.

    Attributes
    ----------
    centre_x_mm, centre_y_mm
        (n,) centre of the upper plate.
    velocity_x_mm_s
        (n,) velocity of that centre along the stroke; it has none across.
    bottom_rad, top_rad
        (n,) how far each plate's frame is turned.
    bottom_rad_s, top_rad_s
        How fast they turn.
    """

    centre_x_mm: NDArray
    centre_y_mm: NDArray
    velocity_x_mm_s: NDArray
    bottom_rad: NDArray
    top_rad: NDArray
    bottom_rad_s: float
    top_rad_s: float


def poses_of(motion: Motion, *, count: int, first: int = 0, top_starts_rad: float = 0.0) -> Poses:
    """`count` moments spread evenly over all phases of stroke, spindle and upper plate; `first` goes on where an earlier call ended.

    The three phases are taken as independent, which holds over minutes unless their rates are in simple ratios. A plate that does not turn
    keeps its angle: 0 for the lower, `top_starts_rad` for the upper.
    """
    numbers = np.arange(first, first + count) + 0.5
    stroke, bottom, top = (2.0 * np.pi * ((numbers / _GENERATOR**power) % 1.0) for power in (1, 2, 3))
    half = motion.stroke_mm / 2.0
    still = np.zeros(count)
    return Poses(
        centre_x_mm=half * np.sin(stroke),
        centre_y_mm=np.full(count, motion.side_mm),
        velocity_x_mm_s=half * motion.strokes_per_min * RAD_S_PER_RPM * np.cos(stroke),
        bottom_rad=bottom if motion.spindle_rpm else still,
        top_rad=top_starts_rad + (top if motion.top_rpm else still),
        bottom_rad_s=motion.spindle_rpm * RAD_S_PER_RPM,
        top_rad_s=motion.top_rpm * RAD_S_PER_RPM,
    )


def relative_speed_mm_s(poses: Poses, *, x_mm: NDArray, y_mm: NDArray) -> NDArray:
    """Speed of one face over the other at points of the bench: `x_mm`, `y_mm` (n, points) or broadcastable to that."""
    x_arm, y_arm = x_mm - poses.centre_x_mm[:, None], y_mm - poses.centre_y_mm[:, None]
    along = poses.velocity_x_mm_s[:, None] - poses.top_rad_s * y_arm + poses.bottom_rad_s * y_mm
    across = poses.top_rad_s * x_arm - poses.bottom_rad_s * x_mm
    return np.hypot(along, across)


def to_bottom(poses: Poses, *, x_mm: NDArray, y_mm: NDArray) -> tuple[NDArray, NDArray]:
    """Points of the bench in the lower plate's own frame, u and v: it lies face up."""
    cos, sin = np.cos(poses.bottom_rad)[:, None], np.sin(poses.bottom_rad)[:, None]
    return cos * x_mm + sin * y_mm, cos * y_mm - sin * x_mm


def from_bottom(poses: Poses, *, u_mm: NDArray, v_mm: NDArray) -> tuple[NDArray, NDArray]:
    """Points of the lower plate's own frame on the bench."""
    cos, sin = np.cos(poses.bottom_rad)[:, None], np.sin(poses.bottom_rad)[:, None]
    return cos * u_mm - sin * v_mm, sin * u_mm + cos * v_mm


def to_top(poses: Poses, *, x_mm: NDArray, y_mm: NDArray) -> tuple[NDArray, NDArray]:
    """Points of the bench in the upper plate's own frame, which looks mirrored from above: it lies face down."""
    cos, sin = np.cos(poses.top_rad)[:, None], np.sin(poses.top_rad)[:, None]
    x_arm, y_arm = x_mm - poses.centre_x_mm[:, None], y_mm - poses.centre_y_mm[:, None]
    return -(cos * x_arm + sin * y_arm), cos * y_arm - sin * x_arm


def from_top(poses: Poses, *, u_mm: NDArray, v_mm: NDArray) -> tuple[NDArray, NDArray]:
    """Points of the upper plate's own frame on the bench."""
    cos, sin = np.cos(poses.top_rad)[:, None], np.sin(poses.top_rad)[:, None]
    x_mm = poses.centre_x_mm[:, None] - cos * u_mm - sin * v_mm
    return x_mm, poses.centre_y_mm[:, None] - sin * u_mm + cos * v_mm
