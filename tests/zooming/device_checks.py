"""Beads on an accelerator against the compiled loops of the processor: prints what deviates, as JSON.

Run by test_device.py in a process of its own, through the simulator where there is no accelerator:
`python device_checks.py 6 5 4`, the boxes along x, y, z.
"""

from __future__ import annotations

import json
import os
import sys
from dataclasses import replace

import numpy as np

from fem.printing.beads import AIR, CORE, WALL, BeadMap, Grid
from fem.zooming import device_levels, levels
from fem.zooming.levels import Springs
from fem.zooming.system import BeadSystem
from fem.zooming.tables import bead_tables


def a_map(count: tuple[int, int, int], *, step: tuple[float, float, float], seed: int = 3) -> BeadMap:
    """A wall, and beads of any direction and share beyond it, with air between."""
    rng = np.random.default_rng(seed)
    shape = count[::-1]
    zone = np.where(rng.random(shape) < 0.75, CORE, AIR).astype(np.uint8)
    zone[:, :, 0] = zone[0] = WALL
    share = rng.integers(60, 256, shape).astype(np.uint8)
    way = rng.integers(0, 72, shape).astype(np.uint8)
    way[zone == WALL] += np.uint8(36)
    grid = Grid(np.zeros(3), np.array(step), count, 1, 0)
    return BeadMap(grid, zone, share, way, np.zeros(shape, np.uint16))


def deviations(
    count: tuple[int, int, int], *, fewest: int = 700, tolerance: float = 1e-6, columns: int = 2, lanczos: int = 10
) -> dict[str, object]:
    """What both say of one grid, on held nodes and springs; levels with at most `fewest` nodes are inverted."""
    levels.FEWEST, levels.LANCZOS_STEPS = fewest, lanczos
    if np.prod(count) < 100:  # so that each of these threads has several numbers to add
        device_levels.SUMS, device_levels.FEW = 32, 8
    step = (0.15, 0.17, 0.2)
    tables = bead_tables(step, E=(6000, 2500, 2000), nu=(0.35, 0.35, 0.4), G=(1200, 1000, 800))
    rng = np.random.default_rng(0)
    systems = []
    for where in ("none", "cuda"):
        os.environ["BEADWORK_DEVICE"] = where
        system = BeadSystem(a_map(count, step=step), tables)
        low = system.boxes.number[0]
        held = np.sort(low[low >= 0]).astype(np.int64)
        high = system.boxes.number[-1]
        node = np.unique(high[high >= 0]).astype(np.int64)
        arm = np.random.default_rng(1).normal(size=(len(node), 3, 3))
        system.support(held=held, springs=Springs(node, 50 * arm @ arm.transpose(0, 2, 1)))
        systems.append(system)
    ours, theirs = systems
    assert theirs._device is not None, theirs.declined
    n = ours.boxes.nodes
    x = rng.normal(size=(n, 3))
    product = ours.product(x)
    out: dict[str, object] = {"card": theirs.solved_on, "levels": [list(ours.levels), list(theirs.levels)]}
    out["product"] = float(np.abs(theirs._device.product(x) - product).max() / np.abs(product).max())
    others = a_map(count, step=step)
    turned = BeadSystem(replace(others, way=((others.way + 18) % 72).astype(np.uint8)), tables).product(x)
    out["control"] = float(np.abs(theirs._device.product(x) - turned).max() / np.abs(product).max())
    forces = rng.normal(size=(columns, n, 3))
    moved = rng.normal(size=(columns, len(held), 3)) * 1e-3
    found = [s.solve(forces, moved=moved, tolerance=tolerance) for s in systems]
    first, second = (f.displacement for f in found)
    out["displacement"] = float(np.linalg.norm(first - second) / np.linalg.norm(first))
    out["moved"] = float(np.abs(second[:, held] - moved).max())
    out["iterations"] = [list(f.iterations) for f in found]
    out.update(of_cycle(theirs, rng))
    return out


def of_cycle(system: BeadSystem, rng: np.random.Generator) -> dict[str, float]:
    """How far the V-cycle is from symmetric, and its least energy over that of the identity, of five vectors."""
    device = system._device
    assert device is not None
    n = 3 * system.boxes.nodes
    free = np.ones((system.boxes.nodes, 3))
    free[system.held] = 0
    given = [(rng.normal(size=(n // 3, 3)) * free).T.ravel().astype(np.float32) for _ in range(2)]
    made = []
    for one in given:
        device.levels[0].residual.copy_to_device(one)
        made.append(device.cycle().copy_to_host().astype(float))
    both = made[0] @ given[1], made[1] @ given[0]
    energies = [float(m @ g) for m, g in zip(made, given, strict=True)]
    size = np.sqrt(energies[0] * energies[1]) if min(energies) > 0 else 1.0
    return {"asymmetry": float(abs(both[0] - both[1]) / size), "least_energy": min(energies)}


if __name__ == "__main__":
    boxes = tuple(int(a) for a in sys.argv[1:4])
    print(json.dumps(deviations(boxes, **json.loads(sys.argv[4] if len(sys.argv) > 4 else "{}"))))
