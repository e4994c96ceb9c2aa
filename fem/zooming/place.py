"""A place of a part looked at bead by bead: a cube, a larger or smaller one, and the infill's lattice laid otherwise.

The number that is told is that of fine boxes. How far it may lie off is asked of coarser ones, which cost a fifth:
the cube a size smaller (and larger, while that still moves the reserve), and the lattice of the infill shifted, since
nobody knows how it lies in the part.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fem.criteria.reserve import phase_reserve
from fem.errors import InputError
from fem.judging.growing import LIFTS_OFF
from fem.loading.case import LoadCase
from fem.printing.beads import Grid
from fem.printing.filling import layer_grid
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array, stress_rotation
from fem.zooming.cube import BodyOfBeads, SolvedBeads, Supported, solve_beads
from fem.zooming.gradients import TOLERANCE
from fem.zooming.judge import Weakest, judge_cases, weakest
from fem.zooming.nouns import JudgedBeads

Progress = Callable[[float], None]
SMALLER = 0.7
"""A cube is checked by one of this share of its size."""
MOST_CUBES = 2
"""A cube grows so many times at most."""
MOST_CONTACTS = 8
"""So often at most is asked what presses where the beads fail, at factors up to `FURTHEST`."""
FURTHEST = 1e3
BACK = 0.7
"""Beads are judged from this share of the factor at which coarse boxes held: finer ones may fail a little before."""
SETTLED = 0.03
"""The reserve of a cube has settled when a smaller one says the same within this share."""
PHASES = ((0.5, 0.25, 0.0), (0.25, 0.5, 0.5))
"""Other places of the infill's lattice that are tried, in shares of its period."""
FEWEST_BEADS, MOST_BEADS = 26, 40
"""A cube is four cells of the infill wide, but within so many beads."""
COARSE = (0.93, 1.1)
"""Coarse boxes told so much less, or more, than fine ones at the places of the demonstration."""
ROUGH = 1e-4
"""Residual at which what is only compared is no longer solved on; it moves a reserve by less than a thousandth."""


@dataclass(frozen=True)
class SolvedPart:
    """Cases of the solved part that share what holds them: the `displacement` (n, 3) [mm] of each load at unit
    factor.

    Where foundations only push and loads stay while others grow, what presses depends on how far they grow: `grown`
    solves the part anew with its growing loads at a factor, None where it has lifted off and is free, as it has at
    the factor `free`. Reserve factors are counted from the factor `start`, at which what presses was found.
    """

    cases: Mapping[str, LoadCase]
    displacement: Mapping[str, Array]
    supported: Supported
    grown: Callable[[float], SolvedPart | None] | None = None
    start: float = 0.0
    free: float = np.inf


@dataclass(frozen=True)
class Voxels:
    """Boxes: `step` [mm] their side in the layer, `per_layer` how many stand on each other in a layer."""

    step: float
    per_layer: int


@dataclass(frozen=True)
class ZoomedCase:
    """What a place bears in one case: the `first` bead to fail there, the `band` (low, high) of its reserve factor,
    the relative `change` from a smaller cube, and all beads as `judged`.
    """

    first: Weakest
    band: tuple[float, float]
    change: float
    judged: JudgedBeads

    @property
    def settled(self) -> bool:
        """Whether a smaller cube said the same."""
        return self.change < SETTLED


@dataclass(frozen=True)
class ZoomedPlace:
    """A cube of `size` [mm] around the place `at` (3,) [mm, part axes] of a body, with `voxels`, case by case.

    Cases in which no bead lies in the cube's inner half are missing. A `scan` was made of coarse boxes alone, to see
    whether the place may decide.
    """

    body: BodyOfBeads
    at: Array
    size: float
    voxels: Voxels
    unknowns: int
    iterations: int
    cases: Mapping[str, ZoomedCase]
    scan: bool = False


def default_size(body: BodyOfBeads) -> float:
    """Four cells of the infill, within 26 to 40 beads [mm]."""
    width, cell = body.plan.bead_width, body.made.cell
    cells = 0.0 if cell is None else 4 * float(np.max(cell.size))
    return float(np.clip(cells, FEWEST_BEADS * width, MOST_BEADS * width))


def fine_voxels(body: BodyOfBeads, step: float | None = None) -> Voxels:
    """Boxes fine enough for a number that is told: four across a bead and two a layer, or of another `step`."""
    side = body.plan.bead_width / 4 if step is None else step
    return Voxels(side, max(2, round(body.plan.bead_height / side)) if step is None else layers_of(body, side))


def layers_of(body: BodyOfBeads, step: float) -> int:
    """How many boxes of a side `step` [mm] a layer takes: they are at most a third higher than wide."""
    return max(1, int(np.ceil(body.plan.bead_height / (4 / 3 * step) - 1e-6)))


def scan_voxels(body: BodyOfBeads) -> Voxels:
    """Coarser boxes, three across a bead: for what is compared and not told."""
    side = body.plan.bead_width / 3
    return Voxels(side, layers_of(body, side))


def scan_place(body: BodyOfBeads, at: Array, *, parts: Sequence[SolvedPart]) -> ZoomedPlace:
    """A place by one cube of coarse boxes: what its beads bear within some per cent.

    Errors: as for `zoom_place`.
    """
    size, voxels = default_size(body), scan_voxels(body)
    cases: dict[str, ZoomedCase] = {}
    unknowns = iterations = 0
    for part in (_at_failure(body, at, size, voxels, part) for part in parts):
        solved = _cube(body, at, size, voxels, part, tolerance=ROUGH)
        inner = _inner(body, solved.beads.grid, at, size / 2)
        unknowns, iterations = solved.system.unknowns, max(iterations, solved.iterations)
        for name, judged in judge_cases(solved, part.cases, inner=inner, rest=False, start=part.start).items():
            first = _lifted(
                part, buckled(body, judged, weakest(judged, width=body.plan.bead_width), start=part.start)
            )
            if first is not None:
                band = tuple(first.reserve * f for f in COARSE)
                cases[name] = ZoomedCase(first, (band[0], band[1]), 0.0, judged)
    if not cases:
        raise no_bead(body, at)
    return ZoomedPlace(body, at, size, voxels, unknowns, iterations, cases, scan=True)


def no_bead(body: BodyOfBeads, at: Array) -> InputError:
    """Nothing to look at."""
    where = ", ".join(f"{v:.4g}" for v in at)
    return InputError(f"no bead of body {body.name} lies at ({where}) mm.", advice="Give a place inside the part.")


def zoom_place(
    body: BodyOfBeads,
    at: Array,
    *,
    parts: Sequence[SolvedPart],
    size: float | None = None,
    voxels: Voxels | None = None,
    progress: Progress | None = None,
) -> ZoomedPlace:
    """Look at a place bead by bead, in all cases. Errors: InputError where no bead lies there; NotConverged."""
    size = default_size(body) if size is None else size
    told, scan = voxels or fine_voxels(body), scan_voxels(body)
    say = progress or (lambda _share: None)
    changes: dict[str, float] = {}
    parts = [_at_failure(body, at, size, scan, part) for part in parts]
    smaller = _look(body, at, SMALLER * size, scan, parts)
    for turn in range(MOST_CUBES + 1):
        plain, inside = _looks(body, at, size, scan, parts, within=(size, SMALLER * size))
        changes = _changes(smaller, inside)
        if max(changes.values(), default=0.0) < SETTLED or turn == MOST_CUBES:
            break
        smaller, size = plain, size / SMALLER
        say(0.25 * (turn + 1) / (MOST_CUBES + 1))
    say(0.25)
    spread = {name: [1.0, 1 / (1 + changes.get(name, 0.0)), 1 + changes.get(name, 0.0)] for name in plain}
    for number, phase in enumerate(PHASES if body.made.cell is not None else ()):
        shifted = _look(body, at, size, scan, parts, phase=phase)
        for name, least in shifted.items():
            if name in plain and 0 < plain[name] < np.inf:
                spread[name].append(least / plain[name])
        say(0.25 + 0.2 * (number + 1) / len(PHASES))
    say(0.45)
    cases: dict[str, ZoomedCase] = {}
    unknowns = iterations = 0
    for number, part in enumerate(parts):
        solved = _cube(body, at, size, told, part)
        say(0.45 + 0.55 * (number + 0.7) / len(parts))
        inner = _inner(body, solved.beads.grid, at, size / 2)
        unknowns, iterations = solved.system.unknowns, max(iterations, solved.iterations)
        for name, judged in judge_cases(solved, part.cases, inner=inner, start=part.start).items():
            first = _lifted(
                part, buckled(body, judged, weakest(judged, width=body.plan.bead_width), start=part.start)
            )
            if first is not None:
                low, high = (first.reserve * f(spread.get(name, [1.0])) for f in (min, max))
                cases[name] = ZoomedCase(first, (low, high), changes.get(name, 0.0), judged)
    say(1.0)
    if not cases:
        raise no_bead(body, at)
    return ZoomedPlace(body, at, size, told, unknowns, iterations, cases)


def buckled(body: BodyOfBeads, judged: JudgedBeads, first: Weakest | None, *, start: float = 0.0) -> Weakest | None:
    """The first to fail: a bead, or a thin wall of the infill that buckles before under the infill's mean stress."""
    if first is None or judged.core is None or body.made.cell is None:
        return first
    into_cell = stress_rotation(in_layer_rotation(body.plan.infill_angle))
    for wall in body.made.cell.walls:
        p, v = judged.core @ (wall.to_wall @ into_cell).T
        reserve = start + float(phase_reserve(p, v, wall.limits).reserve[0])
        if reserve < first.reserve:
            least = {**first.by_zone, "core": reserve}
            first = replace(first, reserve=reserve, zone="core", mode=wall.mode, by_zone=least)
    return first


def _at_failure(body: BodyOfBeads, at: Array, size: float, voxels: Voxels, part: SolvedPart) -> SolvedPart:
    """The part with what presses shortly before the beads of a cube fail, by coarse boxes; as it is where that never
    changes.

    The load of failure is closed in as for the homogenised part: between a factor at which the beads hold, with the
    contact that it has there, and one at which they fail or the part is free.
    """
    if part.grown is None:
        return part
    held, over, factor = part, np.inf, 1.0
    for _ in range(MOST_CONTACTS):
        guess, tried = np.inf, part.grown(factor)
        bears = 0.0 if tried is None else min(_look(body, at, size, voxels, [tried]).values(), default=np.inf)
        if tried is not None and bears > factor * (1 + ROUGH):  # reserves are kept in single precision
            held, guess = tried, bears
        else:
            over = factor
            held = replace(held, free=min(held.free, factor)) if tried is None else held
        if min(guess, over) < held.start * (1 + SETTLED) or held.start >= FURTHEST:
            break
        factor = guess if guess < min(over, FURTHEST) else float(np.sqrt(held.start * min(over, FURTHEST)))
        factor = factor if held.start > 0 else over / 2
    return replace(held, start=BACK * held.start, free=over if held.free <= over else np.inf)


def _lifted(part: SolvedPart, first: Weakest | None) -> Weakest | None:
    """The first to fail: a bead, or the whole part, by lifting off."""
    if first is not None and part.free < first.reserve:
        return replace(first, reserve=part.free, mode=LIFTS_OFF)
    return first


def _changes(before: Mapping[str, float], after: Mapping[str, float]) -> dict[str, float]:
    """Relative change of the reserve, by case; none where nothing grows towards failure."""
    return {
        case: abs(after[case] / least - 1)
        for case, least in before.items()
        if case in after and 0 < least < np.inf and after[case] < np.inf
    }


def _look(
    body: BodyOfBeads,
    at: Array,
    size: float,
    voxels: Voxels,
    parts: Sequence[SolvedPart],
    *,
    phase: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> dict[str, float]:
    """The least reserve of each case within the inner half of a cube."""
    return _looks(body, at, size, voxels, parts, within=(size,), phase=phase)[0]


def _looks(
    body: BodyOfBeads,
    at: Array,
    size: float,
    voxels: Voxels,
    parts: Sequence[SolvedPart],
    *,
    within: tuple[float, ...],
    phase: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> tuple[dict[str, float], ...]:
    """The least reserve of each case within the inner halves of cubes of the sizes `within`, the largest first."""
    out: tuple[dict[str, float], ...] = tuple({} for _ in within)
    for part in parts:
        solved = _cube(body, at, size, voxels, part, phase=phase, tolerance=ROUGH)
        inner = [_inner(body, solved.beads.grid, at, each / 2) for each in within]
        for name, judged in judge_cases(solved, part.cases, inner=inner[0], rest=False, start=part.start).items():
            for least, some in zip(out, inner, strict=True):
                first = weakest(judged, width=body.plan.bead_width, within=some)
                if first is not None:
                    least[name] = first.reserve
    return out


def _cube(
    body: BodyOfBeads,
    at: Array,
    size: float,
    voxels: Voxels,
    part: SolvedPart,
    *,
    phase: tuple[float, float, float] = (0.0, 0.0, 0.0),
    tolerance: float = TOLERANCE,
) -> SolvedBeads:
    middle = body.axes @ at
    low, high = middle - size / 2, middle + size / 2
    grid = layer_grid(body.outline, low=low, high=high, step=voxels.step, per_layer=voxels.per_layer)
    used = sorted({k for case in part.cases.values() for k in case.factors})
    loads = {k: load for case in part.cases.values() for k, load in case.loads.items() if k in used}
    return solve_beads(
        body,
        grid,
        loads=loads,
        supported=part.supported,
        displacement=part.displacement,
        phase=phase,
        tolerance=tolerance,
    )


def _inner(body: BodyOfBeads, grid: Grid, at: Array, size: float) -> NDArray[np.bool_]:
    """Boxes (layers, ny, nx) whose middle lies within a cube of `size` [mm] around a place."""
    middle, step = body.axes @ at, grid.step * np.array([1, 1, grid.per_layer])
    count = (grid.count[0], grid.count[1], grid.layers)
    x, y, z = (
        np.abs(grid.origin[d] + (np.arange(count[d]) + 0.5) * step[d] - middle[d]) <= size / 2 for d in range(3)
    )
    return np.asarray(z[:, None, None] & y[:, None] & x)
