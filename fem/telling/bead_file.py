"""The beads of a zoom as a file that any viewer of VTK's XML format can read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.printing.beads import FULL, WAYS
from fem.telling.bead_mesh import Ints, is_filled
from fem.telling.files import COMPONENTS, ORDER, UNLIMITED_AS, name_components, write_grid
from fem.tensors import Array
from fem.zooming.nouns import JudgedBeads

NOT_KNOWN = -1.0
"""The reserve of a box that no bead was judged in."""
NAMES = {
    "reserve": "reserve_at_most_1e6",
    "judged": "judged",
    "zone": "zone_1_wall_2_cover_3_core",
    "bead": "bead_number",
    "share": "filled_fraction",
    "direction": "bead_direction",
    "stress": "bead_mean_stress_MPa",
    "displacement": "displacement_mm",
}
"""What the file holds, and the names there; each says its unit or what was done to it."""


def write_beads(judged: JudgedBeads, path: Path) -> Path:
    """Write the boxes that are more than half bead as hexahedra, in part axes [mm].

    Cell data: `reserve` (at most 1e6; NOT_KNOWN where no bead was judged), `judged` 1 for the boxes that count,
    `zone`, the `bead` as in `BeadMap`, the filled `share`, the bead's `direction` (3,) in part axes, and its mean
    `stress` (6,) [MPa] in its own axes, components named in the format's order. Point data where it is known:
    `displacement` (3,) [mm] in part axes. Errors: OSError.
    """
    import pyvista as pv

    beads, grid = judged.beads, judged.beads.grid
    columns, rows, height = grid.count
    layer = np.arange(height) // grid.per_layer
    filled = np.nonzero(is_filled(beads.share[layer]))
    level, row, column = (index.astype(np.int64) for index in filled)
    box = (layer[level], row, column)
    corners = _corners(level, row, column, (height + 1, rows + 1, columns + 1))
    used, cells = np.unique(corners, return_inverse=True)
    points = _points(used, (height + 1, rows + 1, columns + 1)) * grid.step + grid.origin
    out = pv.UnstructuredGrid({pv.CellType.HEXAHEDRON: cells.reshape(-1, 8)}, points @ judged.axes)
    reserve = np.nan_to_num(judged.reserve[box], nan=NOT_KNOWN, posinf=UNLIMITED_AS)
    turn = np.radians(beads.way[box].astype(float) * 180 / WAYS)
    along = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(len(turn))]) @ judged.axes
    data: dict[str, NDArray[Any]] = {
        "reserve": np.minimum(reserve, UNLIMITED_AS).astype(np.float32),
        "judged": judged.inner[box].astype(np.uint8),
        "zone": beads.zone[box],
        "bead": beads.bead[box].astype(np.int32),
        "share": (beads.share[box] / FULL).astype(np.float32),
        "direction": along.astype(np.float32),
        "stress": judged.stress[box][:, ORDER].astype(np.float32),
    }
    for key, values in data.items():
        out.cell_data[NAMES[key]] = values
    name_components(out.GetCellData(), NAMES["stress"], COMPONENTS["print_stress"])
    if judged.displacement is not None:
        moved = judged.displacement.reshape(-1, 3)[used].astype(float) @ judged.axes
        out.point_data[NAMES["displacement"]] = moved.astype(np.float32)
    return write_grid(out, path)


def _corners(level: Ints, row: Ints, column: Ints, shape: tuple[int, int, int]) -> Ints:
    """Flat indices (n, 8) of the corners of boxes, in the format's order: around the bottom, then around the top."""
    around = ((0, 0), (0, 1), (1, 1), (1, 0))
    places = [(level + up, row + j, column + i) for up in (0, 1) for j, i in around]
    return np.stack([np.ravel_multi_index(place, shape) for place in places], axis=-1)


def _points(flat: Ints, shape: tuple[int, int, int]) -> Array:
    """Steps (n, 3) along print axes 1, 2, 3 of corners by their flat indices."""
    level, row, column = np.unravel_index(flat, shape)
    return np.column_stack([column, row, level]).astype(float)
