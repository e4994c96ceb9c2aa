"""The second strength of an infill: the mean stress at which its cell collapses, by limit analysis (`limit_load`).

Beads yield by the criteria that judge them, and go on bearing what they bore. Interlayer tension does not: it must
stay below its strength before beads yield (in the elastic cell, by the mean over pieces of bead, as for the first
bead) as well as at collapse. Where it is the elastic cell's that comes first, the strength is brittle.

Collapse counts for a ductile polymer and a single overload. Unlike the first bead's strength, which is that of a mean
over a bead's section, it sees the bending of walls one bead thick: where cells bend it is the lower of the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from fem.criteria.strength import Strength
from fem.printing.bead_box import bead_box
from fem.printing.infill import store
from fem.printing.infill.bead_mean import Places
from fem.printing.infill.cell import cell_mesh, inputs_of, solved_places
from fem.printing.infill.cell_strength import unit_states
from fem.printing.infill.limit_load import LimitLoads, cell_points, limit_loads
from fem.tensors import Array

BRITTLE = "interlayer tension, brittle"
DUCTILE = "collapse of the beads"
ALGORITHM = 1
"""Raised with every change of this method that changes its numbers."""
CHECKED = (0, 5, 8)
"""Of the nine unit states those that are solved on the finer mesh, too: tension 1, compression 3, shear 12."""


@dataclass(frozen=True)
class CellRecipe:
    """What a cell is made of: its pattern, the share of its volume that is bead, the bead's size [mm], its constants
    E, nu, G [MPa] and its strength.
    """

    pattern: str
    density: float
    bead_width: float
    bead_height: float
    E: Any
    nu: Any
    G: Any
    strength: Strength

    @property
    def shape(self) -> dict[str, Any]:
        """Density and bead size, as the cell's verbs take them."""
        return {"density": self.density, "bead_width": self.bead_width, "bead_height": self.bead_height}


@dataclass(frozen=True)
class Collapse:
    """For each of d mean stresses the `factor` (d,) by which it may grow until the cell collapses, a bound from below
    on its mesh; `above` (d,) the bound from above; `brittle` (d,) the factor at which interlayer tension of the
    elastic cell reaches its strength (infinite where layers are not pulled apart).
    """

    factor: Array
    above: Array
    brittle: Array

    @property
    def decides(self) -> Array:
        """The lesser of the two factors (d,)."""
        return np.minimum(self.factor, self.brittle)

    @property
    def modes(self) -> tuple[str, ...]:
        """In words which of them it is."""
        return tuple(BRITTLE if b < f else DUCTILE for b, f in zip(self.brittle, self.factor, strict=True))

    @property
    def gap(self) -> float:
        """How far the bounds are apart at most, relative."""
        return float(np.max(self.above / self.factor - 1))


@dataclass(frozen=True)
class CollapseStrengths:
    """Of the nine unit states (see `unit_states`): `MPa` (9,), the `modes` in words; `gap` between the bounds, and
    `mesh_change` by which the checked ones differ on the finer mesh, the largest, relative.
    """

    MPa: Array
    modes: tuple[str, ...]
    gap: float
    mesh_change: float


def collapse_strengths(recipe: CellRecipe, *, cache: Path | Literal["user"] | None = "user") -> CollapseStrengths:
    """Collapse under each mean stress alone, a shear in the worse of its ways. Solved once, then kept."""
    nine = unit_states()
    states = np.concatenate([nine, -nine[6:]])
    both = collapse_under(recipe, states, cache=cache)
    fine = _limits(recipe, states[list(CHECKED)], fine=True, cache=cache)
    change = float(np.abs(fine.lower / both.factor[list(CHECKED)] - 1).max())
    least = both.decides
    worse = np.where(least[9:] < least[6:9], np.arange(9, 12), np.arange(6, 9))
    chosen = np.concatenate([np.arange(6), worse])
    modes = both.modes
    return CollapseStrengths(least[chosen], tuple(modes[k] for k in chosen), both.gap, change)


def collapse_under(recipe: CellRecipe, states: Array, *, cache: Path | Literal["user"] | None = "user") -> Collapse:
    """Collapse under any mean stresses `states` (d, 6) [MPa, cell axes]."""
    found = _limits(recipe, states, fine=False, cache=cache)
    return Collapse(found.lower, found.upper, _brittle(recipe, states))


def _limits(recipe: CellRecipe, states: Array, *, fine: bool, cache: Any) -> LimitLoads:
    """Limit analysis, or what is kept of it; elastic constants take no part."""
    r = recipe
    folder = store.default_folder() if cache == "user" else cache
    rounded = [[float(f"{v:.9g}") for v in state] for state in states]
    given = inputs_of(r.pattern, **r.shape, constants=((), (), ()), strength=r.strength)
    inputs = {"limit analysis": ALGORITHM, **given, "states": rounded, "fine": fine}
    kept = store.load(folder, inputs)
    if kept is not None and kept[0].get("bounds", np.empty(0)).shape == (2, len(states)):
        lower, upper = kept[0]["bounds"]
        return LimitLoads(lower, upper, int(kept[1].get("steps", 0)))
    points = cell_points(cell_mesh(r.pattern, **r.shape, fine=fine), strength=r.strength)
    # a state and its opposite bear alike where the pattern has mirrors; all are solved side by side
    found = limit_loads(points, states, strength=r.strength)
    store.save(folder, inputs, ({"bounds": np.array([found.lower, found.upper])}, {"steps": found.steps}))
    return found


def _brittle(recipe: CellRecipe, states: Array) -> Array:
    """The factor (d,) at which interlayer tension reaches its strength in some piece of bead of the elastic cell."""
    if recipe.strength.isotropic:
        return np.full(len(states), np.inf)
    r = recipe
    mesh = cell_mesh(r.pattern, **r.shape, fine=False)
    box = bead_box(bead_width=r.bead_width, bead_height=r.bead_height)
    _, _, found = solved_places(mesh, {"E": r.E, "nu": r.nu, "G": r.G}, None, box)
    with np.errstate(divide="ignore"):
        return np.asarray(1 / torn(found, states, strength=r.strength))


def torn(found: Places, states: Array, *, strength: Strength) -> Array:
    """The largest share (d,) that tension between layers, with the shear beside it, uses up of the interlayer
    strength under mean stresses (d, 6); 0 where none is pulled.
    """
    assert strength.tension is not None and strength.shear is not None
    weak = np.array([strength.tension[2], strength.shear[0], strength.shear[1]])
    out = np.zeros(len(states))
    for k, state in enumerate(states):
        share = found.stress[:, 2:5, :6] @ state / weak
        pulled = share[:, 0] > 0
        out[k] = np.sqrt((share[pulled] ** 2).sum(axis=1).max(initial=0.0))
    return out
