"""Infill as it is printed, one period of it tied to itself: what an endless block of cells is worth, box by box.

The boxes are those that parts are filled with. Corners one period apart are one corner but for the mean strain, so
there is no cut face and no layer beside it. The means of stress are then taken on a wider piece of the same lattice,
by the functions that judge parts.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from helpers_fe import box

from fem.loading.case import LoadCase
from fem.loading.loads import Load
from fem.printing.beads import BeadMap, Grid
from fem.printing.body import printed_body
from fem.printing.filling import fill_grid
from fem.printing.infill.patterns import LEAN, gyroid_length, period_length
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card
from fem.zooming.cube import BodyOfBeads, SolvedBeads
from fem.zooming.judge import judge_case, weakest
from fem.zooming.levels import Springs
from fem.zooming.system import BeadSystem

WIDTH, HEIGHT = 0.45, 0.2
ROOM = 3.15
"""The body ends so far [mm] beyond the lattice: seven beads, so that walls along the boxes fill whole ones."""
LAYERS = {"woodpile": 2, "grid": 2, "triangle": 6, "honeycomb": 6, "cubic": 30, "gyroid": 16}
"""After so many layers a pattern repeats, the turns of its crossing beads among them."""
STRAINS = ("e11", "e22", "e33", "e23", "e13", "e12")


def fitting_density(pattern, wanted):
    """The density next to the wanted one whose period is a whole number of layers high, or of quarter beads wide."""
    if pattern == "gyroid":
        return gyroid_length() * WIDTH / (LAYERS[pattern] * HEIGHT)
    if pattern == "cubic":
        return 1 - (1 - LEAN * WIDTH * math.sqrt(3) / (LAYERS[pattern] * HEIGHT)) ** 3
    if pattern in ("woodpile", "grid"):
        share = 1 / round(period_length(pattern, density=wanted, bead_width=WIDTH) / WIDTH * 4) * 4
        return share if pattern == "woodpile" else 1 - (1 - share) ** 2
    return wanted


def upright_period(pattern, density):
    """Sides (2,) [mm] in the layer of an upright box that repeats."""
    a = period_length(pattern, density=density, bead_width=WIDTH)
    root = math.sqrt(3)
    return {
        "triangle": (a, root * a),
        "honeycomb": (3 * a, root * a),
        "cubic": (math.sqrt(2) * a, math.sqrt(6) * a),
    }.get(pattern, (a, a))


def lattice_body(pattern, density, *, size, card="pa12-cf"):
    """A plain box of `size` (3,) [mm] that is all core."""
    plan = PrintPlan(
        (0, 0, 1), bead_width=WIDTH, bead_height=HEIGHT, walls=0, covers=0,
        infill_pattern=pattern, infill_density=density, infill_angle=0.0,
    )  # fmt: skip
    made = printed_body(plan, card=load_card(card), state="dry")
    return BodyOfBeads(box(size, (1, 1, 1)), "part", made)


def unit_load(name, nodes):
    """A load without forces: what moves is the part around."""
    return Load(name, "force", np.zeros((nodes, 3)), False, np.zeros(0, dtype=np.int64))


def strained(x, strain):
    """Displacement (n, 3) of places (n, 3) under a mean strain (6,), engineering shear."""
    e = np.asarray(strain, dtype=float)
    tensor = np.array([[e[0], e[5] / 2, e[4] / 2], [e[5] / 2, e[1], e[3] / 2], [e[4] / 2, e[3] / 2, e[2]]])
    return x @ tensor


@dataclass(frozen=True)
class Period:
    """One period of a pattern in boxes of about `side` [mm] in the layer, `per_layer` of them a layer."""

    pattern: str
    density: float
    side: float
    per_layer: int
    phase: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @cached_property
    def body(self) -> BodyOfBeads:
        wide, deep = upright_period(self.pattern, self.density)
        high = (LAYERS[self.pattern] + 12) * HEIGHT
        return lattice_body(self.pattern, self.density, size=(wide + 2 * ROOM, deep + 2 * ROOM, high))

    def grid(self, *, pad: int = 0) -> Grid:
        """One period, and `pad` boxes more on each side in the layer."""
        sides = np.array(upright_period(self.pattern, self.density))
        count = np.maximum(np.round(sides / self.side), 2).astype(int)
        step = np.array([*(sides / count), HEIGHT / self.per_layer])
        low = np.array([ROOM, ROOM, 6 * HEIGHT]) - pad * step * [1, 1, 0]
        nx, ny = (int(n) + 2 * pad for n in count)
        return Grid(low, step, (nx, ny, LAYERS[self.pattern] * self.per_layer), self.per_layer, 6)

    def filled(self, grid: Grid) -> BeadMap:
        return fill_grid(self.body.outline, grid, phase=self.phase)

    @cached_property
    def solved(self) -> "SolvedPeriod":
        return solve_period(self)


@dataclass(frozen=True)
class SolvedPeriod:
    """`stiffness` (6, 6) [MPa]; `beads` a wider piece of the lattice with its displacements under each unit strain;
    `inner` (layers, ny, nx) one period of it; `iterations` of all six."""

    stiffness: np.ndarray
    beads: SolvedBeads
    inner: np.ndarray
    iterations: int

    def first_bead(self, stress):
        """By how much a mean stress (6,) [MPa] may grow until the first bead fails, and that bead."""
        strain = np.linalg.solve(self.stiffness, np.asarray(stress, dtype=float))
        loads = {k: unit_load(k, 1) for k in STRAINS}
        case = LoadCase("block", dict(zip(STRAINS, strain, strict=True)), loads)
        judged = judge_case(self.beads, case, inner=self.inner, rest=False)
        return weakest(judged, width=WIDTH), judged


def corners_of(system, grid):
    """The number (n, 3) of each node's corner, z first, and its place (n, 3) [mm]."""
    corner = np.argwhere(system.boxes.number >= 0)
    corner = corner[np.argsort(system.boxes.number[tuple(corner.T)])]
    return corner, grid.origin + corner[:, ::-1] * grid.step


def solve_period(period: Period) -> SolvedPeriod:
    """Six unit strains on one period, then carried to the lattice around."""
    grid = period.grid()
    system = BeadSystem(period.filled(grid), period.body.tables(grid.step))
    corner, place = corners_of(system, grid)
    size = np.array(grid.count[::-1])
    class_at = np.full(size, -1)
    flat = np.ravel_multi_index(tuple((corner % size).T), size)
    known, of = np.unique(flat, return_inverse=True)
    class_at.reshape(-1)[known] = np.arange(len(known))
    rough = _rough_inverse(period, grid)
    moves, totals, most = [], [], 0
    for strain in np.eye(6):
        whole = strained(place, strain)
        right = -_gathered(system.product(whole), of)
        found, steps = _conjugate_gradients(lambda x: _gathered(system.product(x[of]), of), rough(of), right)
        moves.append(found)
        totals.append(whole + found[of])
        most = max(most, steps)
    forces = [system.product(t) for t in totals]
    volume = np.prod(grid.step * grid.count)
    stiffness = np.array([[np.sum(f * t) for t in totals] for f in forces]) / volume

    pad = math.ceil(1.6 * WIDTH / grid.step[:2].min())
    wider = period.grid(pad=pad)
    map_ = period.filled(wider)
    around = BeadSystem(map_, period.body.tables(grid.step))
    far, there = corners_of(around, wider)
    which = class_at[tuple(((far - [0, pad, pad]) % size).T)]
    assert (which >= 0).all(), "the lattice does not repeat"
    units = {
        name: strained(there, strain) + move[which]
        for name, strain, move in zip(STRAINS, np.eye(6), moves, strict=True)
    }
    inner = np.zeros(map_.zone.shape, dtype=bool)
    inner[:, pad:-pad, pad:-pad] = True
    beads = SolvedBeads(period.body, map_, around, units, dict.fromkeys(STRAINS, 0.0), most)
    return SolvedPeriod((stiffness + stiffness.T) / 2, beads, inner, most)


def _gathered(forces, of):
    """Sums (c, 3) of what (n, 3) corners that are one hold."""
    return np.stack([np.bincount(of, forces[:, d]) for d in range(3)], axis=1)


def _rough_inverse(period, grid):
    """The multigrid cycle of the period on soft springs at its sides, for corners that are one."""
    system = BeadSystem(period.filled(grid), period.body.tables(grid.step))
    corner, _ = corners_of(system, grid)
    side = np.flatnonzero(((corner == 0) | (corner == np.array(grid.count[::-1]))).any(axis=1))
    spring = 0.3 * max(period.body.made.values.E) * grid.step.min() * np.eye(3)
    system.support(springs=Springs(side.astype(np.int64), np.repeat(spring[None], len(side), axis=0)))
    cycle = system._cycle
    assert cycle is not None

    def prepared(of):
        share = 1 / np.bincount(of)[of][:, None]

        def apply(r):
            size = np.abs(r).max()
            cycle.levels[0].residual[:] = (share * r[of] / size).ravel()
            return size * _gathered(share * np.asarray(cycle(), dtype=float).reshape(-1, 3), of)

        return apply

    return prepared


def _conjugate_gradients(product, rough, right, *, tolerance=1e-6, most=500):
    x, residual = np.zeros_like(right), right.copy()
    size, direction, before = np.linalg.norm(right), None, 1.0
    for step in range(1, most + 1):
        z = rough(residual)
        gain = np.sum(z * residual)
        direction = z if direction is None else z + gain / before * direction
        image = product(direction)
        alpha = gain / np.sum(direction * image)
        x += alpha * direction
        residual -= alpha * image
        before = gain
        if np.linalg.norm(residual) < tolerance * size:
            return x - x.mean(axis=0), step
    raise AssertionError(f"{most} steps leave {np.linalg.norm(residual) / size:.1e}")
