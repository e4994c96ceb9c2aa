"""Which part of each tetrahedron is wall, cover or infill, and which way the wall's beads run.

Wall: within `walls` beads of the outline, measured in the layer plane. Cover: within `covers` layers of the surface,
measured up and down the build. The rest is the core, filled by the infill. Shares come from sampling each
tetrahedron, so that a coarse mesh still carries the right mass.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.cores import even_ranges, shared, workers
from fem.part.quadrature import tet_shapes, tet_slopes
from fem.part.tetmesh import Index, TetMesh
from fem.printing.facets import flat_triangles
from fem.printing.plan import PrintPlan, print_axes
from fem.tensors import Array

WALL, COVER, CORE = range(3)
"""The zones of a tetrahedron, in the order of their columns."""
SAMPLES, SETS = 32, 61
"""Places in a set of samples, and how many sets there are: neighbours take different ones, so that errors cancel."""
MOST_SETS = 16
"""A tetrahedron larger than the thinnest zone is deep takes several sets, at most so many."""
THIN_BEADS = 2
"""A part narrower than so many beads has no room for anything between its walls."""
_FLAT = 0.008
"""A boundary triangle whose sides bend by less than this share of a bead width counts as flat."""
_MOST_BOXES = 4_000_000
_FLATNESS = 8
"""Boxes that hold the surface are so many times as wide as high."""
_GOLDEN = (0.8191725133961644, 0.6710436067037893, 0.5497004779019703)  # the additive recurrence of three dimensions


@dataclass(frozen=True)
class Zoning:
    """Zones of the tetrahedra of one body, in the order given.

    `share` (m, 3) of wall, cover, core in each tetrahedron's volume, `quarter` (m, 4, 3) in the quarter of it that is
    nearest to each corner and stands for one integration point; `thin` (m,) the share that lies where the part is
    narrower than two beads; `turn` (m,) [rad] the wall's bead from print axis 1, counter-clockwise seen from above;
    `reach` (m, 3, 4) how near each zone comes to each corner: the largest barycentric coordinate of that corner in
    the zone, 1 where the corner itself lies in it, 0 where the zone is absent; `normal` (m, 4, 3) [part axes] the
    surface's own normal, along which the zones of a quarter lie on each other (up the build where it has one alone).
    """

    share: Array
    quarter: Array
    thin: Array
    turn: Array
    reach: Array
    normal: Array


def one_zone(count: int, zone: int, *, up: Array) -> Zoning:
    """`count` tetrahedra that hold one zone alone, printed `up` (3,)."""
    share, reach = np.zeros((count, 3)), np.zeros((count, 3, 4))
    share[:, zone], reach[:, zone] = 1.0, 1.0
    normal = np.broadcast_to(up, (count, 4, 3))
    return Zoning(share, np.repeat(share[:, None], 4, axis=1), np.zeros(count), np.zeros(count), reach, normal)


def layout_of(plan: PrintPlan) -> tuple[Any, ...]:
    """All of a plan that decides where its zones lie: print axes, depth of walls and of covers, bead width [mm]."""
    cover = plan.covers * plan.bead_height if plan.infill_pattern != "solid" else 0.0
    return print_axes(plan).tobytes(), plan.walls * plan.bead_width, cover, plan.bead_width


class Outline:
    """The surface of one body, in print axes, sorted so that zones are found quickly."""

    def __init__(self, mesh: TetMesh, *, body: str, plan: PrintPlan) -> None:
        from fem.printing import kernels

        self.plan, self.axes = plan, print_axes(plan)
        _, self.wall, self.cover, _ = layout_of(plan)
        self.thin = THIN_BEADS * plan.bead_width
        own = np.array([i for i, face in enumerate(mesh.faces) if face.body == body])
        triangles = np.flatnonzero(np.isin(mesh.face, own)).astype(np.int32)
        nodes = mesh.nodes @ self.axes.T
        self.corner = flat_triangles(nodes, mesh.triangles[triangles], tolerance=_FLAT * plan.bead_width)
        low, high = self.corner.min(axis=(0, 1)), self.corner.max(axis=(0, 1))
        self.box = np.array([low, high])
        size = np.maximum(high - low, 1e-9)
        side = max(
            min(self.wall, 2 * self.thin),
            self.thin,
            float(np.cbrt(_FLATNESS * size.prod() / _MOST_BOXES)),
            1e-3 * float(size.max()),
        )
        # The outline is sought within one layer: flat boxes hold fewer triangles that do not meet it
        self.side = np.array([side, side, side / _FLATNESS])
        self.origin = low - 1e-6 * self.side
        self.count = np.floor((high - self.origin) / self.side).astype(np.int64) + 1
        start = np.zeros(int(self.count.prod()) + 1, dtype=np.int64)
        none = np.zeros(0, dtype=np.int32)
        kernels.sort_into_boxes(self.corner, self.origin, self.side, self.count, start, none)
        self.start = np.cumsum(start)
        self.inside = np.empty(int(self.start[-1]), dtype=np.int32)
        kernels.sort_into_boxes(self.corner, self.origin, self.side, self.count, self.start, self.inside)

    @property
    def grid(self) -> tuple[Any, ...]:
        """What the compiled loops need of the surface."""
        return self.corner, self.start, self.inside, self.origin, self.side, self.count


def find_zones(mesh: TetMesh, tets: Index, *, outline: Outline) -> Zoning:
    """Zones of the tetrahedra `tets` (m,) of the body that the outline belongs to."""
    from fem.printing import kernels

    points = _sample_points().reshape(-1, 3)
    shape = tet_shapes(points).reshape(SETS, SAMPLES, 10)
    slope = tet_slopes(points).reshape(SETS, SAMPLES, 10, 3)
    bary = np.column_stack([1 - points.sum(axis=1), points]).reshape(SETS, SAMPLES, 4)
    nodes = np.ascontiguousarray(mesh.nodes @ outline.axes.T)
    own = np.ascontiguousarray(mesh.tets[tets])
    m = len(own)
    c = nodes[own[:, :4]]
    size = np.abs(np.einsum("mi,mi->m", np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0]), c[:, 3] - c[:, 0])) / 6
    thinnest = min(d for d in (outline.wall, outline.cover, outline.thin) if d > 0)
    sets = np.clip(np.ceil(size / (4 * thinnest**3)), 1, MOST_SETS).astype(np.int64)
    share, part, turn, reach = np.zeros((m, 4, 4)), np.zeros((m, 4)), np.zeros(m), np.zeros((m, 3, 4))
    slant = np.zeros((m, 4, 6))

    depths = outline.wall, outline.cover, outline.thin
    given = nodes, own, sets, shape, slope, bary, *depths, *outline.grid, share, part, turn, reach, slant
    shared(kernels.zones_of_tets, _slices(m), *given)
    whole = np.einsum("mq,mqz->mz", part, share)
    normal = _main_axis(slant.reshape(-1, 6)).reshape(m, 4, 3) @ outline.axes
    return Zoning(whole[:, :3].copy(), share[:, :, :3].copy(), whole[:, 3].copy(), turn, reach, normal)


def _main_axis(slant: Array) -> Array:
    """The unit vectors (j, 3) along which the sums of squares (j, 6) are largest; up where there is nothing."""
    out = np.zeros((len(slant), 3))
    out[:, 2] = 1.0
    some = np.flatnonzero(slant[:, :3].sum(axis=1) > 0)
    square = slant[some][:, [0, 5, 4, 5, 1, 3, 4, 3, 2]].reshape(-1, 3, 3)
    out[some] = np.linalg.eigh(square)[1][:, :, 2]
    return out


def _slices(count: int) -> list[tuple[int, int]]:
    """More slices than workers: some places take far longer than others."""
    return even_ranges(count, pieces=8 * workers())


def _sample_points() -> Array:
    """Reference points (SETS, SAMPLES, 3) spread evenly: a low-discrepancy cube, shifted, then folded by sorting."""
    step = np.array(_GOLDEN)
    cube = np.arange(1, SAMPLES + 1)[:, None] * step
    shift = np.arange(SETS)[:, None] * (SAMPLES * step) + 0.5
    cube = np.sort((cube + shift[:, None]) % 1.0, axis=2)
    return np.diff(cube, axis=2, prepend=0.0)
