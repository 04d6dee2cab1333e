import json
import math

import numpy as np
import pytest

from straightband.face.shapes import Shape
from straightband.synthetic.bands import smallest_gap_nm
from straightband.synthetic.campaign import (
    Difficulty,
    Pattern,
    describe,
    least_px_per_band,
    oblique_error_nm,
    random_scene,
)
from straightband.synthetic.projection import projection_of
from straightband.synthetic.render import render
from straightband.synthetic.truth import outline_points, truth_of

SCENES = [random_scene(np.random.default_rng(seed), difficulty=list(Difficulty)[seed % 3]) for seed in range(90)]


def test_every_scene_could_stand_on_a_bench():
    """No plates pass through each other, no outline leaves the frame, the view is within 15 degrees, bands are 40 at most."""
    for scene in SCENES:
        assert smallest_gap_nm(scene) > 99.0
        x, y = outline_points(projection_of(scene.view, face=scene.face), count=90)
        if scene.face.shape is Shape.RECTANGLE:
            x, y = truth_of(scene).corners_px.T
        room = min(x.min(), y.min(), scene.view.width_px - 1.0 - x.max(), scene.view.height_px - 1.0 - y.max())
        assert room > 10.0
        assert 0.0 <= scene.view.tilt_deg <= 15.0
        assert math.hypot(scene.bands_u, scene.bands_v) < 40.001
        assert least_px_per_band(scene) > 5.0


def test_scenes_cover_what_a_bench_gives():
    """Among ninety scenes every shape, surround, nuisance and orientation occurs."""
    assert {scene.face.shape for scene in SCENES} == set(Shape)
    assert {scene.sensor.orientation for scene in SCENES} == set(range(1, 9))
    assert {scene.view.mirrored for scene in SCENES} == {0, 1, 2}
    for found in (
        lambda s: s.surface.edges,
        lambda s: s.surface.hills,
        lambda s: s.surface.zones,
        lambda s: s.surround.plate,
        lambda s: s.surround.level < 0.15,
        lambda s: s.surround.level > 0.25,
        lambda s: s.surround.bevel_width_mm and s.surround.bevel_level > 1.2,
        lambda s: s.blemishes.frost,
        lambda s: s.blemishes.glares,
        lambda s: s.blemishes.ghost_level,
        lambda s: s.view.tilt_deg > 10.0,
        lambda s: s.light.fwhm_nm > 5.0,
    ):
        assert 1 <= sum(bool(found(scene)) for scene in SCENES) < len(SCENES)


def test_same_seed_draws_the_same_scene():
    """A scene is told by its seed alone."""
    assert random_scene(np.random.default_rng(11)) == random_scene(np.random.default_rng(11))
    assert random_scene(np.random.default_rng(11)) != random_scene(np.random.default_rng(12))


@pytest.mark.parametrize("pattern", list(Pattern))
def test_pattern_asked_for_is_drawn(pattern):
    """Rings and saddles have more figure than wedge needs to open them; straight bands have more wedge than figure."""
    for seed in range(10):
        told = describe(random_scene(np.random.default_rng(seed), difficulty=Difficulty.PLAIN, pattern=pattern))
        if pattern is Pattern.STRAIGHT:
            assert told["figure_bands"] < 1.2 < told["wedge_bands"]
        if pattern in (Pattern.RINGS, Pattern.SADDLE):
            assert told["figure_bands"] > 1.2


def test_size_of_the_photograph_can_be_set():
    """Twelve megapixels asked for are given to within a part in a thousand, and the default lies between 1.5 and 3."""
    assert describe(random_scene(np.random.default_rng(0), megapixels=12.0))["megapixels"] == pytest.approx(12.0, rel=1e-3)  # whole pixels
    assert all(1.49 < describe(scene)["megapixels"] < 3.01 for scene in SCENES)


def test_description_is_plain_json():
    """A description can be written into a table or a JSON file as it is."""
    for scene in SCENES[:5]:
        assert json.loads(json.dumps(describe(scene))) == describe(scene)


def test_false_height_of_a_near_camera_stays_within_the_difficulty():
    """Ordinary scenes keep the height that no reader could know about below 1.5 nm rms, careful ones below 0.5 nm."""
    for k, most in ((0, 0.5), (1, 1.5), (2, 10.0)):
        assert max(oblique_error_nm(scene) for scene in SCENES[k::3]) <= most


@pytest.mark.parametrize("difficulty", list(Difficulty))
def test_drawn_scene_can_be_photographed(difficulty):
    """A scene of each difficulty renders and encodes, with bands on the face."""
    scene = random_scene(np.random.default_rng(21), difficulty=difficulty, megapixels=0.3)
    photograph = render(scene, rng=np.random.default_rng(21))
    assert photograph.encode()[:2] == b"\xff\xd8"
    assert photograph.light.std() > 0.05
