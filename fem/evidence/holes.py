"""Stress around holes: endless plates, isotropic and orthotropic, and strips of finite width."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from fem.evidence.bricks import HIGH_X, HIGH_Z, LOW_Z, block, growing, ring
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.evidence.rounds import mirrored
from fem.evidence.small_parts import field, group, material, node_at, node_stress, solve, square_to
from fem.loading.loads import force_load, spread
from fem.part.tetmesh import TetMesh
from fem.tensors import Array, isotropic_stiffness, orthotropic_stiffness

Plane = Callable[[Array, Array], tuple[Array, Array, Array]]
"""Stress xx, yy, xy at places x, y of an endless plate with a hole of radius one."""

KIRSCH = "Kirsch (1898); Timoshenko and Goodier, Theory of Elasticity, 3rd ed. (1970), section 35"
LEKHNITSKII = "Lekhnitskii, Anisotropic Plates (1968), section 38"
HOWLAND = "Howland, Phil. Trans. R. Soc. A 229 (1930) 49"
PETERSON = "Peterson's Stress Concentration Factors, chart 4.1: Ktn = 2 + 0.284 y - 0.600 y² + 1.32 y³, y = 1 - d/W"
ROARK = "Roark's Formulas for Stress and Strain, table 17.1: Ktn = 3 - 3.13 x + 3.66 x² - 1.53 x³, x = d/W"


def kirsch(x: Array, y: Array) -> tuple[Array, Array, Array]:
    """Stress around a hole of radius one under unit tension along x (KIRSCH)."""
    r, t = np.hypot(x, y), np.arctan2(y, x)
    q, f = r**-2, r**-4
    return (
        1 - q * (1.5 * np.cos(2 * t) + np.cos(4 * t)) + 1.5 * f * np.cos(4 * t),
        -q * (0.5 * np.cos(2 * t) - np.cos(4 * t)) - 1.5 * f * np.cos(4 * t),
        -q * (0.5 * np.sin(2 * t) + np.sin(4 * t)) + 1.5 * f * np.sin(4 * t),
    )


def both_ways(x: Array, y: Array) -> tuple[Array, Array, Array]:
    """The same under unit tension along x and y."""
    xx, yy, xy = kirsch(x, y)
    other_yy, other_xx, other_xy = kirsch(y, x)
    return xx + other_xx, yy + other_yy, xy + other_xy


def pushed_and_pulled(x: Array, y: Array) -> tuple[Array, Array, Array]:
    """The same under unit tension along x and unit compression along y: pure shear at 45 degrees."""
    xx, yy, xy = kirsch(x, y)
    other_yy, other_xx, other_xy = kirsch(y, x)
    return xx - other_xx, yy - other_yy, xy - other_xy


def potentials(constants: tuple[float, float, float, float]) -> Plane:
    """The same for an orthotropic plate of E1, E2, nu12, G12 with its axes along x and y (LEKHNITSKII)."""
    e1, e2, n12, g12 = constants
    s11, s12, s22, s66 = 1 / e1, -n12 / e1, 1 / e2, 1 / g12
    first, second = sorted(np.roots([s11, 0, 2 * s12 + s66, 0, s22]), key=lambda m: -m.imag)[:2]

    def stress(x: Array, y: Array) -> tuple[Array, Array, Array]:
        out = [np.ones_like(x), np.zeros_like(x), np.zeros_like(x)]
        for m, sign in ((first, 1), (second, -1)):
            c = -0.5j * sign / (first - second)
            z = x + m * y
            root = np.sqrt(z**2 - 1 - m**2 + 0j)
            one, other = (z + root) / (1 - 1j * m), (z - root) / (1 - 1j * m)
            zeta = np.where(np.abs(one) >= np.abs(other), one, other)
            slope = -c / zeta**2 / (0.5 * ((1 - 1j * m) - (1 + 1j * m) / zeta**2))
            out[0] = out[0] + 2 * (m**2 * slope).real
            out[1] = out[1] + 2 * slope.real
            out[2] = out[2] - 2 * (m * slope).real
        return out[0], out[1], out[2]

    return stress


def with_hole(
    stiffness: Array,
    exact: Plane,
    *,
    cells: tuple[int, int, int] = (14, 20, 1),
    outer: float = 5.0,
    turn: float = 1.0,
) -> tuple[TetMesh, Array]:
    """Mesh and stress (n, 6) of a quarter ring of plate, loaded on its rim as the endless plate would load it.

    In plane strain the stress in the plane is that of plane stress, where the rim is loaded by tractions.
    """
    mesh = ring(cells, 1.0, outer, 0.15, grade=(growing(8.0), growing(turn)))
    printed = field(mesh, material(stiffness))

    def rim(x: Array, n: Array) -> Array:
        xx, yy, xy = exact(x[..., 0], x[..., 1])
        return np.stack([xx * n[..., 0] + xy * n[..., 1], xy * n[..., 0] + yy * n[..., 1], 0 * xx], axis=-1)

    loads = spread(mesh, mesh.triangles_of((HIGH_X,)), rim)
    flat = square_to(mesh, LOW_Z, HIGH_Z, name="flat")
    found, _, _ = solve(mesh, printed, held=[*mirrored(mesh), flat], loads=loads)
    return mesh, node_stress(mesh, printed, found)


def isotropic() -> Iterator[Row]:
    """A hole in an endless isotropic plate."""
    how = "quarter ring of 14 x 20 bricks, rim loaded by the exact stress"
    stiffness = isotropic_stiffness(2400, 0.3)
    mesh, stress = with_hole(stiffness, kirsch)
    top, side = node_at(mesh, (0, 1, 0)), node_at(mesh, (1, 0, 0))
    told = (
        ("pulled: beside it", 3.0, stress[top, 0], 0.01),
        ("pulled: before it", -1.0, stress[side, 1], 0.02),
        ("pulled both ways", 2.0, _top(with_hole(stiffness, both_ways)), 0.01),
        ("in pure shear", 4.0, _top(with_hole(stiffness, pushed_and_pulled)), 0.01),
    )
    for words, published, computed, allowed in told:
        problem = f"Hole in an endless plate {words}, over the far stress"
        yield Row(problem, KIRSCH, published, float(computed), "1", how, allowed)


def _top(solved: tuple[TetMesh, Array]) -> float:
    mesh, stress = solved
    return float(stress[node_at(mesh, (0, 1, 0)), 0])


HOLES = (
    ("printed nylon along its beads", (6.0, 3.0, 0.35, 1.2), 3.66991, -0.70711),
    ("printed nylon across its beads", (3.0, 6.0, 0.175, 1.2), 2.88791, -1.41421),
    ("T300/5208 along its fibres", (181.0, 10.3, 0.28, 7.17), 6.75048, -0.23855),
)
"""E1, E2 [GPa], nu12, G12 [GPa]; hoop stress at the hole across and along the load over the far stress:
1 + n and -1/k with k = sqrt(E1/E2), n = sqrt(2 (k - nu12) + E1/G12)."""


def orthotropic() -> Iterator[Row]:
    """A hole in an endless orthotropic plate."""
    for words, constants, across, along in HOLES:
        e1, e2, n12, g12 = constants
        # Without Poisson's ratio through the thickness, plane stress and plane strain are one
        stiffness = orthotropic_stiffness((e1, e2, e2), (n12, 0.0, 0.0), (g12, g12, g12))
        narrow = across > 6  # narrow peaks need smaller steps near them
        turn, allowed = (1 / 6, 0.04) if narrow else (1.0, 0.01)
        mesh, stress = with_hole(1e3 * stiffness, potentials(constants), cells=(16, 24, 1), outer=3.0, turn=turn)
        how = "quarter ring of 16 x 24 bricks, rim loaded by the exact stress"
        told = (
            ("beside it", across, stress[node_at(mesh, (0, 1, 0)), 0], allowed),
            ("before it", along, stress[node_at(mesh, (1, 0, 0)), 1], 0.02),
        )
        for place, published, computed, most in told:
            problem = f"Hole in {words}: {place}, over the far stress"
            yield Row(problem, LEKHNITSKII, published, float(computed), "1", how, most, CLOSED_FORM)


def strip(half: float, *, cells: tuple[int, int] = (12, 24)) -> TetMesh:
    """A quarter of a strip of half width `half`, four times as long, with a hole of radius one; loaded face x+."""
    far, around = cells
    steps = far // 2
    inner = growing(6.0)

    def bend(p: Array) -> Array:
        s, t, z = p.T
        near = np.minimum(2 * s, 1.0)
        edge = np.where(t <= 0.5, half, 2 * half * (1 - t)), np.where(t <= 0.5, 2 * half * t, half)
        angle = np.pi / 2 * t
        x = np.cos(angle) + (edge[0] - np.cos(angle)) * near
        y = np.sin(angle) + (edge[1] - np.sin(angle)) * near
        return np.stack([x + 3 * half * np.maximum(2 * s - 1, 0), y, 0.1 * z], axis=1)

    def grade(s: Array) -> Array:
        return np.concatenate([inner(np.linspace(0, 1, far + 1)) / 2, np.linspace(0.5, 1, steps + 1)[1:]])

    return block(
        (far + steps, around, 1),
        bend=bend,
        grade=(grade,),
        keep=lambda p: (p[:, 0] < 0.5) | (p[:, 1] < 0.5),
    )


def strip_factors(ratio: float) -> tuple[float, float]:
    """Stress beside and before a hole of `ratio` = d / W in a strip, over the stress of the whole section."""
    mesh = strip(1 / ratio)
    # Without Poisson's ratio through the thickness this is plane stress
    shear = 1000 / 2 / 1.3
    printed = field(mesh, material(orthotropic_stiffness((1000.0,) * 3, (0.3, 0.0, 0.0), (shear,) * 3)))
    end = group(mesh, HIGH_X)
    loads = force_load(mesh, end, force=np.array([end.area, 0, 0]))
    held = [*mirrored(mesh), square_to(mesh, LOW_Z, HIGH_Z, name="flat")]
    found, _, _ = solve(mesh, printed, held=held, loads=loads)
    stress = node_stress(mesh, printed, found)
    return float(stress[node_at(mesh, (0, 1, 0)), 0]), float(stress[node_at(mesh, (1, 0, 0)), 1])


def finite_width() -> Iterator[Row]:
    """A strip with a hole in its middle, pulled by its ends."""
    how = "quarter strip twice as long as wide each side, 12 x 24 bricks around the hole"
    known = ((0.2, 3.14, -1.11, 3.1488, 2.5082 / 0.8), (0.5, 4.32, -1.58, 4.3140, 2.1587 / 0.5))
    for ratio, beside, before, peterson, roark in known:
        peak, side = strip_factors(ratio)
        name = f"Strip with a hole, d/W = {ratio}"
        yield Row(f"{name}: beside it, over the gross stress", HOWLAND, beside, peak, "1", how, 0.02)
        yield Row(f"{name}: before it, over the gross stress", HOWLAND, before, side, "1", how, 0.03)
        yield Row(f"{name}: beside it, by the chart's formula", PETERSON, peterson, peak, "1", how, 0.02)
        yield Row(f"{name}: beside it, by the table's formula", ROARK, roark, peak, "1", how, 0.02)
