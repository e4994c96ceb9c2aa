"""Beads on an accelerator: the very kernels, through the simulator in a process of its own, and on a card if any."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fem.errors import InputError
from fem.printing.beads import CORE, BeadMap, Grid
from fem.zooming import device
from fem.zooming.device import Accelerator, Declined, accelerator
from fem.zooming.system import BeadSystem
from fem.zooming.tables import bead_tables

CHECKS = Path(__file__).with_name("device_checks.py")


def asked(*count: int, simulated: bool, **settings: Any) -> dict[str, Any]:
    """What device_checks.py prints of a grid of `count` boxes."""
    environment = {**os.environ, "NUMBA_ENABLE_CUDASIM": "1" if simulated else "0", "BEADWORK_DEVICE": "none"}
    command = [sys.executable, str(CHECKS), *map(str, count), json.dumps(settings)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, env=environment)
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout.splitlines()[-1]))


def agrees(found: dict[str, Any], *, tolerance: float) -> None:
    """Both machines say the same, and would not of other beads."""
    assert found["product"] < 1e-12
    assert found["control"] > 1e-2
    assert found["levels"][0] == found["levels"][1]
    assert len(found["levels"][0]) >= 3
    assert found["displacement"] < tolerance
    assert found["moved"] == 0
    # The coarse levels round less than the processor's
    assert all(abs(a - b) <= 2 for a, b in zip(*found["iterations"], strict=True))
    assert found["asymmetry"] < 1e-6
    assert found["least_energy"] > 0


@pytest.mark.skipif(find_spec("numba.cuda.simulator") is None, reason="numba has no simulator of accelerators")
def test_the_kernels_agree_with_the_compiled_loops_in_the_simulator() -> None:
    found = asked(3, 3, 2, simulated=True, fewest=10, tolerance=1e-2, columns=1, lanczos=6)
    assert found["card"] == "simulator"
    agrees(found, tolerance=1e-2)


@pytest.mark.skipif(find_spec("numba_cuda") is None, reason="beadwork[cuda] is not installed")
def test_a_card_agrees_with_the_processor() -> None:
    from numba import cuda

    if not cuda.is_available():
        pytest.skip("no card was found")
    agrees(asked(23, 18, 11, simulated=False), tolerance=1e-5)
    agrees(asked(6, 5, 4, simulated=False, fewest=20), tolerance=1e-5)


def small() -> BeadSystem:
    shape = (4, 5, 6)
    full = np.full(shape, 255, np.uint8)
    beads = BeadMap(
        Grid(np.zeros(3), np.ones(3), shape[::-1], 1, 0),
        np.full(shape, CORE, np.uint8),
        full,
        np.zeros(shape, np.uint8),
        np.zeros(shape, np.uint16),
    )
    return BeadSystem(beads, bead_tables((1, 1, 1), E=(3, 2, 1), nu=(0.3, 0.3, 0.3), G=(1, 1, 1)))


def test_what_does_not_fit_is_solved_on_the_processor_and_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(device, "accelerator", lambda **_: Accelerator("a card", 1e8))
    system = small()
    system.support(held=np.arange(20))
    assert system.solved_on == ""
    assert system.declined == "a card has 0.1 GB free, and the beads would take 0.2 GB."
    forces = np.zeros((1, system.boxes.nodes, 3))
    forces[0, -1, 0] = 1.0
    assert system.solve(forces).displacement[0, -1, 0] > 0


def test_a_card_that_runs_no_loops_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(**_: Any) -> None:
        raise Declined("an accelerator was found, but runs no loops: no driver")

    monkeypatch.setattr(device, "accelerator", broken)
    system = small()
    system.support(held=np.arange(20))
    assert system.declined.endswith("no driver")
    assert len(system.levels) == 1


def test_the_environment_decides(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BEADWORK_DEVICE", "none")
    assert accelerator(unknowns=10**9) is None
    monkeypatch.setenv("BEADWORK_DEVICE", "")
    assert accelerator(unknowns=1000) is None
    monkeypatch.setenv("BEADWORK_DEVICE", "abacus")
    with pytest.raises(InputError, match="may be none or cuda"):
        accelerator()
    if find_spec("numba_cuda") is None:
        monkeypatch.setenv("BEADWORK_DEVICE", "cuda")
        with pytest.raises(InputError, match="not installed"):
            accelerator()
