"""How much of a back is clear over minutes of polishing, with the forecast, as a drawing for the screen."""

from __future__ import annotations

import math
from collections.abc import Sequence

from straightband.plots.sketch import area, dot, line, svg, word
from straightband.plots.style import round_step

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BELOW = 420.0, 260.0, 62.0, 18.0, 44.0, 44.0


def clearing_sketch(looks: Sequence[tuple[float, float, float]], *, clear_at: tuple[float, float, float] | None, words: str) -> str:
    """(minutes, clear share, uncertainty) each; `clear_at` are low, middle and high minutes at which all will be clear, or None."""
    last = max([looks[-1][0], *(clear_at or ())])
    step = round_step(max(last, 1.0), most=5)
    far = step * math.ceil(max(last, 1.0) / step - 1e-9)

    def placed(minutes: float, share: float) -> tuple[float, float]:
        return LEFT + minutes / far * (WIDTH - LEFT - RIGHT), HEIGHT - BELOW - share * (HEIGHT - BELOW - TOP)

    parts = [word("% clear", (4.0, 20.0))]
    for percent in (0, 25, 50, 75, 100):
        _, y = placed(0.0, percent / 100.0)
        parts.append(line([(LEFT, y), (WIDTH - RIGHT, y)], look="axis" if percent == 0 else "pale"))
        parts.append(word(f"{percent}", (LEFT - 8.0, y + 5.0), anchor="end"))
    ticks = [k * step for k in range(round(far / step) + 1)]
    parts += [word(f"{tick:g}", (placed(tick, 0.0)[0], HEIGHT - BELOW + 18.0), anchor="middle") for tick in ticks]
    parts.append(word("minutes since the first photograph", (LEFT + 0.5 * (WIDTH - LEFT - RIGHT), HEIGHT - 4.0), anchor="middle"))
    if clear_at is not None:
        low, middle, high = clear_at
        parts.append(area([placed(low, 0.0), placed(low, 1.0), placed(high, 1.0), placed(high, 0.0)], look="glass pale"))
        parts.append(line([placed(middle, 0.0), placed(middle, 1.0)], look="accent dashed"))
        parts.append(
            word("clear", (placed(middle, 1.0)[0], TOP - 8.0), anchor="end" if middle > 0.7 * far else "middle", look="accent-word")
        )
    parts.append(line([placed(minutes, share) for minutes, share, _ in looks], look="ink"))
    for minutes, share, doubt in looks:
        ends = placed(minutes, min(share + doubt, 1.0)), placed(minutes, max(share - doubt, 0.0))
        parts += [line(ends, look="ink"), dot(placed(minutes, share), radius=5.0, look="dot")]
    return svg(parts, box=(0.0, 0.0, WIDTH, HEIGHT), words=words, kind="sketch trend")
