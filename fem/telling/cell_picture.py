"""Draws an infill cell as it stands in the part, coloured by how much of the beads' strength is used."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.telling.album import LINE, Picture
from fem.telling.canvas import TOP, WHITE, WIDTH, Canvas
from fem.telling.colours import use_map
from fem.telling.stage import Stage, View, fit
from fem.telling.words import number
from fem.tensors import Array

if TYPE_CHECKING:
    from fem.printing.infill import InfillCell

LARGE, SMALL = (960, 909), (320, 303)
"""Size [px] of the view of the weakest state, and of those of all six, in two columns beside it."""
PERIODS, TALL = 2.4, 0.5
"""How many periods the drawn block is wide, and its height as a share of that."""
STATES = (
    ("tension 1", "compression 1"),
    ("tension 2", "compression 2"),
    ("tension 3", "compression 3"),
    ("shear 23",),
    ("shear 13",),
    ("shear 12",),
)
"""The two ways of each mean stress in one component; print axes, 1 and 2 in the layer, 3 the build direction."""
TO_VTK = (0, 1, 3, 2, 4, 5, 7, 6)
"""Corners of a hexahedron in the order in which they are drawn, from the order of their bits."""


@dataclass(frozen=True)
class Limit:
    """Strength of a cell in a unit state: the mean stress [MPa] at which the first `bead` fails, and that at which
    its walls `buckle` where that comes first, with the `mode` in words.
    """

    name: str
    bead: float
    buckle: float | None = None
    mode: str = ""

    @property
    def least(self) -> float:
        """The mean stress [MPa] that the cell bears."""
        return self.bead if self.buckle is None else min(self.bead, self.buckle)

    @property
    def text(self) -> str:
        """The limit in a few words."""
        words = f"{self.name}: {number(self.bead)} MPa"
        return words if self.buckle is None else f"{words}, walls buckle at {number(self.buckle)} MPa"


def draw_cell(cell: InfillCell, *, path: Path) -> Picture:
    """Write the picture of a cell to `path`.

    Each mean stress is raised, in the worse of its two ways, until the first bead of the cell fails; the colours tell
    what share of its strength every bead then uses. The state in which the cell bears least is drawn large.
    """
    from PIL import Image

    limits = limits_of(cell)
    weakest = min((limit for ways in limits for limit in ways), key=lambda limit: limit.least)
    large = next(i for i, ways in enumerate(limits) if weakest in ways)
    used = at_failure(np.asarray(cell.used, dtype=float))
    corners, lattice = endless(cell)
    block = block_of(corners, lattice=lattice)
    middle, views = Image.new("RGB", (WIDTH, LARGE[1]), WHITE), {}
    for size, finer, states in ((LARGE, 1.5, [large]), (SMALL, 2.0, list(range(6)))):
        with Stage(size=size, finer=finer) as stage:
            for i in states:
                corner = (0, 0) if size == LARGE else (LARGE[0] + (i % 2) * SMALL[0], (i // 2) * SMALL[1])
                shot, view = _shot(stage, block, used[i], size)
                middle.paste(Image.fromarray(shot), corner)
                views[size] = view
    title = f"Infill cell: {cell.pattern}, density {100 * cell.density:.3g} %"
    by = "the first bead fails" if weakest.buckle is None else f"the walls buckle ({weakest.mode})"
    weak = f"minimum strength in {weakest.name}: {by} at a mean stress of {number(weakest.least)} MPa"
    canvas = Canvas(np.asarray(middle), title=title, note=f"{weak[:1].upper()}{weak[1:]} (drawn large)")
    for i, ways in enumerate(limits):
        x, y = LARGE[0] + (i % 2) * SMALL[0] + 12, TOP + (i // 2) * SMALL[1] + 6
        for limit in ways:
            canvas.write((x, y), f"{limit.name}: {number(limit.bead)} MPa", size=21, bold=i == large)
            y += 28
            if limit.buckle is not None:
                canvas.write((x, y), f"walls buckle: {number(limit.buckle)} MPa", size=21, bold=i == large)
                y += 28
    period = " x ".join(number(float(v)) for v in cell.size)
    canvas.tripod(views[LARGE], names="123")
    canvas.write((220, TOP + LARGE[1] - 44), f"period {period} mm; 3 is the build direction", size=26)
    canvas.bar(use_map(), low=0.0, high=1.0, title="utilisation of the bead strength at first bead failure [1]")
    canvas.save(path)
    strengths = "; ".join(limit.text for ways in limits for limit in ways)
    return Picture(
        file=path.name,
        kind="cell",
        case="",
        title=title,
        caption=f"{weak[:1].upper()}{weak[1:]}. Each view shows the mean stress, in the sense of the lower strength, "
        "at which the first bead fails.",
        alt=f"{title}, period {period} mm, bead {cell.bead_width:g} x {cell.bead_height:g} mm: {weak}. Strength "
        f"at first bead failure, each mean stress alone: {strengths}.",
        unit="1",
        high=1.0,
        labels=tuple(canvas.texts),
    )


def limits_of(cell: InfillCell) -> tuple[tuple[Limit, ...], ...]:
    """What the cell bears in each way of the six mean stresses, in the order of STATES."""
    bears = cell.strength_MPa
    values = [
        *zip(bears["tension"], bears["compression"], strict=True),
        *((value,) for value in bears["shear"]),
    ]
    out = []
    for names, both in zip(STATES, values, strict=True):
        found = [bears["buckling"].get(name) for name in names]
        out.append(
            tuple(
                Limit(name, float(v), float(b["MPa"]) if b else None, str(b["mode"]) if b else "")
                for name, v, b in zip(names, both, found, strict=True)
            )
        )
    return tuple(out)


def endless(cell: InfillCell) -> tuple[Array, Array]:
    """Corners (n, 8, 3) [mm] and periods (3, 3) [mm, rows] that the pattern is repeated from, in print axes.

    Hexahedra that reach through the whole period in the build direction do not change along it: they are drawn out to
    be as high as the pattern is wide, so that few of them make a block.
    """
    from fem.printing.infill.patterns import cube_axes

    corners, size = np.array(cell.corners, dtype=float), np.array(cell.size, dtype=float)
    if cell.pattern == "cubic":
        return corners, size[:, None] * cube_axes()
    height = corners[..., 2]
    whole = float(np.ptp(height))
    if np.ptp(height, axis=1).min() > 0.999 * whole:
        size[2] = size[:2].min()
        corners[..., 2] *= size[2] / whole
    return corners, np.diag(size)


def at_failure(used: Array) -> Array:
    """Share of strength used (6, n) when each of the six mean stresses is so large that the first hexahedron fails.

    `used` (6, n) [1/MPa] is the share used by each hexahedron per unit of mean stress.
    Errors: ValueError where a mean stress uses none.
    """
    worst = used.max(axis=1)
    if not (worst > 0).all():
        raise ValueError("every mean stress must load some bead of the cell")
    return used / worst[:, None]


def block_of(hexes: Array, *, lattice: Array) -> tuple[Any, Any]:
    """A block cut from the endless pattern: its surface, with cell data `hex` (which hexahedron lies there), and the
    lines of its edges.

    `hexes` (n, 8, 3) [mm] corners in print axes, `lattice` (3, 3) [mm] rows = periods.
    """
    import pyvista as pv

    wide = PERIODS * float(np.linalg.norm(lattice[:2], axis=1).min())
    half = np.array([wide, wide, wide * TALL]) / 2
    corners, which = _repeated(hexes, lattice, half)
    points = corners[:, TO_VTK].reshape(-1, 3)
    grid = pv.UnstructuredGrid({pv.CellType.HEXAHEDRON: np.arange(len(points)).reshape(-1, 8)}, points)
    grid.cell_data["hex"] = which
    grid = grid.clean(tolerance=1e-5 * wide)
    # The cut faces are triangles of many sizes: only the pattern's own coat knows where the true edges are
    coat = _clipped(grid.extract_surface(algorithm="dataset_surface"), half)
    kinds = {"manifold_edges": False, "non_manifold_edges": False}
    edges = coat.clean(tolerance=1e-6).extract_feature_edges(feature_angle=35, **kinds)
    return _clipped(grid, half).extract_surface(algorithm="dataset_surface"), edges


def _clipped(body: Any, half: Array) -> Any:
    """What of a body lies in the box from -half to half."""
    for axis in range(3):
        for side in (-1.0, 1.0):
            normal, origin = np.zeros(3), np.zeros(3)
            normal[axis], origin[axis] = side, side * half[axis]
            body = body.clip(normal=tuple(normal), origin=tuple(origin))
    return body


def _repeated(hexes: Array, lattice: Array, half: Array) -> tuple[Array, Array]:
    """Hexahedra (k, 8, 3) of all periods that reach into the box from -half to half, and which one each repeats."""
    ends = np.array(list(itertools.product(*((-h, h) for h in half))))
    low, high = hexes.min(axis=1), hexes.max(axis=1)
    reach = np.array(list(itertools.product(*zip(low.min(axis=0), high.max(axis=0), strict=True))))
    share = (ends[:, None] - reach[None]).reshape(-1, 3) @ np.linalg.inv(lattice)
    counts = [range(int(np.floor(a)), int(np.ceil(b)) + 1) for a, b in zip(share.min(0), share.max(0), strict=True)]
    corners, which = [], []
    for steps in itertools.product(*counts):
        shift = np.array(steps, dtype=float) @ lattice
        inside = np.flatnonzero(((low + shift < half) & (high + shift > -half)).all(axis=1))
        corners.append(hexes[inside] + shift)
        which.append(inside)
    return np.concatenate(corners), np.concatenate(which)


def _shot(stage: Stage, block: tuple[Any, Any], used: Array, size: tuple[int, int]) -> tuple[Array, View]:
    """The block in the colours of one state, and the view of it."""
    surface, edges = block
    surface.cell_data["used"] = used[surface.cell_data["hex"]]
    stage.clear()
    stage.add(surface, scalars="used", colours=use_map(), limits=(0.0, 1.0))
    if edges.n_cells:
        stage.add(edges, colour=LINE, width=2.0 if size == LARGE else 0.8, lighting=False)
    view = fit(np.asarray(surface.points), size=size, margin=1.12 if size == LARGE else 1.3)
    if size == SMALL:
        # Room for three lines of text above
        view = replace(view, focal=view.focal + 0.28 * view.half * view.up)
    return stage.show(view), view
