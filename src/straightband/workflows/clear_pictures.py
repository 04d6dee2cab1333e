"""Pictures of a back on its way to clear, and the printed grid it is looked through at."""

from __future__ import annotations

from straightband.errors import BadInput
from straightband.gauges.printed_grid.zones import CLEAR_ENOUGH
from straightband.plots.clearness import ClearnessMap, clearness_png, progress_png
from straightband.quantities import parse_length_mm
from straightband.report.grid_sheet import DEFAULT_PITCH_MM, GridSheetContent, grid_sheet_pdf
from straightband.workflows.clear import Progress
from straightband.workflows.clear_report import CAUTIONS

MOST_MAPS = 4
SHEET_LINES = (
    "1. Print at 100 %, never 'fit to page'. Lay the sheet flat on the table, in even light, no lamp or window mirrored in the glass.",
    "2. Wash the mirror. DRY BOTH FACES: wet glass looks clear.",
    "3. Hold it with its back up two fingers (30 mm) above the grid, on corks or blocks near the rim. Nearer, even a grey back shows it.",
    "4. Photograph from straight above, at least 600 mm off, focused on the grid, whole rim in the picture and grid on all sides.",
    "5. straightband clear PHOTO --minor 90mm, or on the bench. Page 2 is the grid alone, for larger mirrors; sheets may be laid side by side.",
)


def clearness_picture(progress: Progress) -> bytes:
    """The maps of clearness over time, the last few, as PNG."""
    shown = list(zip(progress.backs, progress.minutes, strict=True))[-MOST_MAPS:]
    maps = [
        ClearnessMap(
            title=f"after {minutes:.3g} min: {100.0 * back.clearing.fraction:.0f} % clear" if len(shown) > 1 else
            f"{100.0 * back.clearing.fraction:.0f} % clear",
            face=back.clear.face,
            u_mm=back.clear.u_mm,
            v_mm=back.clear.v_mm,
            clearness=back.clear.clearness,
            places=tuple((zone.u_mm, zone.v_mm, zone.radius_mm) for zone in back.clearing.zones[:3]),
        )
        for back, minutes in shown
    ]  # fmt: skip
    note = "As the photograph shows the mirror. Solid: clear enough for bands. Dashed: circle of the same area as the grey place."
    return clearness_png(maps, enough=CLEAR_ENOUGH, note=note)


def progress_picture(progress: Progress) -> bytes:
    """The clear share over time with the forecast, as PNG."""
    expected, now = progress.forecast, progress.minutes[-1]
    told = expected is not None and bool(progress.last.clearing.zones)
    clear_at = (now + expected.low, now + expected.minutes, now + expected.high) if told and expected is not None else None
    clearings = [back.clearing for back in progress.backs]
    return progress_png(
        progress.minutes,
        [clearing.fraction for clearing in clearings],
        uncertainty=[clearing.uncertainty for clearing in clearings],
        clear_at=clear_at,
    )


def grid_sheet(*, paper: str = "a4", pitch: str | None = None) -> bytes:
    """The printed grid at 1:1 as PDF; raises BadInput."""
    pitch_mm = DEFAULT_PITCH_MM if pitch is None else parse_length_mm(pitch, what="the pitch of the grid")
    return grid_sheet_pdf(
        GridSheetContent(
            paper=paper,
            pitch_mm=pitch_mm,
            title=f"Grid for backs, pitch {pitch_mm:g} mm",
            lines=SHEET_LINES,
            bar="Both bars must measure 100 mm. If not, the printer has scaled the sheet.",
            cautions=CAUTIONS[1:],
        )
    )


def check_ending(path: str, *, ending: str, what: str) -> None:
    """Raise BadInput unless the name of a file to write ends as its kind does."""
    if not path.lower().endswith(ending):
        raise BadInput(found=f"{what} was to go to '{path}'", needed=f"a name ending in {ending} is needed", remedy="change the ending")
