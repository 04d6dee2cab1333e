"""Stacks: frames read one by one, averaged, the odd ones dropped.

Truth: rendered frames of the golden face whose gap drifts, one of another figure, one without bands. Means of blocks: Flyvbjerg and Petersen, J. Chem.
Phys. 91, 461 (1989).
"""

import io
import os
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from straightband.errors import BadInput, BandsUnreadable, PhotoUnreadable
from straightband.photo.film import frames_of, is_film
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.synthetic.truth import truth_map
from straightband.workflows.many import at_scheduler, cores_here, here, run_many
from straightband.workflows.setup import setup_from_text
from straightband.workflows.stack import even_frames, read_stack

SETUP = setup_from_text(light="mercury-green", minor="90mm", mark="3", thicker="2.5")


@pytest.fixture(scope="module")
def frames():
    """Five frames whose gap drifts by a third of a band, one of a face with twice the figure, one of plain grey."""
    scene = golden_scene(width_px=800, height_px=600)
    made = []
    for k in range(5):
        drifted = replace(scene, gap_nm=scene.gap_nm + 20.0 * k)
        made.append((f"f{k}.jpg", render(drifted, rng=np.random.default_rng(k)).encode("jpeg")))
    other = replace(scene.surface, coefficients_nm=tuple(2.0 * value for value in scene.surface.coefficients_nm))
    made.append(("other.jpg", render(replace(scene, surface=other), rng=np.random.default_rng(9)).encode("jpeg")))
    grey = io.BytesIO()
    Image.fromarray(np.random.default_rng(0).integers(80, 100, (600, 800, 3), dtype=np.uint8)).save(grey, "jpeg")
    return [*made, ("grey.jpg", grey.getvalue())]


@pytest.fixture(scope="module")
def stacked(frames):
    """The mean of all, and how far it said to have come."""
    told = []
    with ThreadPoolExecutor(1) as executor:
        reading = read_stack(frames, setup=SETUP, reference=None, executor=executor, workers=1, tell=told.append)
    return reading, told


def test_the_mean_is_of_the_frames_that_agree(stacked):
    """Of seven frames the grey one can't be read and the one of another figure is odd: five are averaged, and a doubt says so."""
    reading, told = stacked
    assert reading.height_map.meta["frames"] == {"read": 7, "averaged": 5}
    assert [source.name for source in reading.sources] == [f"f{k}.jpg" for k in range(5)]
    assert "frames-dropped" in reading.flags
    assert told == list(range(1, 8))


def test_the_mean_is_nearer_the_truth_than_it_says(stacked):
    """Mean of five noisy frames: within half a nanometre of the golden face, and within what is stated."""
    found = stacked[0].height_map
    truth = truth_map(golden_scene(width_px=800, height_px=600), u_mm=found.u_mm, v_mm=found.v_mm)
    off = found.heights_nm - truth.heights_nm
    u, v = np.meshgrid(found.u_mm, found.v_mm)
    kept = np.isfinite(off)
    terms = np.stack([np.ones(kept.sum()), u[kept], v[kept]])
    off = off[kept] - np.linalg.lstsq(terms.T, off[kept], rcond=None)[0] @ terms
    assert np.sqrt(np.mean(off**2)) < 0.5
    assert np.mean(np.abs(off) <= found.uncertainty_nm[kept]) > 0.95


def test_the_scatter_of_blocks_and_the_shared_noise_are_in_the_budget(stacked):
    """Repeat comes from the blocks, five of one frame here; the fit's noise is that of one frame over the root of five."""
    reading, _ = stacked
    lines = {cause.name: cause for cause in reading.causes}
    assert lines["repeat"].origin == "scatter of 5 blocks of 5 frames"
    assert lines["fit noise"].origin.endswith("; 5 frames")


def test_too_few_frames_are_refused(frames):
    """Two frames and a grey one are no stack: how many could be read and why one could not."""
    with ThreadPoolExecutor(1) as executor, pytest.raises(BandsUnreadable) as refused:
        read_stack([frames[0], frames[1], frames[6]], setup=SETUP, reference=None, executor=executor, workers=1, tell=lambda _: None)
    assert str(refused.value).startswith("of 3 frames 2 could be read (the first that could not: ")
    assert str(refused.value).endswith("3 at least, and the first of all, are needed; check lamp, focus and contact, and film it again.")


def test_odd_frames_are_those_far_from_the_rest():
    """Of forty maps with 1 nm of noise, one off by a smooth 10 nm is dropped, and none else; forty equal maps are all kept."""
    rng = np.random.default_rng(2)
    maps = rng.standard_normal((40, 20, 20))
    maps[7] += 10.0 * np.linspace(-1.0, 1.0, 20)
    maps[:, 0, 0] = np.nan
    assert np.flatnonzero(~even_frames(maps)).tolist() == [7]
    assert even_frames(np.zeros((40, 5, 5))).all()


def test_jobs_are_taken_as_they_are_needed():
    """Results come in order, and no more than a few jobs are taken from their source ahead of them."""
    taken = []

    def jobs():
        for k in range(50):
            taken.append(k)
            yield k

    with ThreadPoolExecutor(2) as executor:
        results = run_many(lambda k: k * k, jobs(), executor=executor, workers=2)
        assert next(results) == 0
        assert len(taken) <= 6
        assert list(results) == [k * k for k in range(1, 50)]


def test_what_waits_is_cancelled_when_the_work_ends_early():
    """When nobody takes results any more, jobs that have not begun are cancelled."""
    cancelled = []

    class Slow:
        def submit(self, work, job):
            made = Future()
            if job == 0:
                made.set_result(work(job))
            made.cancel = lambda: cancelled.append(job)
            return made

    results = run_many(lambda k: k, range(9), executor=Slow(), workers=1)
    assert next(results) == 0
    results.close()
    assert cancelled == [1, 2]


def test_processes_give_the_same_as_a_thread():
    """The same function on processes of this computer gives the same results in the same order."""
    jobs = [-3, 4, -5]
    with here(2) as processes:
        assert list(run_many(abs, jobs, executor=processes, workers=2)) == [3, 4, 5]
    assert 1 <= cores_here() <= (os.cpu_count() or 1)


class _Client:
    """What dask's client has of it here, with threads behind."""

    closed = 0

    def __init__(self, address, *, timeout):
        if address != "tcp://shop:8786":
            raise OSError(timeout)

    def nthreads(self):
        return {"a": 2, "b": 1}

    def get_executor(self):
        return ThreadPoolExecutor(1)

    def close(self):
        _Client.closed += 1


def test_the_same_work_goes_to_a_scheduler(monkeypatch):
    """With an address the same function runs on what dask's client gives as its executor; an address that is silent is refused; so is missing dask."""
    monkeypatch.setitem(sys.modules, "distributed", type("Stub", (), {"Client": _Client}))
    with at_scheduler("tcp://shop:8786") as (executor, workers):
        assert workers == 3
        assert list(run_many(abs, [-1, -2], executor=executor, workers=workers)) == [1, 2]
    assert _Client.closed == 1
    with pytest.raises(BadInput) as refused, at_scheduler("tcp://nowhere:1"):
        pass
    assert str(refused.value).startswith("no scheduler answers at 'tcp://nowhere:1'")
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BadInput) as refused, at_scheduler("tcp://shop:8786"):
        pass
    assert str(refused.value).startswith("a scheduler was named, but dask's distributed is not installed")


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    """A film of three frames, each color rising its own way, with the picture that went in."""
    x, y = np.meshgrid(np.linspace(0.0, 1.0, 640), np.linspace(0.0, 1.0, 480))
    pixels = np.round(255 * np.stack([x, y, 0.5 * (1.0 - x)], axis=-1)).astype(np.uint8)
    path = tmp_path_factory.mktemp("film") / "bands.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 10, (640, 480))
    for _ in range(3):
        writer.write(cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR))
    writer.release()
    return path.read_bytes(), pixels


def test_a_film_comes_apart_into_its_frames(film):
    """Three frames, numbered, each close to the picture that went in, colours in their places."""
    data, pixels = film
    found = list(frames_of(data, name="bands.avi"))
    assert [name for name, _ in found] == ["bands-0001.tiff", "bands-0002.tiff", "bands-0003.tiff"]
    back = np.asarray(Image.open(io.BytesIO(found[2][1])).convert("RGB")).astype(int)
    assert np.abs(back - pixels).mean() < 4.0  # levels: the film's own compression
    assert is_film("A.MOV")
    assert not is_film("a.jpg")


@pytest.mark.parametrize("data", [b"", b"no film at all" * 100], ids=["empty", "text"])
def test_what_is_no_film_is_refused(data):
    """Bytes that hold no film are refused by name."""
    with pytest.raises(PhotoUnreadable) as refused:
        list(frames_of(data, name="x.mp4"))
    assert str(refused.value) == (
        "x.mp4 is no film that can be read; a short film as the telephone stored it is needed; copy it again, or give single photographs."
    )
