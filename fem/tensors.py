"""The one component order of Beadwork, and how stress, strain and stiffness turn with the axes.

Order: xx yy zz yz xz xy. Stress holds the tensor's components; strain holds engineering shear
(gamma = 2 eps). Rows of a rotation `axes` (3, 3) are the new axes written in the old ones.

Sources: T. C. T. Ting, Anisotropic Elasticity (1996), section 2.2 (Bond matrices);
R. M. Jones, Mechanics of Composite Materials (1999), section 2.4 (orthotropic constants);
B. M. Lempriere, AIAA Journal 6 (1968) 2226 (admissible Poisson's ratios).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.errors import InputError, shown

Array = NDArray[np.float64]

COMPONENTS = ("xx", "yy", "zz", "yz", "xz", "xy")
"""Names of the six components, in the order used everywhere."""
PAIRS = ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1))


def pack_stress(tensor: Any) -> Array:
    """Symmetric tensors (..., 3, 3) as vectors (..., 6), unchanged components."""
    t = np.asarray(tensor, dtype=float)
    return np.stack([t[..., i, j] for i, j in PAIRS], axis=-1)


def pack_strain(tensor: Any) -> Array:
    """Symmetric strain tensors (..., 3, 3) as vectors (..., 6) with engineering shear."""
    return pack_stress(tensor) * np.array([1.0, 1.0, 1.0, 2.0, 2.0, 2.0])


def unpack_stress(vector: Any) -> Array:
    """Stress vectors (..., 6) as symmetric tensors (..., 3, 3)."""
    v = np.asarray(vector, dtype=float)
    out = np.empty((*v.shape[:-1], 3, 3))
    for k, (i, j) in enumerate(PAIRS):
        out[..., i, j] = out[..., j, i] = v[..., k]
    return out


def stress_rotation(axes: Any) -> Array:
    """The matrix (..., 6, 6) that takes a stress vector into the axes whose rows are `axes` (..., 3, 3)."""
    q = np.asarray(axes, dtype=float)
    out = np.empty((*q.shape[:-2], 6, 6))
    for row, (i, j) in enumerate(PAIRS):
        for col, (k, m) in enumerate(PAIRS):
            term = q[..., i, k] * q[..., j, m]
            out[..., row, col] = term if k == m else term + q[..., i, m] * q[..., j, k]
    return out


def turned_about_third(stress: Any, angle: Any) -> Array:
    """Stress vectors (n, 6) in axes turned by `angle` (n,) [rad] about the third, each by its own."""
    xx, yy, zz, yz, xz, xy = np.asarray(stress, dtype=float).T
    c, s = np.cos(angle), np.sin(angle)
    across = 2 * c * s * xy
    turned = c * c * xx + s * s * yy + across, s * s * xx + c * c * yy - across, zz
    return np.stack([*turned, c * yz - s * xz, c * xz + s * yz, c * s * (yy - xx) + (c * c - s * s) * xy], axis=1)


def strain_rotation(axes: Any) -> Array:
    """The matrix (..., 6, 6) that takes a strain vector (engineering shear) into `axes` (..., 3, 3)."""
    weight = np.array([1.0, 1.0, 1.0, 2.0, 2.0, 2.0])
    return stress_rotation(axes) * weight[:, None] / weight[None, :]


def rotate_stiffness(stiffness: Any, axes: Any) -> Array:
    """Stiffness (..., 6, 6) given in the axes `axes` (rows, in the outer frame), written in the outer frame.

    With `axes` = print axes in part axes, this takes a card's stiffness into part axes.
    """
    to_local = strain_rotation(axes)
    return np.swapaxes(to_local, -1, -2) @ np.asarray(stiffness, dtype=float) @ to_local


def orthotropic_compliance(E: Any, nu: Any, G: Any) -> Array:
    """Compliance (6, 6) [1/MPa] from E = (E1, E2, E3), nu = (nu12, nu13, nu23), G = (G12, G13, G23) [MPa]."""
    (e1, e2, e3), (n12, n13, n23), (g12, g13, g23) = E, nu, G
    s = np.zeros((6, 6))
    s[0, 0], s[1, 1], s[2, 2] = 1 / e1, 1 / e2, 1 / e3
    s[0, 1] = s[1, 0] = -n12 / e1
    s[0, 2] = s[2, 0] = -n13 / e1
    s[1, 2] = s[2, 1] = -n23 / e2
    s[3, 3], s[4, 4], s[5, 5] = 1 / g23, 1 / g13, 1 / g12
    return s


def orthotropic_stiffness(E: Any, nu: Any, G: Any) -> Array:
    """Stiffness (6, 6) [MPa] of an orthotropic material in its own axes; arguments as in the compliance."""
    c = np.linalg.inv(orthotropic_compliance(E, nu, G))
    return (c + c.T) / 2


def isotropic_stiffness(E: float, nu: float) -> Array:
    """Stiffness (6, 6) [MPa] of an isotropic material."""
    g = E / (2 * (1 + nu))
    return orthotropic_stiffness((E, E, E), (nu, nu, nu), (g, g, g))


def engineering_constants(stiffness: Any) -> dict[str, float]:
    """Nine constants E1 E2 E3 nu12 nu13 nu23 G12 G13 G23 read off a stiffness (6, 6) in its symmetry axes."""
    s = np.linalg.inv(np.asarray(stiffness, dtype=float))
    return {
        "E1": 1 / s[0, 0],
        "E2": 1 / s[1, 1],
        "E3": 1 / s[2, 2],
        "nu12": -s[0, 1] / s[0, 0],
        "nu13": -s[0, 2] / s[0, 0],
        "nu23": -s[1, 2] / s[1, 1],
        "G12": 1 / s[5, 5],
        "G13": 1 / s[4, 4],
        "G23": 1 / s[3, 3],
    }


def broken_condition(E: Any, nu: Any, G: Any) -> str:
    """The first condition of positive definiteness that the constants break, in words; "" when none is.

    Source: Lempriere (1968); Jones (1999) section 2.4.
    """
    (e1, e2, e3), (n12, n13, n23) = E, nu
    for name, value in [("E1", e1), ("E2", e2), ("E3", e3), ("G12", G[0]), ("G13", G[1]), ("G23", G[2])]:
        if not (np.isfinite(value) and value > 0):
            return f"{name} = {value:g} MPa must be positive"
    for name, value, bound in [
        ("nu12", n12, np.sqrt(e1 / e2)),
        ("nu13", n13, np.sqrt(e1 / e3)),
        ("nu23", n23, np.sqrt(e2 / e3)),
    ]:
        if not abs(value) < bound:
            i, j = name[2], name[3]
            return f"|{name}| = {abs(value):g} must be below sqrt(E{i}/E{j}) = {bound:.4g}"
    n21, n31, n32 = n12 * e2 / e1, n13 * e3 / e1, n23 * e3 / e2
    delta = 1 - n12 * n21 - n23 * n32 - n13 * n31 - 2 * n21 * n32 * n13
    if not delta > 0:
        return f"1 - nu12 nu21 - nu23 nu32 - nu13 nu31 - 2 nu21 nu32 nu13 = {delta:.4g} must be positive"
    return ""


def is_isotropic(stiffness: Any, *, tolerance: float = 1e-9) -> bool:
    """Whether a stiffness (6, 6) is that of an isotropic material."""
    c = np.asarray(stiffness, dtype=float)
    k = engineering_constants(c)
    return bool(np.allclose(c, isotropic_stiffness(k["E1"], k["nu12"]), rtol=0, atol=tolerance * np.abs(c).max()))


def von_mises(stress: Any) -> Array:
    """Von Mises' equivalent stress (...) [MPa] of stress vectors (..., 6) [MPa]."""
    s = np.asarray(stress, dtype=float)
    xx, yy, zz, yz, xz, xy = np.moveaxis(s, -1, 0)
    return np.sqrt(0.5 * ((xx - yy) ** 2 + (yy - zz) ** 2 + (zz - xx) ** 2) + 3 * (yz**2 + xz**2 + xy**2))


def checked_direction(name: str, value: Any) -> tuple[float, float, float]:
    """A direction that a user gave, as three numbers; `name` it for messages.

    Errors: InputError unless it holds three finite numbers, neither all zero nor so large or small that their squares
    lose digits (a length between 1e-6 and 1e6; a direction has no unit).
    """
    advice = "Give a direction such as [0, 0, 1]."
    try:
        numbers = [float(x) for x in value]
    except (TypeError, ValueError, OverflowError):
        numbers = []
    if len(numbers) != 3 or not all(np.isfinite(numbers)):
        raise InputError(f"{name} {shown(value)} must be three finite numbers.", advice=advice)
    told = "[" + ", ".join(f"{x:g}" for x in numbers) + "]"
    if not any(numbers):
        raise InputError(f"{name} has zero length.", advice=advice)
    if not 1e-6 <= max(map(abs, numbers)) <= 1e6:
        raise InputError(f"{name} {told} is far too long or too short for a direction.", advice=advice)
    x, y, z = numbers
    return x, y, z


def unit(vector: Any) -> Array:
    """The vector (3,) at length one."""
    v = np.asarray(vector, dtype=float)
    return v / np.linalg.norm(v)
