"""Tables as markdown for people and CSV for programs."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

Row = dict[str, Any]


def write_table(rows: list[Row], *, stem: Path) -> str:
    """Write `stem`.csv and `stem`.md and return the markdown; the columns are those of the first row."""
    with stem.with_suffix(".csv").open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, fieldnames=list(rows[0]), extrasaction="ignore")
        writer.writeheader()
        writer.writerows(rows)
    text = markdown(rows)
    stem.with_suffix(".md").write_text(text + "\n", encoding="utf-8")
    return text


def markdown(rows: list[Row]) -> str:
    """Rows as a markdown table; the columns are those of the first row."""
    names = list(rows[0])
    lines = ["| " + " | ".join(names) + " |", "|" + " --- |" * len(names)]
    lines += ["| " + " | ".join(_shown(row.get(name, "")) for name in names) + " |" for row in rows]
    return "\n".join(lines)


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if math.isnan(value):
            return ""
        return f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.3g}"
    return str(value).replace("|", "/")
