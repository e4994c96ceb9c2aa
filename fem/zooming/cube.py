"""A box of beads hung into the solved part, or the whole body of them: filled, loaded, held and solved."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fem.criteria.strength import Strength
from fem.errors import InputError
from fem.loading.case import LoadCase
from fem.loading.dense import Box
from fem.loading.loads import Load
from fem.loading.point_springs import PointSprings, foundation_springs, held_springs
from fem.loading.supports import Foundation, Held
from fem.loading.traction import dense_forces
from fem.part.tetmesh import TetMesh
from fem.printing.beads import BeadMap, Grid
from fem.printing.body import PrintedBody
from fem.printing.filling import fill_grid
from fem.printing.plan import PrintPlan, print_axes
from fem.printing.zones import Outline
from fem.tensors import Array
from fem.zooming.gradients import TOLERANCE
from fem.zooming.hang import BoxesInPart, cut_sides, forces_onto_nodes, springs_onto_nodes
from fem.zooming.levels import Springs
from fem.zooming.meets import Meeting, Pressed, pressed
from fem.zooming.system import NOBODY, BeadSystem
from fem.zooming.tables import BeadTables, bead_tables
from fem.zooming.where import Locator

RIGID = 1e3
"""A held face is a foundation so many times as stiff as a box of bead."""


@dataclass(frozen=True)
class Supported:
    """What holds a part while loads at unit factor are put on it: the `held` faces, the `foundations` with the points
    that press of each push-only one, by name, the loads that prescribe a face's displacement, with that face, and
    what joints do (`meeting`, where there are any).
    """

    held: tuple[Held, ...] = ()
    foundations: tuple[Foundation, ...] = ()
    pressing: Mapping[str, NDArray[np.bool_]] = field(default_factory=dict)
    moved: Mapping[str, Held] = field(default_factory=dict)
    meeting: Meeting | None = None


@dataclass(frozen=True)
class BodyOfBeads:
    """A printed body, ready to be looked at bead by bead. Errors: InputError for a body that is not printed."""

    mesh: TetMesh
    name: str
    made: PrintedBody

    def __post_init__(self) -> None:
        if self.made.plan is None:
            raise InputError(f"body {self.name} is no print: it has no beads.")

    @property
    def plan(self) -> PrintPlan:
        """How it is printed."""
        assert self.made.plan is not None
        return self.made.plan

    @property
    def strength(self) -> Strength:
        """Of its beads."""
        assert self.made.values is not None
        return self.made.values.strength

    @property
    def core_quality(self) -> float:
        """The share of sound beads' stiffness and strength that its infill's have."""
        return self.plan.core_quality

    @cached_property
    def axes(self) -> Array:
        """Print axes (3, 3), rows in part axes."""
        return print_axes(self.plan)

    @property
    def opening(self) -> float:
        """How wide [mm] a hole in its infill is at most: a cell."""
        return 0.0 if self.made.cell is None else float(np.max(self.made.cell.size))

    @cached_property
    def outline(self) -> Outline:
        """Its surface, ready for filling."""
        return Outline(self.mesh, body=self.name, plan=self.plan)

    @cached_property
    def locator(self) -> Locator:
        """Its tetrahedra, ready to be searched."""
        return Locator(self.mesh, self.name)

    def tables(self, step: Array) -> BeadTables:
        """What a box of its bead is worth."""
        values = self.made.values
        assert values is not None
        return bead_tables(step, E=values.E, nu=values.nu, G=values.G, expansion=values.expansion)


@dataclass(frozen=True)
class SolvedBeads:
    """Boxes of beads and their displacements (nodes, 3) [mm, print axes] under each load at unit factor, `units`;
    `warming` [K] of the body by each. `iterations` is the largest of all loads'.
    """

    body: BodyOfBeads
    beads: BeadMap
    system: BeadSystem
    units: Mapping[str, Array]
    warming: Mapping[str, float]
    iterations: int

    def combined(self, case: LoadCase, names: Sequence[str]) -> tuple[Array, float]:
        """Displacement (nodes, 3) [mm] and warming [K] of some of a case's loads."""
        moved = np.zeros((self.system.boxes.nodes, 3), dtype=next(iter(self.units.values())).dtype)
        for k in names:
            moved += case.factors[k] * self.units[k]
        return moved, sum(case.factors[k] * self.warming[k] for k in names)


def solve_beads(
    body: BodyOfBeads,
    grid: Grid,
    *,
    loads: Mapping[str, Load],
    supported: Supported,
    displacement: Mapping[str, Array] | None,
    phase: tuple[float, float, float] = (0.0, 0.0, 0.0),
    tolerance: float = TOLERANCE,
    progress: Callable[[float], None] | None = None,
) -> SolvedBeads:
    """Fill a grid with the body's beads and solve them under each of the `loads` at unit factor.

    Where the part goes on beyond the grid it is moved as the part is, by `displacement` (n, 3) [mm] of the part's
    mesh for each load; None where the grid holds the whole body: then displacements are kept in single precision.
    Errors: NotConverged, NoTrustworthyAnswer.
    """
    beads = fill_grid(body.outline, grid, phase=phase)
    tables = body.tables(grid.step)
    fields = None if displacement is None else np.array([displacement[k] for k in loads])
    system = BeadSystem(beads, tables, core=body.core_quality)
    hung = _hang(body, grid, system, supported, fields)
    loose = loose_boxes(system.filled > 0, hung.held_corners)
    if loose.any():
        system = BeadSystem(beads, tables, without=loose, core=body.core_quality)
        hung = _hang(body, grid, system, supported, fields)
    system.support(held=hung.held, springs=hung.springs)
    warming = {k: _warming(body, load) for k, load in loads.items()}
    units, most = {}, 0
    kept = np.float32 if displacement is None else np.float64
    for number, (name, load) in enumerate(loads.items()):
        force = _forces(hung, body, system, load, warming[name])[None]
        moved = None if hung.moved is None else hung.moved[number : number + 1]
        found = system.solve(force, moved=moved, tolerance=tolerance)
        units[name], most = found.displacement[0].astype(kept), max(most, *found.iterations)
        if progress is not None:
            progress((number + 1) / len(loads))
    return SolvedBeads(body, beads, system, units, warming, most)


@dataclass(frozen=True)
class _Hung:
    """What holds the boxes: nodes `held` (h,) displaced by `moved` (k, h, 3) [mm], `springs` at nodes, and the
    `pulls` (n, 3) [N] of those that a load or a joint's counterpart displaces, by load.
    """

    boxes: BoxesInPart
    held: NDArray[np.int64]
    moved: Array | None
    springs: Springs
    pulls: Mapping[str, Array]

    @property
    def held_corners(self) -> NDArray[np.bool_]:
        """Which corners (nz + 1, ny + 1, nx + 1) of the grid hang on something."""
        some = np.zeros(self.boxes.count + 1, dtype=bool)
        some[self.held], some[self.springs.node] = True, True
        return np.asarray(some[self.boxes.number])


def _hang(body: BodyOfBeads, grid: Grid, system: BeadSystem, supported: Supported, fields: Array | None) -> _Hung:
    boxes = BoxesInPart(grid, body.axes, system.filled > 0, system.boxes.number, body.opening)
    held, moved = NOBODY, None
    if fields is not None:
        sides = cut_sides(boxes, body.locator, fields)
        held, moved = sides.node.astype(np.int64), sides.displacement
    spacing, mesh, room = float(min(grid.step)), body.mesh, boxes.surface_room(body.locator)
    values = body.made.values
    assert values is not None
    rigid = RIGID * max(values.E) / spacing

    def face(held: Held) -> PointSprings:
        return held_springs(mesh, held, stiffness=rigid, spacing=spacing, box=room, body=body.name)

    def bed(found: Foundation) -> PointSprings:
        pressing = supported.pressing.get(found.name)
        return foundation_springs(mesh, found, spacing=spacing, box=room, body=body.name, pressing=pressing)

    points = [*map(bed, supported.foundations), *map(face, supported.held)]
    moves = {k: face(h) for k, h in supported.moved.items()}
    joints = None
    if supported.meeting is not None:
        joints = pressed(mesh, body.name, supported.meeting, spacing=spacing, box=room)
        points.append(joints.springs)
    found = springs_onto_nodes(boxes, [*points, *moves.values()], room=room)
    pulls = {} if joints is None else _joint_pulls(boxes, body, joints, supported.meeting, room)
    for name, some in moves.items():
        own = springs_onto_nodes(boxes, [some], room=room)
        pulls.setdefault(name, np.zeros((boxes.count, 3)))
        pulls[name][own.node] += np.einsum("sij,sj->si", own.spring, own.rest[0])
    return _Hung(boxes, held, moved, Springs(found.node.astype(np.int64), found.spring), pulls)


def _joint_pulls(
    boxes: BoxesInPart, body: BodyOfBeads, joints: Pressed, meeting: Meeting | None, room: Box
) -> dict[str, Array]:
    """The forces (n, 3) [N] of joints by load, with those of their springs where the beads move as the part does."""
    assert meeting is not None
    own = springs_onto_nodes(boxes, [joints.springs], room=room)
    corner = np.argwhere(boxes.number >= 0)
    place = np.empty((boxes.count, 3))
    place[boxes.number[tuple(corner.T)]] = boxes.corners(corner)
    at = body.locator.find(place[own.node] @ body.axes)
    pulls = {}
    for name, unit in meeting.units.items():
        pulls[name] = forces_onto_nodes(boxes, joints.of(name), room=room)
        pulls[name][own.node] += np.einsum("sij,sj->si", own.spring, at.values(unit) @ body.axes.T)
    return pulls


def _forces(hung: _Hung, body: BodyOfBeads, system: BeadSystem, load: Load, warming: float) -> Array:
    """Nodal forces (n, 3) [N, print axes] of a load at unit factor on the boxes."""
    boxes = hung.boxes
    spacing, room = float(min(boxes.grid.step)), boxes.surface_room(body.locator)
    pushed = dense_forces(body.mesh, load.tractions, spacing=spacing, box=room, body=body.name)
    out = forces_onto_nodes(boxes, pushed, room=room)
    if load.name in hung.pulls:
        out = out + hung.pulls[load.name]
    if load.acceleration is not None:
        out = out + system.mass(body.made.solid)[:, None] * (body.axes @ load.acceleration)
    if warming:
        out = out + warming * system.warm_forces()
    return out


def _warming(body: BodyOfBeads, load: Load) -> float:
    """By how much [K] a load warms the body, which it does evenly."""
    if load.temperature_change is None:
        return 0.0
    return float(load.temperature_change[body.mesh.tets_of(body.name)[0]])


def loose_boxes(filled: NDArray[np.bool_], held: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Boxes (nz, ny, nx) in pieces that hang together by their sides, but of which no corner is `held`."""
    from scipy.ndimage import label

    piece, count = label(filled)
    if count <= 1:
        return np.zeros_like(filled)
    hangs = np.zeros(count + 1, dtype=bool)
    nz, ny, nx = filled.shape
    for c, b, a in np.ndindex(2, 2, 2):
        hangs[np.unique(piece[held[c : c + nz, b : b + ny, a : a + nx]])] = True
    hangs[0] = True
    return np.asarray(~hangs[piece])
