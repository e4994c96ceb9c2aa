"""What beads, plies, metals and thin walls bear, and the numbers that their criteria are made of.

Bead axes: 1 along the bead, 2 across it in the layer, 3 up the build.
Sources: S. W. Tsai and E. M. Wu, J. Compos. Mater. 5 (1971) 58; R. Hill, Proc. R. Soc. A 193 (1948) 281;
Z. Hashin, J. Appl. Mech. 47 (1980) 329 (tension and shear on one plane act together, compression does not tear).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fem.tensors import Array

STRESS_MODES = (
    "tension along the bead",
    "compression along the bead",
    "tension across the bead",
    "compression across the bead",
    "interlayer tension",
    "compression in the build direction",
    "interlayer shear τ23",
    "interlayer shear τ13",
    "in-plane shear τ12",
)
"""How a bead can fail by one stress alone."""
PRINTED_MODES = (
    *STRESS_MODES,
    "combined stress (Tsai–Wu)",
    "interlayer tension and shear combined",
    "interlayer shear, resultant of τ13 and τ23",
)
PLY_MODES = (
    "tension along the fibres",
    "compression along the fibres",
    "tension across the fibres",
    "compression across the fibres",
    "tension through the thickness",
    "compression through the thickness",
    "interlaminar shear τ23",
    "interlaminar shear τ13",
    "in-plane shear τ12",
    "combined stress (Tsai–Wu)",
    "interlaminar tension and shear combined",
    "interlaminar shear, resultant of τ13 and τ23",
)
"""The same, in the words of a laminate: its plies are beads side by side as far as criteria go."""
ISOTROPIC_MODES = ("yield (von Mises)",)
WALL_BUCKLING = "wall_buckling"
"""The criterion that judges thin cell walls."""

BEADS, METAL, THIN_WALL = 0, 1, 2
"""What is judged: each kind by its own criteria."""
CRITERIA = (("maximum_stress", "tsai_wu", "interlayer", "hill"), ("von_mises",), (WALL_BUCKLING,))
"""The criteria of each kind. Hill knows no difference between tension and compression: it is reported, and never
decides."""

SINGLE, LINEAR, FORM, HILL, SHEAR, TEAR, HILL_COUNTS, WIDE = 0, 9, 12, 18, 24, 27, 28, 29
"""Where in a row of `limits_of` stand the nine strengths of STRESS_MODES (a wall's three critical stresses as one
over them), Tsai-Wu's F_i, the 11 22 33 12 13 23 of its F_ij and of Hill's form (for a metal von Mises'), the weights
of the squared shears 23 13 12, that of the squared tension up the build, and 1 where Hill's form is admissible."""


@dataclass(frozen=True)
class Strength:
    """What one family of beads or plies, or a metal, bears [MPa].

    `tension`, `compression` (3,): along the bead, across it in the layer, up the build; `shear` (3,) in the
    component order 23, 13, 12. An isotropic body has `yield_stress` alone, and is judged by von Mises. `ply`: what
    fails is told in the words of a laminate.
    """

    tension: Array | None = None
    compression: Array | None = None
    shear: Array | None = None
    yield_stress: float | None = None
    ply: bool = False

    def __post_init__(self) -> None:
        sets = [self.tension, self.compression, self.shear]
        if self.yield_stress is None:
            if any(s is None or np.shape(s) != (3,) or not np.all(np.asarray(s) > 0) for s in sets):
                raise ValueError("tension, compression and shear must each hold three positive strengths [MPa]")
        elif not self.yield_stress > 0:
            raise ValueError(f"yield stress {self.yield_stress} MPa must be positive")

    @property
    def isotropic(self) -> bool:
        return self.yield_stress is not None

    @cached_property
    def limits(self) -> Array:
        """See `limits_of`."""
        row = np.zeros(WIDE)
        if self.yield_stress is not None:
            square = 1 / self.yield_stress**2
            row[HILL:SHEAR] = np.array([1, 1, 1, -0.5, -0.5, -0.5]) * square
            row[SHEAR:TEAR] = 3 * square
        else:
            tension, compression, shear = _strengths(self)
            row[:LINEAR] = np.concatenate([np.column_stack([tension, compression]).ravel(), shear])
            linear, quadratic = tsai_wu_coefficients(self)
            f, g, h = hill_coefficients(self)
            row[LINEAR:FORM] = linear[:3]
            row[FORM:HILL] = quadratic[[0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]]
            row[HILL:SHEAR] = g + h, f + h, f + g, -h, -g, -f
            row[SHEAR:TEAR] = 1 / shear**2
            row[TEAR], row[HILL_COUNTS] = 1 / tension[2] ** 2, hill_admissible(self)
        return row


@dataclass(frozen=True)
class WallBuckling:
    """Critical stresses [MPa] of a thin cell wall: compression `along` the bead and `up` the build, `shear` between
    the two; infinite where it cannot buckle so. `mode` says in words how it buckles.
    """

    along: float
    up: float
    shear: float
    mode: str

    def __post_init__(self) -> None:
        if not (self.along > 0 and self.up > 0 and self.shear > 0):
            raise ValueError("critical stresses must be positive")

    @cached_property
    def limits(self) -> Array:
        """See `limits_of`."""
        return np.concatenate([1 / np.array([self.along, self.up, self.shear]), np.zeros(WIDE - 3)])


def kind_of(strength: Strength | WallBuckling) -> int:
    """Which kind it is: BEADS, METAL or THIN_WALL."""
    if isinstance(strength, WallBuckling):
        return THIN_WALL
    return METAL if strength.isotropic else BEADS


def modes_of(strength: Strength | WallBuckling) -> tuple[str, ...]:
    """In words how it can fail."""
    if isinstance(strength, WallBuckling):
        return (strength.mode,)
    if strength.isotropic:
        return ISOTROPIC_MODES
    return PLY_MODES if strength.ply else PRINTED_MODES


def counts(strength: Strength | WallBuckling) -> dict[str, bool]:
    """Its criteria, and whether each is admissible for it."""
    row = limits_of(strength)
    return {name: name != "hill" or row[HILL_COUNTS] > 0 for name in CRITERIA[kind_of(strength)]}


def limits_of(strength: Strength | WallBuckling) -> Array:
    """The numbers (WIDE,) that the compiled criteria need of it, reckoned once."""
    return strength.limits


def rows_of(strengths: Sequence[Strength | WallBuckling]) -> tuple[NDArray[np.intp], Array]:
    """The kind (k,) of each and its limits (k, WIDE). Phases often share one strength, which is asked once."""
    known = {id(s): (kind_of(s), limits_of(s)) for s in {id(s): s for s in strengths}.values()}
    kinds, limits = zip(*(known[id(s)] for s in strengths), strict=True)
    return np.array(kinds, dtype=np.intp), np.array(limits)


def tsai_wu_coefficients(strength: Strength) -> tuple[Array, Array]:
    """Tsai-Wu's F_i (6,) [1/MPa] and F_ij (6, 6) [1/MPa^2] in bead axes, with every F_ij = -1/2 sqrt(F_ii F_jj).

    With these the quadratic term vanishes in one direction of all-round compression or tension.
    """
    tension, compression, shear = _strengths(strength)
    linear = np.zeros(6)
    linear[:3] = 1 / tension - 1 / compression
    diagonal = 1 / (tension * compression)
    quadratic = np.zeros((6, 6))
    quadratic[:3, :3] = -0.5 * np.sqrt(np.outer(diagonal, diagonal))
    quadratic[[0, 1, 2], [0, 1, 2]] = diagonal
    quadratic[[3, 4, 5], [3, 4, 5]] = 1 / shear**2
    return linear, quadratic


def hill_coefficients(strength: Strength) -> tuple[float, float, float]:
    """Hill's F, G, H [1/MPa^2], from the lesser of tension and compression in each direction."""
    tension, compression, _ = _strengths(strength)
    x, y, z = 1 / np.minimum(tension, compression) ** 2
    return float(y + z - x) / 2, float(z + x - y) / 2, float(x + y - z) / 2


def hill_admissible(strength: Strength) -> bool:
    """Whether Hill's form is positive for every stress but all-round pressure: FG + GH + HF > 0.

    Otherwise 1/X, 1/Y, 1/Z break the triangle inequality, and some directions would bear without limit.
    """
    f, g, h = hill_coefficients(strength)
    return f * g + g * h + h * f > 0


def safe_sizes(to_bead: Array, strengths: Sequence[Strength | WallBuckling]) -> Array:
    """Sizes (k,) [MPa] of a mean stress (the root of the sum of its six squares) below which no criterion of a phase
    can be met; `to_bead` (k, 6, 6) takes it to each phase's stress in bead axes.
    """
    kind, limits = rows_of(strengths)
    rows = np.linalg.norm(to_bead, axis=2)
    # A wall: pressed along and up by no more than its rows tell, sheared by no more than the fifth
    pressed = rows[:, 0] * limits[:, 0] + rows[:, 2] * limits[:, 1]
    walls = _root((rows[:, 4] * limits[:, 2]) ** 2, pressed)
    hill = _root(_largest(to_bead, _form(limits, HILL)), 0.0)
    normal = limits[:, SINGLE : SINGLE + 6].reshape(-1, 3, 2).min(axis=2)
    single = np.concatenate([normal, limits[:, SINGLE + 6 : LINEAR]], axis=1) / np.maximum(rows, 1e-300)
    pull = np.einsum("ki,kij->kj", limits[:, LINEAR:FORM], to_bead[:, :3])
    tsai_wu = _root(_largest(to_bead, _form(limits, FORM)), np.linalg.norm(pull, axis=1))
    tear = np.zeros((len(limits), 6, 6))
    tear[:, [2, 3, 4], [2, 3, 4]] = limits[:, [TEAR, SHEAR, SHEAR + 1]]
    each = [single.min(axis=1), tsai_wu, _root(_largest(to_bead, tear), 0.0)]
    beads = np.min([*each, np.where(limits[:, HILL_COUNTS] > 0, hill, np.inf)], axis=0)
    return np.asarray(np.choose(kind, [beads, hill, walls]))


def _form(limits: Array, first: int) -> Array:
    """The quadratic forms (k, 6, 6) that stand in rows of limits from `first` on."""
    out = np.zeros((len(limits), 6, 6))
    row, column = [0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]
    out[:, row, column] = out[:, column, row] = limits[:, first : first + 6]
    out[:, [3, 4, 5], [3, 4, 5]] = limits[:, SHEAR:TEAR]
    return out


def _largest(to_bead: Array, form: Array) -> Array:
    """The most (k,) that a form takes of a mean stress of size one."""
    whole = np.swapaxes(to_bead, 1, 2) @ form @ to_bead
    return np.asarray(np.maximum(np.linalg.eigvalsh((whole + np.swapaxes(whole, 1, 2)) / 2)[:, -1], 0.0))


def _root(square: Array, linear: Array | float) -> Array:
    """The size s (k,) at which square s^2 + linear s = 1; infinite where it never is."""
    with np.errstate(divide="ignore"):
        return np.asarray(2 / (linear + np.sqrt(linear**2 + 4 * square)))


def _strengths(strength: Strength) -> tuple[Array, Array, Array]:
    if strength.tension is None or strength.compression is None or strength.shear is None:
        raise ValueError("an isotropic body is judged by von Mises, not by a criterion for beads")
    return (
        np.asarray(strength.tension, dtype=float),
        np.asarray(strength.compression, dtype=float),
        np.asarray(strength.shear, dtype=float),
    )
