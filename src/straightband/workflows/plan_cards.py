"""The papers of a grinding plan: a job card for each abrasive, and the plot of the sags."""

from __future__ import annotations

import numpy as np

from straightband import __version__
from straightband.advice.schedule import Run
from straightband.advice.stages import Stage
from straightband.errors import BadInput
from straightband.plots.sags import Part, sags_png
from straightband.report.jobcard import CardRun, JobCard, job_cards_pdf
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.plan import Plan, sags_after
from straightband.workflows.plan_report import clock_hour, minutes_range

RUNS_ON_A_SHEET = 80
STOP = (
    "Look at every face dry, with a loupe, against a lamp: go on with more rounds while a pit of the grade before is left, and stop when none is. "
    "The minutes are what is usual, not a promise. Gauge every face; where the sag is more than expected, give the face that is a hill its next "
    "runs on top, and the one that is hollow below."
)


def plan_cards(plan: Plan, *, batch_name: str, shop: str = "") -> bytes:
    """One job card for each abrasive, as PDF; raises BadInput when there is none, or one does not fit on its page."""
    cards = [
        card
        for number, stage in enumerate(plan.stages)
        if stage.runs
        for card in _cards(plan, stage, number=number, batch_name=batch_name, shop=shop)
    ]
    if not cards:
        raise BadInput(
            found="no two pieces of this batch can run together",
            needed="a run is needed before there is a card to print",
            remedy="call again with --with-companion, or put pieces of one size together",
        )
    return job_cards_pdf(cards)


def plan_plot(plan: Plan, *, title: str = "Sag of every face after every run") -> bytes:
    """The sags from the blanks to the last run, as PNG."""
    began = np.array([plate.sag_um or 0.0 for plate in plan.plates])
    sags = np.concatenate([began[None, :], *(stage.sags_um for stage in plan.stages)])
    doubts = np.concatenate([plan.began_doubts_um[None, :], plan.doubts_um])
    parts = [Part(label=f"{stage.abrasive.size_um:g} um", runs=len(stage.runs)) for stage in plan.stages]
    return sags_png(sags, uncertainty_um=doubts, names=[plate.name for plate in plan.plates], parts=parts, title=title)


def _cards(plan: Plan, stage: Stage, *, number: int, batch_name: str, shop: str) -> list[JobCard]:
    """The card of one abrasive, in as many sheets as its runs need."""
    sheets = _sheets(_rounds(stage))
    sag, doubt = sags_after(plan)[number]
    faces = tuple(
        (plate.name, round_with_uncertainty(float(one), float(two), unit="um"))
        for plate, one, two in zip(plan.plates, sag, doubt, strict=True)
    )
    cards, first = [], 1
    for sheet, rounds in enumerate(sheets, start=1):
        last = sheet == len(sheets)
        cards.append(
            JobCard(
                shop=shop,
                batch=batch_name,
                abrasive=f"{stage.abrasive.size_um:g} um",
                facts=_facts(
                    plan, stage, place=f"{number + 1} of {len(plan.stages)}{f', sheet {sheet} of {len(sheets)}' * (len(sheets) > 1)}"
                ),
                first_round=first,
                rounds=tuple(tuple(_card_run(plan, run) for run in runs) for runs in rounds),
                faces=faces if last else (),
                stop=STOP if last else "",
                program=f"straightband {__version__}",
            )
        )
        first += len(rounds)
    return cards


def _facts(plan: Plan, stage: Stage, *, place: str) -> tuple[tuple[str, str], ...]:
    low, high = minutes_range(stage)
    return (
        ("Card", place),
        ("Time", f"{stage.minutes:.0f} min ({low:.0f} to {high:.0f})"),
        ("Must come off", f"{stage.needed.upper_um:.0f} um"),
        ("Table", f"{plan.bench.spindle_rpm:g} turns a minute"),
        ("Push of the hand", f"{plan.bench.load_n:g} N, about {plan.bench.load_n / 9.81:.1f} kg"),
        ("Strokes", f"{plan.bench.strokes_per_min:g} a minute, to and fro"),
    )


def _sheets(rounds: list[list[Run]]) -> list[list[list[Run]]]:
    """Rounds parted into sheets that can be read at arm's length."""
    sheets: list[list[list[Run]]] = [[]]
    for runs in rounds:
        if sheets[-1] and sum(map(len, sheets[-1])) + len(runs) > RUNS_ON_A_SHEET:
            sheets.append([])
        sheets[-1].append(runs)
    return sheets


def _rounds(stage: Stage) -> list[list[Run]]:
    """The runs by round; with runs of one length some rounds are shorter than others."""
    rounds: list[list[Run]] = []
    for run, number in zip(stage.runs, stage.round_of_run, strict=True):
        if number == len(rounds):
            rounds.append([])
        rounds[-1].append(run)
    return rounds


def _card_run(plan: Plan, run: Run) -> CardRun:
    return CardRun(
        top=plan.plates[run.top].name,
        bottom=plan.plates[run.bottom].name,
        minutes=f"{run.minutes:g} min",
        mark=f"{clock_hour(run.turn_deg)} h",
        stroke=f"{run.stroke_mm:.0f} mm",
    )
