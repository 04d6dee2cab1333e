"""How the face lies before the worker: from the face's own u and v to right and up before the eye."""

from __future__ import annotations

import math
from dataclasses import dataclass

from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """How a face is looked at.

    Attributes
    ----------
    mirrored
        Whether it is seen through its back, which reverses left and right.
    mark_hour
        Clock hour at which the pencil mark, the +v end, lies.
    """

    mirrored: bool = False
    mark_hour: float = 12.0


def before_the_eye(view: View, *, u_mm: NDArray, v_mm: NDArray) -> tuple[NDArray, NDArray]:
    """Right and up, in mm, of places of the face.

    Example
    -------
    >>> import numpy as np
    >>> x, y = before_the_eye(View(mirrored=True, mark_hour=3.0), u_mm=np.array([0.0, 1.0]), v_mm=np.array([1.0, 0.0]))
    >>> x.round(9).tolist(), y.round(9).tolist()
    ([1.0, -0.0], [0.0, 1.0])
    """
    turn = math.radians(30.0 * view.mark_hour)  # clockwise from 12
    right = -u_mm if view.mirrored else u_mm
    return right * math.cos(turn) + v_mm * math.sin(turn), v_mm * math.cos(turn) - right * math.sin(turn)


def in_words(view: View) -> str:
    """The same in a sentence."""
    side = "through its back, left and right reversed" if view.mirrored else "looking at it"
    return f"As seen {side}, with the mark at {view.mark_hour:g} o'clock"
