"""Two real photographs of rings, shipped with the program with their licence, read unaided.

They show the same lens on the same flat, so what is read from one must agree with what is read from the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from importlib import resources

from straightband.light.bands import height_per_band_nm
from straightband.workflows.read import Reading, read_photo
from straightband.workflows.setup import setup_from_text

FOLDER = "demo_data"
NAMES = ("newton_rings_raw_01.jpg", "newton_rings_raw_02.jpg")
PAPERS = {"LICENSE.MIT.txt": "licence of the real photographs", "README.md": "where the real photographs come from"}
LABEL_RADIUS_M = 1.0  # what the lens is sold as; tolerance not stated
# There is no scale in the picture. Any size gives the same bands; this one is the field's if the label is right.
FIELD_DIAMETER = "4.4mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rings:
    """One of the photographs.

    Attributes
    ----------
    name, data
        The file.
    reading
        What its bands say.
    """

    name: str
    data: bytes
    reading: Reading

    @property
    def bands(self) -> float:
        """Bands of the least-squares sphere from the middle to the rim of the clear aperture."""
        return self.reading.figures.power_nm / self._band_nm

    @property
    def bands_uncertainty(self) -> float:
        """Expanded uncertainty (95 %) of `bands`."""
        return self.reading.budget.expanded_nm["power_nm"] / self._band_nm

    @property
    def field_radius_mm(self) -> float:
        """Radius of the clear aperture if the lens is as its label says: r = sqrt(N lambda R), derived from the sag r^2 / (2 R)."""
        return math.sqrt(self.bands * 2e-9 * self._band_nm * LABEL_RADIUS_M) * 1e3

    @property
    def _band_nm(self) -> float:
        return height_per_band_nm(wavelength_nm=self.reading.height_map.meta["light_nm"])


def read_rings() -> tuple[Rings, ...]:
    """Both photographs, read by themselves; the gap is thicker at the rim, since the lens touches the flat near its middle."""
    setup = setup_from_text(light="sodium", shape="round", diameter=FIELD_DIAMETER, thicker="out")
    found = []
    for name in NAMES:
        data = shipped(name)
        found.append(Rings(name=name, data=data, reading=read_photo(data, name=name, setup=setup)))
    return tuple(found)


def shipped(name: str) -> bytes:
    """The bytes of a file that comes with the program."""
    return (resources.files("straightband") / FOLDER / name).read_bytes()
