"""By how much may the growing stress grow until the material fails, while the permanent stress stays?

Everything here answers that one question for stress p + lam v in bead axes: p (n, 6) [MPa] is permanent, v (n, 6)
[MPa] grows, and the reserve factor lam (n,) is where the criterion is first met: infinite when nothing
grows towards failure, 0 when p alone already fails. Bead axes: 1 along the bead, 2 across it in the layer, 3 up the
build. All criteria but maximum stress are quadratic in lam, so they share one root-finder.

Sources: S. W. Tsai and E. M. Wu, J. Compos. Mater. 5 (1971) 58; R. Hill, Proc. R. Soc. A 193 (1948) 281;
Z. Hashin, J. Appl. Mech. 47 (1980) 329 (tension and shear on one plane act together, compression does not tear);
W. H. Press et al., Numerical Recipes (2007), section 5.6 (quadratic without cancellation).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.errors import InputError
from fem.printing.field import Strength, WallBuckling
from fem.tensors import Array, von_mises

Modes = NDArray[np.intp]

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
"""How a bead can fail by one stress alone; the index that `max_stress_reserve` returns points in here."""
PRINTED_MODES = (
    *STRESS_MODES,
    "combined stress (Tsai–Wu)",
    "interlayer tension and shear combined",
    "interlayer shear, resultant of τ13 and τ23",
)
ISOTROPIC_MODES = ("yield (von Mises)",)
WALL_BUCKLING = "wall_buckling"
"""The criterion that judges thin cell walls."""

_SAME = 1e-9
"""Reserve factors nearer than this, relative, are one: then the mode of a single stress is named."""


@dataclass(frozen=True)
class PhaseReserve:
    """What the criteria say of one family of beads: `reserve` (n,) the least of those that decide, `mode` (n,) an
    index into `modes`, `criteria` each criterion's own reserve (n,), or None where it is not admissible.
    """

    reserve: Array
    mode: Modes
    modes: tuple[str, ...]
    criteria: dict[str, Array | None]


def phase_reserve(p: Any, v: Any, strength: Strength | WallBuckling) -> PhaseReserve:
    """Reserve of one phase: least of maximum stress, Tsai-Wu and interlayer, or von Mises for an isotropic one, or
    buckling for a thin wall.

    Hill's criterion knows no difference between tension and compression: it is reported but never decides.
    """
    if isinstance(strength, WallBuckling):
        reserve = buckling_reserve(p, v, strength)
        return PhaseReserve(
            reserve, np.zeros(reserve.shape, dtype=np.intp), (strength.mode,), {WALL_BUCKLING: reserve}
        )
    if strength.yield_stress is not None:
        reserve = von_mises_reserve(p, v, strength.yield_stress)
        return PhaseReserve(reserve, np.zeros(reserve.shape, dtype=np.intp), ISOTROPIC_MODES, {"von_mises": reserve})
    single, mode = max_stress_reserve(p, v, strength)
    criteria: dict[str, Array | None] = {
        "maximum_stress": single,
        "tsai_wu": tsai_wu_reserve(p, v, strength),
        "interlayer": interlayer_reserve(p, v, strength),
        "hill": hill_reserve(p, v, strength) if hill_admissible(strength) else None,
    }
    reserve = single
    for number, name in enumerate(("tsai_wu", "interlayer"), start=len(STRESS_MODES)):
        other = criteria[name]
        assert other is not None
        mode = np.where(other < reserve * (1 - _SAME), number, mode)
        reserve = np.minimum(reserve, other)
    # Where the layers are pressed together at failure, the interface shears; nothing pulls it apart
    up = np.asarray(p, dtype=float)[..., 2] + np.where(np.isfinite(reserve), reserve, 0.0) * np.asarray(v)[..., 2]
    together = PRINTED_MODES.index("interlayer tension and shear combined")
    mode = np.where((mode == together) & (up <= 0), together + 1, mode)
    return PhaseReserve(reserve, mode, PRINTED_MODES, criteria)


def exceeded(stress: Array, strength: Strength | WallBuckling) -> dict[str, NDArray[np.bool_]]:
    """Where (n,) stresses (n, 6) [MPa] in bead axes lie outside each criterion; much quicker than a reserve.

    Every criterion's safe stresses are convex and hold zero, so a ray from inside leaves them once: a phase whose
    stress at another phase's reserve lies inside has a higher reserve.
    """
    one = [stress[:, k] for k in range(6)]
    if isinstance(strength, WallBuckling):
        squeezed = np.maximum(-one[0], 0) / strength.along + np.maximum(-one[2], 0) / strength.up
        return {WALL_BUCKLING: squeezed + (one[4] / strength.shear) ** 2 >= 1}
    if strength.yield_stress is not None:
        return {"von_mises": von_mises(stress) >= strength.yield_stress}
    tension, compression, shear = _strengths(strength)
    single = np.zeros(len(stress), dtype=bool)
    for k in range(3):
        single |= (one[k] >= tension[k]) | (one[k] <= -compression[k]) | (np.abs(one[3 + k]) >= shear[k])
    linear, quadratic = tsai_wu_coefficients(strength)
    form = _form_of(one, quadratic)
    out = {"maximum_stress": single, "tsai_wu": form + sum(linear[k] * one[k] for k in range(3)) >= 1}
    sheared = (one[3] / shear[0]) ** 2 + (one[4] / shear[1]) ** 2
    out["interlayer"] = sheared + (np.maximum(one[2], 0) / tension[2]) ** 2 >= 1
    if hill_admissible(strength):
        out["hill"] = _form_of(one, _hill_of(strength)) >= 1
    return out


def _form_of(one: list[Array], m: Array) -> Array:
    """The quadratic form of an orthotropic matrix (6, 6), from the components one by one."""
    out = m[3, 3] * one[3] ** 2 + m[4, 4] * one[4] ** 2 + m[5, 5] * one[5] ** 2
    out += one[0] * (m[0, 0] * one[0] + 2 * m[0, 1] * one[1] + 2 * m[0, 2] * one[2])
    out += one[1] * (m[1, 1] * one[1] + 2 * m[1, 2] * one[2]) + m[2, 2] * one[2] ** 2
    return np.asarray(out)


def buckling_reserve(p: Any, v: Any, wall: WallBuckling) -> Array:
    """Reserve (n,) of a thin wall under compression along the bead and up the build and shear between the two:
    c1 / along + c3 / up + (s13 / shear)^2 = 1, where tension (c < 0) is taken to help nothing.

    Source: the usual interaction of plate buckling under combined load, as in G. Gerard and H. Becker, Handbook of
    Structural Stability I, NACA TN 3781 (1957); linear in the two compressions, which is on the safe side.
    """
    p, v = _pair(p, v)
    a = (v[:, 4] / wall.shear) ** 2
    b, c = 2 * p[:, 4] * v[:, 4] / wall.shear**2, (p[:, 4] / wall.shear) ** 2 - 1
    least = np.full(len(p), np.inf)
    # Each compression counts or not: the left side is the largest of these four, so the first to reach 1 decides
    for along in (0.0, 1 / wall.along):
        for up in (0.0, 1 / wall.up):
            more_b, more_c = -v[:, 0] * along - v[:, 2] * up, -p[:, 0] * along - p[:, 2] * up
            least = np.minimum(least, _first_root(a, b + more_b, c + more_c))
    return least


def max_stress_reserve(p: Any, v: Any, strength: Strength) -> tuple[Array, Modes]:
    """Reserve (n,) by each stress against its own strength, and the mode (n,), an index into STRESS_MODES.

    Where nothing grows towards failure (infinite) or p alone fails (0), the mode is that which p uses up most.
    """
    p, v = _pair(p, v)
    tension, compression, shear = _strengths(strength)
    limit = np.concatenate([np.column_stack([tension, compression]).ravel(), shear])
    still, growing = _drive(p), _drive(v)
    # a shear fails either way: what counts is the sign in which it ends, hence |p| turned into that sign
    turn = np.where(v[:, 3:] < 0, -1.0, 1.0)
    still[:, 6:], growing[:, 6:] = p[:, 3:] * turn, np.abs(v[:, 3:])
    used = np.maximum(still, 0) / limit
    used[:, 6:] = np.abs(p[:, 3:]) / shear
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        lam = np.where(growing > 0, (limit - still) / growing, np.inf)
    lam = np.where(used >= 1, 0.0, lam)
    least = lam.min(axis=1)
    mode = np.where(np.isfinite(least) & (least > 0), lam.argmin(axis=1), used.argmax(axis=1))
    return least, mode


def tsai_wu_reserve(p: Any, v: Any, strength: Strength) -> Array:
    """Reserve (n,) by Tsai-Wu with every Fij = -1/2 sqrt(Fii Fjj).

    With these the quadratic term vanishes in one direction of all-round compression or tension; the root
    is taken so that it passes over into the linear one there.
    """
    p, v = _pair(p, v)
    linear, quadratic = tsai_wu_coefficients(strength)
    a = _form(v, quadratic, v)
    b = v @ linear + 2 * _form(p, quadratic, v)
    c = p @ linear + _form(p, quadratic, p) - 1
    return _first_root(a, b, c)


def tsai_wu_coefficients(strength: Strength) -> tuple[Array, Array]:
    """Tsai-Wu's F_i (6,) [1/MPa] and F_ij (6, 6) [1/MPa^2] in bead axes."""
    tension, compression, shear = _strengths(strength)
    linear = np.zeros(6)
    linear[:3] = 1 / tension - 1 / compression
    diagonal = 1 / (tension * compression)
    quadratic = np.zeros((6, 6))
    quadratic[:3, :3] = -0.5 * np.sqrt(np.outer(diagonal, diagonal))
    quadratic[[0, 1, 2], [0, 1, 2]] = diagonal
    quadratic[[3, 4, 5], [3, 4, 5]] = 1 / shear**2
    return linear, quadratic


def interlayer_reserve(p: Any, v: Any, strength: Strength) -> Array:
    """Reserve (n,) of the layer interface: <s33>^2 / Zt^2 + s23^2 / S23^2 + s13^2 / S13^2 = 1, <s33> = max(s33, 0).

    The left side is convex along lam, so it is met at most once. Either the shears alone meet it while s33 is
    not tensile, and that is exact; or it is met with s33 tensile, and then it is where the full form rises.
    """
    p, v = _pair(p, v)
    tension, _, shear = _strengths(strength)
    weight = np.array([1 / tension[2] ** 2, 1 / shear[0] ** 2, 1 / shear[1] ** 2])
    p, v = p[:, 2:5], v[:, 2:5]
    a, b, c = (v**2 * weight), (2 * p * v * weight), (p**2 * weight)
    by_shear = _first_root(a[:, 1:].sum(1), b[:, 1:].sum(1), c[:, 1:].sum(1) - 1)
    together = _rising_root(a.sum(1), b.sum(1), c.sum(1) - 1)
    with np.errstate(invalid="ignore", over="ignore"):
        there = np.where(v[:, 0] == 0, p[:, 0], p[:, 0] + by_shear * v[:, 0])
    lam = np.where(there <= 0, by_shear, together)
    fails = c[:, 1:].sum(1) + np.maximum(p[:, 0], 0) ** 2 * weight[0] >= 1
    return np.where(fails, 0.0, lam)


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


def hill_reserve(p: Any, v: Any, strength: Strength) -> Array:
    """Reserve (n,) by Hill (1948). Errors: InputError when the strengths make it inadmissible."""
    if not hill_admissible(strength):
        x, y, z = np.minimum(*_strengths(strength)[:2])
        raise InputError(
            f"Hill's criterion is not admissible for strengths {x:g}, {y:g}, {z:g} MPa: FG + GH + HF <= 0.",
            advice="Judge by maximum stress and Tsai-Wu.",
        )
    p, v = _pair(p, v)
    return _quadratic_reserve(p, v, _hill_of(strength))


def von_mises_reserve(p: Any, v: Any, yield_stress: float) -> Array:
    """Reserve (n,) of an isotropic body against yield [MPa]."""
    p, v = _pair(p, v)
    even = 0.5 / yield_stress**2
    return _quadratic_reserve(p, v, _hill_form(even, even, even, np.full(3, 3 / yield_stress**2)))


def _hill_of(strength: Strength) -> Array:
    return _hill_form(*hill_coefficients(strength), 1 / _strengths(strength)[2] ** 2)


def _hill_form(f: float, g: float, h: float, shear: Array) -> Array:
    form = np.diag([g + h, f + h, f + g, *shear])
    form[0, 1] = form[1, 0] = -h
    form[0, 2] = form[2, 0] = -g
    form[1, 2] = form[2, 1] = -f
    return form


def _quadratic_reserve(p: Array, v: Array, form: Array) -> Array:
    return _first_root(_form(v, form, v), 2 * _form(p, form, v), _form(p, form, p) - 1)


def _form(left: Array, matrix: Array, right: Array) -> Array:
    return np.einsum("ni,ni->n", left @ matrix, right)


def _first_root(a: Array, b: Array, c: Array) -> Array:
    """The first lam >= 0 (n,) at which a lam^2 + b lam + c reaches 0 from below; 0 where c >= 0 already."""
    return np.where(c >= 0, 0.0, _rising_root(a, b, c))


def _rising_root(a: Array, b: Array, c: Array) -> Array:
    """The positive root (n,) at which a lam^2 + b lam + c rises through 0; infinite where there is none.

    Written as -2c / (b + sqrt(b^2 - 4ac)) it goes over into -c/b as a vanishes and is the lower of two positive
    roots when a < 0; for b < 0 the other form avoids the cancellation.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        square = b * b - 4 * a * c
        root = np.sqrt(np.maximum(square, 0))
        lam = np.where(b >= 0, -2 * c / (b + root), np.where(a > 0, (root - b) / (2 * a), np.inf))
        never = (square < 0) | ((b >= 0) & (c >= 0)) | ((a <= 0) & (b <= 0))
    return np.where(never, np.inf, lam)


def _drive(stress: Array) -> Array:
    """Stress (n, 6) as nine drives (n, 9) in the order of STRESS_MODES, shears unsigned."""
    normal = np.stack([stress[:, :3], -stress[:, :3]], axis=2).reshape(len(stress), 6)
    return np.concatenate([normal, np.abs(stress[:, 3:])], axis=1)


def _pair(p: Any, v: Any) -> tuple[Array, Array]:
    p, v = np.broadcast_arrays(np.atleast_2d(np.asarray(p, dtype=float)), np.atleast_2d(np.asarray(v, dtype=float)))
    if p.ndim != 2 or p.shape[1] != 6:
        raise ValueError(f"stresses must be (n, 6), not {p.shape}")
    return p, v


def _strengths(strength: Strength) -> tuple[Array, Array, Array]:
    if strength.tension is None or strength.compression is None or strength.shear is None:
        raise ValueError("an isotropic body is judged by von Mises, not by a criterion for beads")
    return (
        np.asarray(strength.tension, dtype=float),
        np.asarray(strength.compression, dtype=float),
        np.asarray(strength.shear, dtype=float),
    )
