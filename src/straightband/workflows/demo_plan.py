"""The blanks of the demonstration, and the plan by which they are ground flat."""

from __future__ import annotations

from functools import lru_cache

from straightband.workflows.batch import batch_from_toml
from straightband.workflows.plan import Plan, make_plan
from straightband.workflows.plan_cards import plan_cards, plan_plot
from straightband.workflows.plan_report import plan_lines

BATCH_FILE = b"""\
# What `straightband plan` needs to know of a batch. Plain numbers; the key tells the unit. sag_um: plus for a hill, left out if not gauged.
[[piece]]
name = "2026-31"
shape = "ellipse"
minor_mm = 53.5
thickness_mm = 12
glass = "borosilicate"
sag_um = 14

[[piece]]
name = "2026-33"
shape = "ellipse"
minor_mm = 58
thickness_mm = 12
glass = "borosilicate"
sag_um = -9

[[piece]]
name = "base plate"
shape = "round"
diameter_mm = 80
thickness_mm = 15
glass = "soda-lime"

[grinding]
abrasives_um = [25, 12, 5]
"""
BATCH, CARDS, PLOT = "batch.toml", "batch-cards.pdf", "batch-sags.png"


@lru_cache(maxsize=1)
def demo_plan() -> Plan:
    """The plan for the invented batch; worked out once."""
    return make_plan(batch_from_toml(BATCH_FILE, name=BATCH))


def demo_papers(*, shop: str) -> tuple[tuple[str, bytes, str], ...]:
    """Name, bytes and what it shows: the batch file, its job cards and its plot."""
    plan = demo_plan()
    return (
        (BATCH, BATCH_FILE, f"three blanks to be ground on each other: try `straightband plan {BATCH}` in this folder"),
        (CARDS, plan_cards(plan, batch_name="2026, spring", shop=shop), "job cards for that, one for each abrasive, to print and to tick"),
        (PLOT, plan_plot(plan, title="Three blanks on the way to flat"), "the sag of each face to be expected after each run"),
    )


def plan_story() -> tuple[str, ...]:
    """The story of it: the answer; who runs on whom stands on the cards."""
    return ("2  The blanks (batch.toml, batch-cards.pdf, batch-sags.png)", *(f"   {line.strip()}" for line in plan_lines(demo_plan())[:2]))
