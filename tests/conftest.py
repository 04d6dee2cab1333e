"""What holds for every test: no network, no screen, and the same examples on every run."""

import os
import socket
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import settings

from straightband.face.shapes import ellipse
from straightband.synthetic.grid_campaign import random_grid_scene
from straightband.synthetic.printed_grid import GreyZone, render_grid

# Drawn pictures go to files; a screen may not be there.
os.environ["MPLBACKEND"] = "Agg"

# derandomize: a check of a change must not depend on luck. deadline: other work on the machine is not a fault of the code.
settings.register_profile("straightband", derandomize=True, deadline=None, database=None)
settings.load_profile("straightband")

_LOOPBACK = ("127.", "::1", "localhost")


@pytest.fixture(autouse=True)
def _no_network(monkeypatch):
    """Refuse any connection beyond this machine: the shop has none, so nothing may need one."""
    connect = socket.socket.connect

    def connect_here_only(self, address):
        if isinstance(address, tuple) and not str(address[0]).startswith(_LOOPBACK):
            pytest.fail(f"a connection to {address[0]} was tried; everything must work offline")
        return connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", connect_here_only)


@pytest.fixture(scope="session")
def grid_photographs():
    """The grid through the back of a 90 mm ellipse, its middle grey, before and after twelve minutes."""
    drawn = random_grid_scene(np.random.default_rng(0), width_px=960, height_px=720)
    face = ellipse(minor_mm=90.0)
    out = []
    for radius in (0.7, 0.45):
        grey = GreyZone(u_mm=0.0, v_mm=0.0, radius_mm=radius * face.semi_u_mm, soft_mm=9.0, specular=0.4 - 0.5 * radius)
        scene = replace(drawn, face=face, view=replace(drawn.view, rotation_deg=5.0), zones=(grey,))
        out.append(render_grid(scene, rng=np.random.default_rng(1)))
    return out
