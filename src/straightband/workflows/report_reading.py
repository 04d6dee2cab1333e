"""A reading in names for programs and in sentences for people."""

from __future__ import annotations

from typing import Any

from straightband.light.bands import height_per_band_nm
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.flags import explain
from straightband.workflows.read import Reading

LABELS = {
    "pv_nm": "PV",
    "rms_nm": "RMS",
    "power_nm": "power",
    "astigmatism_nm": "astigmatism",
    "irregularity_pv_nm": "irregularity PV",
    "irregularity_rms_nm": "irregularity RMS",
    "edge_nm": "edge",
}
SUPPORTS = {"rim": "its rim", "three-inside": "three points inside", "three-at-rim": "three points at its rim"}
SIGNED = ("power_nm", "edge_nm")


def reading_facts(reading: Reading) -> dict[str, Any]:
    """The reading under the names of the contract, as plain JSON values."""
    figures, outline, height_map = reading.figures, reading.outline, reading.height_map
    return {
        "surface": {name: getattr(figures, name) for name in (*LABELS, "astigmatism_axis_deg", "edge_zone_mm")},
        "uncertainty": {name: reading.budget.expanded_nm[name] for name in LABELS},
        "bands_across": reading.bands_across,
        "outline_px": {
            "cx": outline.cx,
            "cy": outline.cy,
            "semi_major": outline.semi_major,
            "semi_minor": outline.semi_minor,
            "angle_deg": outline.angle_deg,
            "standard_px": outline.standard_px,
        },
        "sign": reading.sign,
        "flags": list(reading.flags),
        "budget": [
            {"term": effect.name, "nm": effect.expanded_nm["pv_nm"], "by_figure": effect.expanded_nm, "origin": effect.origin}
            for effect in reading.budget.effects
        ],
        "contrast": reading.contrast,
        "explained": reading.explained,
        "clear_margin": height_map.clear_margin,
        "light_nm": height_map.meta["light_nm"],
        "mirrored": height_map.meta["mirrored"],
        "photographs": height_map.meta["photographs"],
        "program": height_map.meta["program"],
        **{name: height_map.meta[name] for name in ("lens", "frames") if name in height_map.meta},
        **({"rest": height_map.meta["rest"]} if "rest" in height_map.meta else {}),
    }


def reading_lines(reading: Reading) -> tuple[str, ...]:
    """The reading as a person at the bench wants it."""
    band_nm = height_per_band_nm(wavelength_nm=reading.height_map.meta["light_nm"])
    figures = reading.figures
    numbers = [_line(name, getattr(figures, name), reading, band_nm=band_nm) for name in LABELS]
    return (
        f"{reading.bands_across:.1f} bands across, contrast {100 * reading.contrast:.0f} %",
        f"Surface over the clear aperture (face less {100 * reading.height_map.clear_margin:.2g} % of each semi-axis), tilt removed, 95 %:",
        *numbers,
        _axis_line(reading),
        _sign_sentence(reading),
        *_lens_lines(reading.height_map.meta.get("lens")),
        *_frame_lines(reading.height_map.meta.get("frames")),
        *_rest_lines(reading.height_map.meta.get("rest")),
        *(f"Note: {explain(flag)}" for flag in reading.flags if flag != "sign-unknown"),
    )


def _lens_lines(lens: dict[str, float] | None) -> tuple[str, ...]:
    """What several photographs tell of the lens."""
    if lens is None:
        return ()
    told = round_with_uncertainty(lens["distortion_percent"], lens["uncertainty_percent"], unit="%")
    return (f"The photographs tell a lens distortion of {told} at the corner of the frame (barrel positive); it was taken off.",)


def _frame_lines(frames: dict[str, int] | None) -> tuple[str, ...]:
    """How many frames of a stack stand behind the map."""
    return () if frames is None else (f"Mean of {frames['averaged']} of {frames['read']} frames.",)


def _rest_lines(rest: dict[str, Any] | None) -> tuple[str, ...]:
    """What weight and heat do, and how long to wait."""
    if rest is None:
        return ()
    weight = f"Its weight bends it by {rest['weight_pv_nm']:.2g} nm on {SUPPORTS[rest['support']]}"
    settling = f"laid down, it sinks for {_time(rest['settling_s'])} onto the dust that carries it."
    wait = f"After a hand on the glass wait {_time(rest['wait_s'])}: then heat bends it by less than {rest['wait_limit_nm']:g} nm"
    if rest["handled_s"] is None:
        return (f"{weight}; {settling}", f"{wait}.")
    left = max(0.0, rest["wait_s"] - rest["handled_s"])
    still = f"{_time(left)} more" if left else "that time has passed"
    return (f"{weight}; {settling}", f"{wait}; {still}; now up to {rest['heat_nm']:.2g} nm.")


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100.0 else f"{seconds / 60.0:.0f} min" if seconds < 6000.0 else f"{seconds / 3600.0:.1f} h"


def _line(name: str, value: float, reading: Reading, *, band_nm: float) -> str:
    shown = abs(value) if name in SIGNED and reading.sign == "unknown" else value
    number = round_with_uncertainty(shown, reading.budget.expanded_nm[name], unit="nm")
    return f"  {LABELS[name]:<17} {number:>18}   ({abs(value) / band_nm:.3f} bands)"


def _axis_line(reading: Reading) -> str:
    """Which way the rim stands highest, as far as size and sign allow it to be said: holes stand highest where hills stand lowest."""
    axis = reading.figures.astigmatism_axis_deg
    if not reading.figures.astigmatism_nm > reading.budget.expanded_nm["astigmatism_nm"]:
        return "  astigmatism is no more than its uncertainty"
    if reading.sign == "known":
        return f"  astigmatism stands highest along {axis:.0f} deg from +u toward +v"
    return f"  astigmatism stands highest along {axis:.0f} or {(axis + 90.0) % 180.0:.0f} deg from +u toward +v: not known which"


def _sign_sentence(reading: Reading) -> str:
    if reading.sign == "unknown":
        return "Hill or hole: not known (say where the gap is thicker with --thicker)."
    word = "convex, a hill" if reading.figures.power_nm > 0 else "concave, a hollow"
    unsure = abs(reading.figures.power_nm) < reading.budget.expanded_nm["power_nm"]
    return "Power is smaller than its uncertainty." if unsure else f"The face is {word}."
