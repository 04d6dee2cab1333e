"""A plate sinking on its film of air.

Sources
-------
Two discs pressed together in a viscous fluid: J. Stefan, Sitzungsber. Akad. Wiss. Wien 69, 713-735 (1874); the law of force from memory, integrated here.
Viscosity of air at 15 C: 1.81e-5 Pa s, from memory.
"""

from __future__ import annotations

import math

AIR_PA_S = 1.81e-5


def settling_s(*, load_n: float, radius_mm: float, from_um: float, to_um: float) -> float:
    """Time in which a round plate sinks from one gap to a smaller one: 3 pi mu a^4 / (4 F) (1 / h2^2 - 1 / h1^2)."""
    gaps = 1.0 / (to_um * 1e-6) ** 2 - 1.0 / (from_um * 1e-6) ** 2
    return 3.0 * math.pi * AIR_PA_S * (radius_mm / 1000.0) ** 4 / (4.0 * load_n) * gaps
