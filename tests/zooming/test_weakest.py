"""The bead that fails first, also where nothing grows towards failure."""

from __future__ import annotations

import numpy as np

from fem.printing.beads import AIR, CORE, WALL, BeadMap, Grid
from fem.zooming.judge import weakest
from fem.zooming.nouns import JudgedBeads


def judged(reserve: float) -> JudgedBeads:
    """A layer of air, but for a wall and an infill bead of this reserve factor."""
    zone = np.full((1, 3, 3), AIR, dtype=np.uint8)
    zone[0, 1, 1], zone[0, 2, 2] = WALL, CORE
    share = np.where(zone < AIR, 255, 0).astype(np.uint8)
    grid = Grid(np.zeros(3), np.array([0.2, 0.2, 0.2]), (3, 3, 1), 1, 0)
    beads = BeadMap(grid, zone, share, np.zeros_like(zone), zone.astype(np.uint16))
    factors = np.where(zone < AIR, np.float32(reserve), np.float32(np.nan))
    factors[0, 2, 2] = 2 * reserve
    stress, mode = np.zeros((1, 3, 3, 6), dtype=np.float32), np.zeros((1, 3, 3), dtype=np.int8)
    return JudgedBeads(beads, np.eye(3), factors, stress, zone < 9, mode, ("tension along the bead",))


def test_an_unloaded_body_has_a_first_bead_all_the_same() -> None:
    first = weakest(judged(np.inf), width=0.4)
    assert first is not None and first.reserve == np.inf and first.zone == "wall" and first.beyond == 0


def test_the_least_of_the_beads_counts_and_each_zone_has_its_own() -> None:
    first = weakest(judged(0.5), width=0.4)
    assert first is not None and (first.reserve, first.at) == (0.5, (0, 1, 1))
    assert first.by_zone == {"wall": 0.5, "cover": None, "core": 1.0} and first.beyond == 1
