"""Long work of a shop: what can be asked for, and the process that does it, outside the one that serves pages.

`python -m straightband.workflows.shop_jobs FOLDER` reads the numbers of jobs from standard input, one to a line, does each and answers with its
number; it ends when its input does, and so with whoever started it.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from straightband.errors import StraightbandError
from straightband.quantities import whole_numbers
from straightband.shop import jobs
from straightband.shop.folder import Shop, open_shop
from straightband.shop.jobs import Job
from straightband.shop.record import Form
from straightband.workflows.bounds import bound_process, give_way

MOST_SECONDS = 600.0  # of one job: a hundred times what a photograph takes


def ask_reading(shop: Shop, photographs: tuple[int, ...], *, texts: Mapping[str, str], now: str, form: Form | None = None) -> int:
    """Ask for a reading, its settings checked first; returns the job's number. Raises BadInput."""
    from straightband.workflows.shop_readings import task_from_texts

    task = task_from_texts(shop, photographs, texts=texts)
    told = {"photographs": list(task.photographs), "flat": task.flat_id, "settings": task.settings}
    with shop.record() as record:
        return jobs.ask_for(record, "read", told=told, now=now, form=form).id


def ask_certificate(shop: Shop, reading_id: int, *, now: str, form: Form | None = None) -> int:
    """Ask for the certificate of a reading; returns the job's number."""
    with shop.record() as record:
        return jobs.ask_for(record, "certify", told={"reading": reading_id}, now=now, form=form).id


def ask_recompute(shop: Shop, reading_id: int, *, now: str, form: Form | None = None) -> int:
    """Ask for a reading to be computed anew and compared; returns the job's number."""
    with shop.record() as record:
        return jobs.ask_for(record, "recompute", told={"reading": reading_id}, now=now, form=form).id


def ask_plan(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Ask for the grinding plan of some pieces, checked first; returns the job's number. Raises BadInput."""
    from straightband.workflows.shop_batches import batch_file

    pieces = whole_numbers(texts.get("pieces", ""))
    batch_file(shop, pieces, abrasives=texts.get("abrasives", ""))
    told = {key: texts.get(key, "") for key in ("name", "abrasives", "companion")} | {"pieces": list(pieces)}
    with shop.record() as record:
        return jobs.ask_for(record, "plan", told=told, now=now, form=form).id


def ask_clearing(shop: Shop, piece_root: int, *, texts: Mapping[str, str], now: str, form: Form | None = None) -> int:
    """Ask how far a piece's back has cleared, the settings checked first; returns the job's number. Raises BadInput."""
    from straightband.workflows.shop_backs import back_for, back_task

    with shop.record() as record:
        back = back_for(record, piece_root, now=now)
    task = back_task(shop, back.root, texts=texts)
    told = {"back": back.root, "piece": piece_root, "grids": list(task.photographs), "settings": task.settings}
    with shop.record() as record:
        return jobs.ask_for(record, "clear", told=told, now=now, form=form).id


def ask_pads(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Ask for pads to be laid out on a plate, checked first; returns the job's number. Raises BadInput."""
    from straightband.workflows.shop_pads import told_of_texts

    told = told_of_texts(shop, texts)
    with shop.record() as record:
        return jobs.ask_for(record, "pads", told=told, now=now, form=form).id


def ask_flats(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Ask for flats by themselves from readings of their pairs, checked first; returns the job's number. Raises BadInput."""
    from straightband.workflows.shop_flats import told_of_texts

    told = told_of_texts(shop, texts, today=now)
    with shop.record() as record:
        return jobs.ask_for(record, "threeflat", told=told, now=now, form=form).id


def ask_strokes(shop: Shop, piece_root: int, *, texts: Mapping[str, str], now: str, form: Form | None = None) -> int:
    """Ask what to do next on the lap, checked first; returns the job's number. Raises BadInput."""
    from straightband.workflows.shop_strokes import told_of_texts

    told = told_of_texts(shop, piece_root, texts=texts)
    with shop.record() as record:
        return jobs.ask_for(record, "strokes", told=told | {"piece": piece_root}, now=now, form=form).id


class _NotWantedError(Exception):
    """The job was stopped while it was being done."""


def do(shop: Shop, job: Job) -> None:
    """Do one job and write down how it ended; no refusal of ours comes out of it."""

    def stage(words: str) -> None:
        with shop.record() as record:
            if not jobs.tell_stage(record, job.id, stage=words):
                raise _NotWantedError

    try:
        leads_to, sentence = _DO[job.kind](shop, job, stage)
        ending: dict[str, Any] = {"state": "done", "leads_to": leads_to, "sentence": sentence}
    except _NotWantedError:
        return
    except StraightbandError as refusal:
        ending = {"state": "failed", "sentence": str(refusal)}
    except MemoryError:
        ending = {
            "state": "failed",
            "sentence": "the computer ran out of memory; a smaller photograph is needed; shrink it and send it again.",
        }
    except Exception as fault:  # noqa: BLE001 - the last line of defence of the worker, as in the command line
        ending = {
            "state": "failed",
            "sentence": f"the program failed on this ({type(fault).__name__}); nothing was entered; report it as a fault.",
        }
    with shop.record() as record:
        jobs.end(record, job.id, **ending)


def _read(shop: Shop, job: Job, stage: Callable[[str], None]) -> tuple[str, str]:
    from straightband.workflows.shop_readings import Task, read_for_the_record, same_reading

    told = job.told
    task = Task(photographs=tuple(told["photographs"]), flat_id=told["flat"], settings=told["settings"])
    there = same_reading(shop, task)
    if there is not None:
        return f"/readings/{there}", ""
    return f"/readings/{read_for_the_record(shop, task, now=job.at, stage=stage, form=_form_of(job))}", ""


def _certify(shop: Shop, job: Job, stage: Callable[[str], None]) -> tuple[str, str]:
    from straightband.workflows.shop_certificates import certify_for_the_record

    return f"/certificates/{certify_for_the_record(shop, job.told['reading'], now=job.at, stage=stage, form=_form_of(job))}", ""


def _recompute(shop: Shop, job: Job, stage: Callable[[str], None]) -> tuple[str, str]:
    from straightband.workflows.shop_recompute import reading_again

    stage("reading the photographs again")
    number = job.told["reading"]
    differing = reading_again(shop, number)
    sentence = (
        "; ".join(differing)
        if differing
        else "Read again from the photographs: every number came out the same, to the last figure, and so did the verdict."
    )
    return f"/readings/{number}", sentence


def _plan(shop: Shop, job: Job, stage: Callable[[str], None]) -> tuple[str, str]:
    from straightband.workflows.shop_batches import plan_for_the_record

    return f"/batches/{plan_for_the_record(shop, job.told, now=job.at, stage=stage, form=_form_of(job))}", ""


def _clear(shop: Shop, job: Job, stage: Callable[[str], None]) -> tuple[str, str]:
    from straightband.workflows.shop_backs import BackTask, look_for_the_record

    told = job.told
    task = BackTask(back=told["back"], photographs=tuple(told["grids"]), settings=told["settings"])
    look_for_the_record(shop, task, now=job.at, stage=stage, form=_form_of(job))
    return f"/pieces/{told['piece']}/back", ""


def _pads(shop: Shop, job: Job, stage: Callable[[str], None]) -> tuple[str, str]:
    from straightband.workflows.shop_pads import lay_for_the_record

    stage("laying pads out and pressing the mirror on them")
    return f"/pads/{lay_for_the_record(shop, job.told, now=job.at, form=_form_of(job))}", ""


def _threeflat(shop: Shop, job: Job, stage: Callable[[str], None]) -> tuple[str, str]:
    from straightband.workflows.shop_flats import know_for_the_record

    stage("solving for each flat")
    return f"/flats/tests/{know_for_the_record(shop, job.told, now=job.at, form=_form_of(job))}", ""


def _strokes(shop: Shop, job: Job, stage: Callable[[str], None]) -> tuple[str, str]:
    from straightband.workflows.shop_strokes import strokes_for_the_record

    return f"/strokes/{strokes_for_the_record(shop, job.told, now=job.at, stage=stage, form=_form_of(job))}", ""


def _form_of(job: Job) -> Form:
    """By which what a job makes is entered once, should it be done twice."""
    return Form(token=f"job {job.id} of {job.at}", digest=job.kind)


_DO: dict[str, Callable[[Shop, Job, Callable[[str], None]], tuple[str, str]]] = {
    "read": _read,
    "certify": _certify,
    "recompute": _recompute,
    "plan": _plan,
    "clear": _clear,
    "pads": _pads,
    "threeflat": _threeflat,
    "strokes": _strokes,
}


def work(shop: Shop, *, asked: Iterable[str], answer: Callable[[str], None]) -> None:
    """Do the jobs whose numbers come in, and answer each with its number when it is over."""
    for line in asked:
        with shop.record() as record:
            job = jobs.job_of(record, int(line))
        do(shop, job)
        answer(line.strip())


def main(arguments: list[str]) -> int:
    """Serve the shop in the folder named."""
    bound_process()
    give_way()
    try:
        work(open_shop(Path(arguments[0])), asked=sys.stdin, answer=lambda number: print(number, flush=True))  # noqa: T201 - how it answers
    except StraightbandError:  # the disk is full, or the like; whoever started it writes down that it ended
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
