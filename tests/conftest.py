"""What holds for every test: no network, no screen, and the same examples on every run."""

import os
import socket

import pytest
from hypothesis import settings

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
