"""By how much may the growing stress grow until the material fails, while the permanent stress stays?

For stress p + lam v in bead axes, p (n, 6) [MPa] permanent and v (n, 6) [MPa] growing, the reserve factor lam (n,) is
where a criterion is first met: infinite when nothing grows towards failure, 0 when p alone already fails. The
criteria themselves are in kernels.py, a stress at a time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.criteria.strength import Strength, WallBuckling, counts, kind_of, limits_of, modes_of
from fem.tensors import Array

Index = NDArray[np.intp]


@dataclass(frozen=True)
class PhaseReserve:
    """What the criteria say of one family of beads: `reserve` (n,) the least of those that decide, `mode` (n,) an
    index into `modes`, `criteria` each criterion's own reserve (n,), or None where it is not admissible.
    """

    reserve: Array
    mode: Index
    modes: tuple[str, ...]
    criteria: dict[str, Array | None]


def phase_reserve(p: Any, v: Any, strength: Strength | WallBuckling) -> PhaseReserve:
    """Reserve of one phase: least of maximum stress, Tsai-Wu and interlayer, or von Mises for an isotropic one, or
    buckling for a thin wall.

    Where nothing grows towards failure, or p alone fails, a bead's mode is the one that p uses up most.
    """
    from fem.criteria import kernels

    p, v = np.broadcast_arrays(_stresses(p), _stresses(v))
    n = len(p)
    least, mode, each = np.empty(n), np.empty(n, dtype=np.intp), np.empty((n, 4))
    kind, row = kind_of(strength), limits_of(strength)
    kernels.reserves_all(kind, row, np.ascontiguousarray(p), np.ascontiguousarray(v), least, mode, each)
    criteria = {name: each[:, k] if there else None for k, (name, there) in enumerate(counts(strength).items())}
    return PhaseReserve(least, mode, modes_of(strength), criteria)


def exceeded(stress: Any, strength: Strength | WallBuckling) -> dict[str, NDArray[np.bool_]]:
    """Where (n,) stresses (n, 6) [MPa] in bead axes lie outside each criterion; much quicker than a reserve.

    Every criterion's safe stresses are convex and hold zero, so a ray from inside leaves them once: a phase whose
    stress at another phase's reserve lies inside has a higher reserve.
    """
    from fem.criteria import kernels

    s = _stresses(stress)
    met = np.empty((len(s), 4), dtype=bool)
    kernels.outside_all(kind_of(strength), limits_of(strength), s, met)
    return {name: met[:, k] for k, (name, there) in enumerate(counts(strength).items()) if there}


def may_fail(p: Array, v: Array, strength: Strength | WallBuckling, *, before: Array) -> NDArray[np.bool_]:
    """Which stresses (n,) meet a criterion that decides when what grows is `before` (n,) times as large: quicker to
    tell than their reserve.
    """
    from fem.criteria import kernels

    out = np.empty(len(p), dtype=bool)
    kernels.fails_before(kind_of(strength), limits_of(strength), _stresses(p), _stresses(v), before, out)
    return out


def utilisation(stress: Any, strength: Strength | WallBuckling) -> Array:
    """Share (...) of the strength that stress (..., 6) [MPa, bead axes] uses up.

    It grows in proportion with the stress: the reserve factor is one over it.
    """
    s = np.asarray(stress, dtype=float)
    flat = s.reshape(-1, 6)
    return np.asarray(1 / phase_reserve(np.zeros_like(flat), flat, strength).reserve.reshape(s.shape[:-1]))


def utilisations(places: Array, states: Array, strength: Strength | WallBuckling) -> Array:
    """Share (k, m) of their strength that places use up under mean stresses `states` (m, 6) [MPa]; `places` (k, 6, 7)
    take a mean stress and a warming to a place's stress in bead axes.
    """
    from fem.criteria import kernels

    out = np.empty((len(places), len(states)))
    given = np.ascontiguousarray(places), _cold(states), kind_of(strength), limits_of(strength), out
    shared(kernels.uses, even_ranges(len(places), pieces=4 * workers()), *given)
    return out


def largest_utilisation(places: Array, states: Array, strength: Strength | WallBuckling) -> tuple[Array, Index]:
    """The largest (m,) of `utilisations` in each state, and the place (m,) that has it."""
    from fem.criteria import kernels

    most, where = np.zeros(len(states)), np.zeros(len(states), dtype=np.intp)
    given = np.ascontiguousarray(places), _cold(states), kind_of(strength), limits_of(strength), most, where
    shared(kernels.largest_uses, even_ranges(len(states), pieces=4 * workers()), *given)
    return most, where


def _stresses(values: Any) -> Array:
    out = np.atleast_2d(np.asarray(values, dtype=float))
    if out.ndim != 2 or out.shape[1] != 6:
        raise ValueError(f"stresses must be (n, 6), not {out.shape}")
    return np.ascontiguousarray(out)


def _cold(states: Array) -> Array:
    """Mean stresses (m, 6) beside which nothing warms, (m, 7)."""
    return np.column_stack([states, np.zeros(len(states))])
