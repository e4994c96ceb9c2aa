"""Constants of turned layers and of laminates, in the plane and in space."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fem.evidence.nouns import CLOSED_FORM, Row
from fem.printing.layers import IN_PLANE, OUT_OF_PLANE, Laminate, laminate
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array, engineering_constants, isotropic_stiffness, orthotropic_stiffness, rotate_stiffness

Constants = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
"""E1, E2, E3, nu12, nu13, nu23, G12, G13, G23 [GPa]."""

T300: Constants = ((181.0, 10.3, 10.3), (0.28, 0.28, 0.55), (7.17, 7.17, 10.3 / 3.1))
"""T300/5208: S. W. Tsai and H. T. Hahn, Introduction to Composite Materials (1980); as transversely isotropic."""
PRINTED: Constants = ((6.0, 3.0, 2.0), (0.35, 0.40, 0.45), (1.2, 0.8, 0.7))

JONES = "Jones, Mechanics of Composite Materials, 2nd ed. (1999)"
KAW = "Kaw, Mechanics of Composite Materials, 2nd ed. (2006)"
WORKED = "worked example of classical lamination theory, carbon in epoxy, 60 % by volume"
STACKS = "Chou, Carleone and Hsu, J. Compos. Mater. 6 (1972) 80; Sun and Li, ibid. 22 (1988) 629"
BACKUS = "Backus, J. Geophys. Res. 67 (1962) 4427"


def turned(material: Constants, angle: float) -> Array:
    """Stiffness (6, 6) of a layer whose beads lie at `angle` [degrees]."""
    return rotate_stiffness(orthotropic_stiffness(*material), in_layer_rotation(angle))


def stack(material: Constants, angles: Sequence[float]) -> Laminate:
    """Equal layers of one material at these angles."""
    return laminate([turned(material, a) for a in angles])


def in_plane(stiffness: Array) -> Array:
    """Plane-stress stiffness (3, 3), order 11 22 12: the out-of-plane stresses are set to zero."""
    c = np.asarray(stiffness)
    i, o = IN_PLANE, OUT_OF_PLANE
    return np.asarray(c[np.ix_(i, i)] - c[np.ix_(i, o)] @ np.linalg.solve(c[np.ix_(o, o)], c[np.ix_(o, i)]))


def rows_of(
    problem: str,
    source: str,
    names: Sequence[str],
    found: Sequence[float],
    published: Sequence[float],
    *,
    units: Sequence[str],
    how: str,
    allowed: float,
    note: str = CLOSED_FORM,
) -> Iterator[Row]:
    """A row for each of several numbers of one problem."""
    for name, computed, known, unit in zip(names, found, published, units, strict=True):
        yield Row(f"{problem}: {name}", source, known, float(computed), unit, how, allowed, note)


OFF_AXIS = (
    ("T300/5208", T300, 15, (72.62888, 10.74528, 7.63190, 0.26562, -2.19344)),
    ("T300/5208", T300, 45, (16.73722, 16.73722, 9.46019, 0.16717, -0.76625)),
    ("printed nylon", PRINTED, 15, (5.22540, 2.97876, 1.28342, 0.37558, -0.46285)),
    ("printed nylon", PRINTED, 30, (4.01674, 3.00940, 1.49068, 0.39749, -0.47831)),
)


def layers() -> Iterator[Row]:
    """Layers turned away from the axes: Ex, Ey, Gxy, nuxy, eta = S16/S11."""
    names, units = ("Ex", "Ey", "Gxy", "nu_xy", "eta"), ("GPa", "GPa", "GPa", "1", "1")
    for name, material, angle, published in OFF_AXIS:
        s = np.linalg.inv(turned(material, angle))
        found = (1 / s[0, 0], 1 / s[1, 1], 1 / s[5, 5], -s[0, 1] / s[0, 0], s[0, 5] / s[0, 0])
        problem, source = f"Layer of {name} at {angle}°", f"{JONES}, eqs 2.97"
        yield from rows_of(problem, source, names, found, published, units=units, how="rotated tensor", allowed=5e-5)
    found = np.linalg.inv(turned(T300, 60))[0, 0]
    problem, how = "Layer of T300/5208 at 60°: compliance S11", "rotated tensor"
    yield Row(problem, f"{KAW}, chapter 2", 0.08053, float(found), "1/GPa", how, 1e-4, "published value from memory")


def laminated() -> Iterator[Row]:
    """Plane-stress stiffness of a layer, and of a textbook's laminate."""
    names, places = ("Q11", "Q12", "Q16", "Q22", "Q26", "Q66"), ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
    published = (106.262605, 14.734973, 35.669801, 9.222039, 5.043551, 16.103440)
    material = ((133.44, 7.226277, 7.226277), (0.26, 0.26, 0.4), (3.254202, 3.254202, 7.226277 / 2.8))
    q = in_plane(turned(material, 20))
    found = [float(q[at]) for at in places]
    problem, how = "Layer of carbon in epoxy at 20°", "rotated tensor, plane stress"
    yield from rows_of(problem, WORKED, names, found, published, units=["GPa"] * 6, how=how, allowed=1e-5, note="")
    a = in_plane(stack(T300, (0, 30, -45)).stiffness) * 1e9 * 0.015
    names = ("A11", "A12", "A16", "A22", "A26", "A66")
    published = (1.739241e9, 3.883864e8, 5.663373e7, 4.532535e8, -1.140636e8, 4.524825e8)
    problem, how = "Laminate [0/30/-45] of T300/5208", "laminated in space, plane stress"
    found = [float(a[at]) for at in places]
    source = f"{KAW}, example 4.2"
    yield from rows_of(problem, source, names, found, published, units=["Pa m"] * 6, how=how, allowed=1e-5)


SOLID = (
    ("printed nylon", PRINTED, (0, 90), (4.532623, 2.046083, 0.746667, 1.2, 0.23333, 0.43999)),
    ("printed nylon", PRINTED, (45, -45), (3.414072, 2.046083, 0.746667, 1.837550, 0.42253, 0.33141)),
    ("printed nylon", PRINTED, (0, 45, -45, 90), (4.013189, 2.046083, 0.746667, 1.518775, 0.32119, 0.38957)),
    ("T300/5208", T300, (0, 90), (95.9913, 13.95609, 4.54090, 7.17, 0.030152, 0.48148)),
    ("T300/5208", T300, (0, 45, -45, 90), (69.67574, 13.95609, 4.54090, 26.88043, 0.296031, 0.34948)),
)


def in_space() -> Iterator[Row]:
    """Laminates as solids: in-plane strains and out-of-plane stresses are shared."""
    names, units = ("Ex", "Ez", "Gxz", "Gxy", "nu_xy", "nu_xz"), ("GPa", "GPa", "GPa", "GPa", "1", "1")
    for name, material, angles, published in SOLID:
        k = engineering_constants(stack(material, angles).stiffness)
        found = (k["E1"], k["E3"], k["G13"], k["G12"], k["nu12"], k["nu13"])
        problem = f"Laminate [{'/'.join(map(str, angles))}] of {name}"
        yield from rows_of(
            problem, STACKS, names, found, published, units=units, how="laminated in space", allowed=3e-5
        )
    c = laminate([isotropic_stiffness(4, 0.35), isotropic_stiffness(1, 0.30)]).stiffness
    found = (c[0, 0], c[0, 1], c[0, 2], c[2, 2], c[3, 3], c[5, 5])
    published = (3.348976, 1.482879, 1.076124, 2.225619, 0.610687, 0.933048)
    names, problem = ("C11", "C12", "C13", "C33", "C44", "C66"), "Two isotropic layers"
    how = "laminated in space"
    yield from rows_of(problem, BACKUS, names, found, published, units=["GPa"] * 6, how=how, allowed=1e-6)
