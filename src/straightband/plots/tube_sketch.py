"""The tube with its cone of light and its diagonal, to scale, as a drawing for the screen that is quick enough to follow what is typed."""

from __future__ import annotations

import math

import numpy as np

from straightband.plots.sketch import area, line, svg, word
from straightband.plots.style import round_step
from straightband.plots.tube import TubeScene, glass_outline, light_path
from straightband.quantities import MM_PER_UNIT

WIDTH = 1000.0
_ROOM = 0.03


def tube_sketch(scene: TubeScene) -> str:
    """The whole tube; the primary at the left, the focuser at the top."""
    telescope = scene.telescope
    half, crossing = scene.tube_mm / 2.0, telescope.focal_length_mm - telescope.intercept_mm
    left, right = -0.16 * telescope.aperture_mm, crossing + 1.3 * max(scene.minor_mm, scene.field_mm, 0.3 * scene.tube_mm)
    top, low = max(half, telescope.intercept_mm), -1.3 * half
    scale = WIDTH * (1.0 - 2.0 * _ROOM) / (right - left)

    def placed(points: object) -> list[tuple[float, float]]:
        return [(_ROOM * WIDTH + (z - left) * scale, 20.0 + (top - y) * scale) for z, y in np.asarray(points, dtype=float)]

    hole = max(0.75 * scene.field_mm, 0.06 * scene.tube_mm)
    parts = [line(placed([(left, -half), (right, -half)]), look="ink thick")]
    parts += [line(placed([(a, half), (b, half)]), look="ink thick") for a, b in ((left, crossing - hole), (crossing + hole, right))]
    if telescope.intercept_mm > half:
        parts += [line(placed([(crossing + side, half), (crossing + side, telescope.intercept_mm)]), look="ink") for side in (-hole, hole)]
    parts += [line(placed([(left, 0.0), (right, 0.0)]), look="pale dashed"), area(placed(_primary(scene)), look="glass ink")]
    for side in (-1.0, 1.0):
        stop = side * telescope.aperture_mm / 2.0
        parts.append(line(placed([(right, stop), (0.0, stop)]), look="accent thin"))
        parts.append(line(placed(light_path(scene, stop_mm=stop, field_mm=side * scene.field_mm / 2.0)), look="ink dashed"))
        parts.append(line(placed(light_path(scene, stop_mm=stop, field_mm=0.0)), look="accent"))
    corners = glass_outline(scene)
    parts += [area(placed(corners), look="glass ink"), line(placed(corners[:2]), look="ink thick")]
    parts += _bar(scene, scale=scale, place=placed([(left, low)])[0])
    return svg(parts, box=(0.0, 0.0, WIDTH, 40.0 + (top - low) * scale), words=_words(scene), kind="sketch tube")


def _primary(scene: TubeScene) -> list[tuple[float, float]]:
    telescope = scene.telescope
    y = np.linspace(-telescope.aperture_mm / 2.0, telescope.aperture_mm / 2.0, 40)
    rise = (y**2 - y[0] ** 2) / (4.0 * telescope.focal_length_mm)
    behind = float(rise.min()) - telescope.aperture_mm / 12.0
    return [*zip(rise, y, strict=True), (behind, float(y[-1])), (behind, float(y[0]))]


def _bar(scene: TubeScene, *, scale: float, place: tuple[float, float]) -> list[str]:
    unit = MM_PER_UNIT[scene.units]
    length = round_step(WIDTH / scale / unit, most=8)
    x, y = place
    return [
        line([(x, y), (x + length * unit * scale, y)], look="ink thick"),
        word(f"{length:g} {scene.units}", (x + length * unit * scale + 12.0, y + 8.0)),
    ]


def _words(scene: TubeScene) -> str:
    telescope = scene.telescope
    return (
        f"Cut through a tube with a primary of {telescope.aperture_mm:.4g} mm at f/{telescope.focal_length_mm / telescope.aperture_mm:.3g} "
        f"and a diagonal of {scene.minor_mm:.4g} by {math.sqrt(2.0) * scene.minor_mm:.4g} mm, {telescope.intercept_mm:.4g} mm before the focus."
    )
