"""A pressed block of infill beside its cell: what printed one-bead walls bear of what the cell lets expect.

The cell is solved with the values of the very card that the coupons make. A block has free edges, where cells are cut
open and give more: with a few cells across, some per cent of a ratio below one are the block's, not the print's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.coupons.batches import BatchFit
from fem.coupons.fractile import Sample
from fem.coupons.nouns import DIRECTIONS, PrintedInfill
from fem.coupons.values import OwnState
from fem.criteria.strength import Strength
from fem.errors import InputError


@dataclass(frozen=True)
class InfillCheck:
    """A batch of blocks: `stiffness` and `peak` as measured [MPa], `cell_stiffness` of the cell, its mean stress at
    the first bead's failure and at which its walls buckle (`buckling`, None where they do not first) [MPa]; `cells`
    how many periods lie across the block; `fill` the share of the volume that the mass says, None where none was
    weighed.
    """

    batch: str
    infill: PrintedInfill
    stiffness: Sample
    peak: Sample
    cell_stiffness: float
    first_bead: float
    buckling: float | None
    cells: float
    fill: Sample | None

    @property
    def stiffness_ratio(self) -> float:
        """Measured over calculated."""
        return self.stiffness.mean / self.cell_stiffness

    @property
    def peak_ratio(self) -> float:
        """The measured peak over the lesser of first bead and buckling."""
        return self.peak.mean / min(self.first_bead, self.buckling or self.first_bead)

    @property
    def words(self) -> str:
        """What came out, in a sentence or two."""
        fill = "" if self.fill is None else f" By mass {100 * self.fill.mean:.3g} % of the block is bead."
        return (
            f"Blocks of {100 * self.infill.density:g} % {self.infill.pattern} have {self.stiffness_ratio:.2g} times "
            f"the stiffness of the cell with this card, and peak at {self.peak_ratio:.2g} times its first bead's "
            f"failure or buckling ({self.cells:.2g} cells across; free edges take some per cent).{fill}"
        )


def check_infill(fit: BatchFit, state: OwnState, *, density: float) -> InfillCheck:
    """The blocks of a batch beside their cell, with the card's own values in that state.

    `density` of the bulk [tonne/mm^3]. Errors: InputError for a direction that a cell has no name for, and as
    `infill_cell`.
    """
    from fem.printing.infill import infill_cell

    infill = fit.batch.infill
    assert infill is not None
    if fit.batch.direction not in DIRECTIONS:
        raise InputError("a block of infill is pressed along, across or up.", where=f"batch.{fit.batch.name}")
    i = tuple(DIRECTIONS).index(fit.batch.direction)
    of = {key: np.array([state.entries[(key, k)].value for k in range(3)]) for key in _KEYS}
    strength = Strength(of["tension"], of["compression"], of["shear"])
    cell = infill_cell(
        infill.pattern,
        density=infill.density,
        bead_width=infill.bead_width,
        bead_height=infill.bead_height,
        E=tuple(of["E"]),
        nu=tuple(of["nu"]),
        G=tuple(of["G"]),
        strength=strength,
    )
    buckles = cell.strength_MPa["buckling"].get(f"compression {i + 1}")
    across = min(c.width for c in fit.batch.coupons) / float(max(cell.size[:2]))
    weighed = fit.samples.get("density")
    return InfillCheck(
        fit.batch.name,
        infill,
        fit.samples["E"],
        fit.samples["strength"],
        float(1 / np.linalg.inv(cell.stiffness)[i, i]),
        float(cell.strength_MPa["compression"][i]),
        None if buckles is None else float(buckles["MPa"]),
        across,
        None if weighed is None else Sample(tuple(v / density for v in weighed.values)),
    )


_KEYS = ("E", "nu", "G", "tension", "compression", "shear")
