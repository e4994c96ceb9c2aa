"""How long a part bead by bead takes: on the accelerator where there is one, otherwise on the processor.

A block of 120 x 60 x 49 mm with an arch cut out from below, walls, covers and a gyroid inside, layers of 0.2 mm. It
stands on springs and is loaded from above, upright and sideways: two right sides.

    python studies/speed/beads_on_an_accelerator.py 0.3 0.225 0.15
    BEADWORK_DEVICE=none python studies/speed/beads_on_an_accelerator.py 0.3

Each number is the side of a box in the layer in mm. Before the first, a small block loads the kernels.
"""

from __future__ import annotations

import resource
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from fem.cores import workers
from fem.printing.beads import AIR, CORE, COVER, NOTHING, WALL, BeadMap, Grid
from fem.zooming.levels import Springs
from fem.zooming.system import BeadSystem
from fem.zooming.tables import bead_tables

LAYER = 0.2
PERIOD, LEVEL = 5.0, 0.62
"""Of the gyroid: mm, and the value of its function within which there is bead (about 40 %)."""


def block(side: float, *, size: tuple[float, float, float] = (120.0, 60.0, 49.0)) -> BeadMap:
    """The block's beads in boxes of `side` [mm] in the layer, one a layer."""
    nx, ny, nz = (round(s / d) for s, d in zip(size, (side, side, LAYER), strict=True))
    x, y = (np.arange(n, dtype=np.float32) * np.float32(side) + np.float32(side / 2) for n in (nx, ny))
    zone, way = np.zeros((nz, ny, nx), dtype=np.uint8), np.zeros((nz, ny, nx), dtype=np.uint8)

    def fill(k: int) -> None:
        z = (k + 0.5) * LAYER
        zone[k], way[k] = layer(x, y, z, number=k, size=size)

    with ThreadPoolExecutor(workers()) as pool:
        list(pool.map(fill, range(nz)))
    share = np.where((zone > NOTHING) & (zone < AIR), 255, 0).astype(np.uint8)
    share[zone == WALL] = 230
    grid = Grid(np.zeros(3), np.array([side, side, LAYER]), (nx, ny, nz), 1, 0)
    return BeadMap(grid, zone, share, way, np.zeros(zone.shape, dtype=np.uint16))


def layer(x: np.ndarray, y: np.ndarray, z: float, *, number: int, size: tuple[float, float, float]) -> tuple:
    """Zone and way (ny, nx) of one layer."""
    turn = np.float32(2 * np.pi / PERIOD)
    (sx, cx), (sy, cy) = ((np.sin(turn * a), np.cos(turn * a)) for a in (x, y[:, None]))
    sz, cz = np.float32(np.sin(turn * z)), np.float32(np.cos(turn * z))
    solid = np.abs(sx * cy + sy * cz + sz * cx) < LEVEL
    along, across = cx * cy - sz * sx, cy * cz - sx * sy
    way = (np.round(np.arctan2(along, -across) / np.pi * 72) % 72).astype(np.uint8)
    zone = np.where(solid, CORE, AIR).astype(np.uint8)
    rim = size[0] * 0.4
    depth = np.hypot(x - size[0] / 2, z + 6.0) - rim
    depth = np.broadcast_to(depth, zone.shape)
    if z < 1.0 or z > size[2] - 1.0:
        zone[:], way[:] = COVER, (18, 54)[number % 2]
    zone[depth < 1.5] = COVER
    for near, its_way in ((np.minimum(x, size[0] - x), 36), (np.minimum(y, size[1] - y)[:, None], 0)):
        at = np.broadcast_to(near < 1.8, zone.shape)
        zone[at], way[at] = WALL, its_way
    zone[depth < 0] = NOTHING
    return zone, way


def loaded(system: BeadSystem) -> tuple[Springs, np.ndarray]:
    """Springs under the block's feet, and two loads (2, n, 3) [N] of 1 kN on its top."""
    number = system.boxes.number
    feet = np.sort(number[0][number[0] >= 0]).astype(np.int64)
    top = number[-1][number[-1] >= 0]
    stiff = np.diag([30.0, 30.0, 100.0]) * system.tables.step[0] * system.tables.step[1]
    forces = np.zeros((2, system.boxes.nodes, 3))
    forces[0, top, 2] = -1000.0 / len(top)
    forces[1, top, 0] = 1000.0 / len(top)
    return Springs(feet, np.broadcast_to(stiff, (len(feet), 3, 3)).copy()), forces


def measure(side: float, *, size: tuple[float, float, float] = (120.0, 60.0, 49.0)) -> None:
    """Print what one block takes."""
    step = (side, side, LAYER)
    tables = bead_tables(step, E=(6000, 2500, 2000), nu=(0.35, 0.35, 0.4), G=(1200, 1000, 800))
    beads = block(side, size=size)
    times = [time.perf_counter()]
    system = BeadSystem(beads, tables)
    times.append(time.perf_counter())
    springs, forces = loaded(system)
    times.append(time.perf_counter())
    system.support(springs=springs)
    times.append(time.perf_counter())
    found = system.solve(forces)
    times.append(time.perf_counter())
    packed, _, support, solve = np.diff(times)
    energy = np.einsum("kni,kni->k", forces, found.displacement) / 2
    print(
        f"{system.solved_on or 'processor'}: boxes of {side} mm: {len(system.boxes.share) / 1e6:.1f} M, "
        f"{system.unknowns / 1e6:.1f} M unknowns; packed in {packed:.2f} s, levels in {support:.2f} s, "
        f"solved in {solve:.2f} s, iterations {found.iterations}; energies {energy[0]:.6g}, {energy[1]:.6g} mJ; "
        f"memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.1f} GB"
        + (f", on the card {taken():.1f} GB" if system.solved_on else "")
        + (f"; {system.declined}" if system.declined else ""),
        flush=True,
    )


def taken() -> float:
    """Memory in use on the accelerator [GB]."""
    from numba import cuda

    free, total = cuda.current_context().get_memory_info()
    return (total - free) / 1e9


if __name__ == "__main__":
    measure(0.3, size=(60.0, 30.0, 24.0))
    for given in sys.argv[1:]:
        measure(float(given))
