"""Beads over a foundation that only pushes, pressed by a load that stays and peeled off by one that grows."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from helpers_cad import draw

from fem import prepare, read_study
from fem.study.beads import surroundings
from fem.study.solved import solve_cases_of
from fem.zooming.place import scan_place

TEXT = """
title = "Peeled"
[bodies.bar]
solid = "bar.step"
mesh = { size = "3 mm" }
[bodies.bar.print]
polymer = "pa12-cf"
walls = 2
covers = 2
bead = { width = "0.8 mm", height = "0.4 mm" }
infill = "solid"
[faces]
left = { plane = { normal = [-1, 0, 0], at = "min" } }
right = { plane = { normal = [1, 0, 0], at = "max" } }
low = { plane = { normal = [0, 0, -1], at = "min" } }
top = { plane = { normal = [0, 0, 1], at = "max" } }
[supports.held]
face = "left"
fixed = ["x", "y", "z"]
[supports.bed]
face = "low"
foundation = { normal = "200 N/mm^3", push_only = true }
[loads.weight]
face = "top"
force = ["0 N", "0 N", "-300 N"]
permanent = true
[loads.lift]
face = "right"
force = ["0 N", "0 N", "40 N"]
[cases]
little = { weight = 1, lift = 1 }
much = { weight = 1, lift = 6 }
"""


@pytest.fixture(scope="module")
def looked(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, float], dict[str, float]]:
    """The reserve factors of both cases at the root, with what presses at failure, and with what presses at first."""
    folder: Path = tmp_path_factory.mktemp("peeled")
    draw(folder / "bar.step", lambda occ: occ.addBox(0, -4, 0, 24, 8, 8))
    (folder / "peeled.toml").write_text(TEXT, encoding="utf-8")
    ready = prepare(read_study(folder / "peeled.toml").with_({"judge.zoom": 0}))
    parts, body = solve_cases_of(ready).parts, surroundings(ready).bodies["bar"]
    frozen = [type(p)(p.cases, p.displacement, p.supported) for p in parts]
    told, wrong = (scan_place(body, np.array([3.0, 0, 2]), parts=some) for some in (parts, frozen))
    return tuple({name: c.first.reserve for name, c in found.cases.items()} for found in (told, wrong))  # type: ignore[return-value]


def test_the_load_of_failure_does_not_depend_on_the_load_that_one_starts_from(looked):
    """Six times the growing load: a sixth of the reserve factor."""
    told, _ = looked
    assert told["much"] == pytest.approx(told["little"] / 6, rel=0.06)


def test_what_presses_at_first_would_tell_too_much(looked):
    """The negative control: under small loads the bed still presses all over, and would pull as well."""
    told, wrong = looked
    assert wrong["little"] > 2 * told["little"]
