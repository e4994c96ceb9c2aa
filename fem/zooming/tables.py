"""What a box of bead is worth in each direction that the bead may take: its stiffness, and the stress inside.

All boxes of a grid are alike but for the bead's direction, so one small table holds all that the loops need. The
element is that of the infill's cells: trilinear with incompatible modes, which bends without locking.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.printing.beads import WAYS
from fem.printing.infill.hexahedra import elements
from fem.printing.infill.mesh import SIGNS
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array, orthotropic_stiffness, rotate_stiffness, strain_rotation


@dataclass(frozen=True)
class BeadTables:
    """Boxes of `step` (3,) [mm] by the bead's way: `matrix` (WAYS, 24, 24) [N/mm]; `stress` (2 WAYS, 6, 24) [MPa/mm]
    the mean stress in the bead's axes; `warm_force` (WAYS, 24) [N/K] the nodal forces of a bead that warms and is
    held, `warm_stress` (6,) [MPa/K] what is then taken off its stress, `free_energy` [mJ/K^2] what that holds;
    `volume` [mm^3].
    """

    step: Array
    matrix: Array
    stress: Array
    warm_force: Array
    warm_stress: Array
    volume: float
    free_energy: float


def bead_tables(step: Any, *, E: Any, nu: Any, G: Any, expansion: Any = None) -> BeadTables:
    """Tables of boxes with sides `step` (3,) [mm] of a bead with constants E, nu, G [MPa] along its own axes, which
    expands by `expansion` (3,) [1/K] (None: not at all).
    """
    sides = np.asarray(step, dtype=float)
    own = orthotropic_stiffness(E, nu, G)
    turns = np.array([in_layer_rotation(180.0 * way / WAYS) for way in range(2 * WAYS)])
    corners = np.broadcast_to((SIGNS + 1) / 2 * sides, (WAYS, 8, 3))
    stiffness = rotate_stiffness(own, turns[:WAYS])
    parts = elements(np.array(corners), stiffness=stiffness)
    strain = strain_rotation(turns) @ parts.mean[0]
    grown = np.zeros(6)
    if expansion is not None:
        grown[:3] = np.asarray(expansion, dtype=float)[:3]
    volume = float(parts.volume[0])
    warm = np.einsum("waj,ab,b->wj", strain[:WAYS], own, grown) * volume
    return BeadTables(
        sides, parts.matrix, own @ strain, warm, own @ grown, volume, volume * float(grown @ own @ grown) / 2
    )


IMAGES = ((0, (1.0, 1.0, 1.0)), (3, (-1.0, -1.0, 1.0)), (4, (1.0, 1.0, -1.0)), (7, (-1.0, -1.0, -1.0)))
"""Corner a of a box of bead becomes corner a ^ the first number, and its displacement changes sign by the others,
when the box stays, is turned by half a turn about the vertical, is mirrored up and down, or both.
"""


def check_images(matrix: Array) -> None:
    """Errors: ValueError where boxes of stiffness (t, 24, 24) are not their own images."""
    rows = matrix.reshape(-1, 8, 3, 8, 3)
    for turned, sign in IMAGES:
        other = np.arange(8) ^ turned
        image = rows[:, other][:, :, :, other] * np.multiply.outer(sign, sign)[:, None, :]
        if np.abs(image - rows).max() > 1e-12 * np.abs(rows).max():
            raise ValueError("boxes of bead must look the same turned by half a turn, and upside down")


def four_blocks(matrix: Array) -> Array:
    """Stiffness (t, 24, 24) of boxes that are their own images, as what is left of it for the sums and differences of
    the images' displacements: four blocks of 6 columns, each padded to 8 numbers (t, 192).

    Errors: ValueError where they are not their own images.
    """
    check_images(matrix)
    rows = matrix.reshape(-1, 8, 3, 8, 3)
    parts = []
    for turned, sign in IMAGES:
        other = np.arange(2) ^ turned
        parts.append((rows[:, :2][:, :, :, other] * np.asarray(sign)).reshape(-1, 6, 6))
    out = np.zeros((len(rows), 4, 6, 8))
    for block in range(4):
        for k, part in enumerate(parts):
            odd = (block & k).bit_count() % 2
            out[:, block, :, :6] += (-0.25 if odd else 0.25) * part.transpose(0, 2, 1)
    return out.reshape(-1, 192)
