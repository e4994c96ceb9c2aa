"""Bodies that press without friction: a stop, a seam of meshes, Hertz's cylinder and sphere, rings in a press fit.

Hertz: K. L. Johnson, Contact Mechanics, Cambridge 1985, sections 3.4 and 4.2.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from fem.evidence.bricks import HIGH_X, HIGH_Y, HIGH_Z, LOW_X, LOW_Y, LOW_Z, block, box, growing, ring
from fem.evidence.meeting import Met, each_of, meet, met, stacked, stop, touching, two_blocks
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.evidence.small_parts import field, group, material, node_stress, prescribe, square_to
from fem.loading.loads import force_load, pressure_load
from fem.tensors import Array, isotropic_stiffness, unpack_stress

JOHNSON = "Johnson, Contact Mechanics (1985), sections 3.4 and 4.2"
SHIGLEY = "Budynas and Nisbett, Shigley's Mechanical Engineering Design, 9th ed. (2011), section 3-16"
SOFT = isotropic_stiffness(2000.0, 0.35)


def touch() -> Iterator[Row]:
    """A bar that comes to a stop, and an even pressure across a seam of different meshes."""
    for force, pushed, moved in ((200.0, 100.0, 0.05), (80.0, 0.0, 0.04)):
        found = bar_to_a_stop(force)
        case, source = f"Bar pulled by {force:g} N, stop 0.05 mm away", "statics: F − E A g / L"
        if pushed:
            push = float(found.found.state.force.sum())
            yield Row(f"{case}: force on the stop", source, pushed, push, "N", "12 bricks", 3e-3, CLOSED_FORM)
        end = float(found.found.displacement[:, 0].max())
        yield Row(f"{case}: displacement", source, moved, end, "mm", "12 bricks", 2e-3, CLOSED_FORM)
    cells, how = ((3, 3, 1), (7, 5, 2)), "meshes that share no node"
    for kind in ("bearing", "bonded"):
        stress, pressure = even_pressure(*cells, kind=kind)
        case, source = f"Even pressure of 5 MPa across a {kind} seam", "equilibrium"
        far, off = stress[np.abs(stress + 5).argmax()], pressure[np.abs(pressure - 5).argmax()]
        yield Row(f"{case}: stress farthest off", source, -5.0, float(far), "MPa", how, 1e-6, CLOSED_FORM)
        yield Row(f"{case}: pressure farthest off", source, 5.0, float(off), "MPa", how, 1e-6, CLOSED_FORM)


def hertz() -> Iterator[Row]:
    """A cylinder and a sphere on a flat."""
    case, how = "Cylinder of 50 mm on a flat, 35 kN a mm", "half of it, one brick wide"
    half_width, top = cylinder_on_a_flat(**COARSE)
    yield Row(f"{case}: half width of the contact", JOHNSON, 6.21463, half_width, "mm", how, 0.03)
    yield Row(f"{case}: peak pressure", JOHNSON, 3585.36, top, "MPa", how, 0.03)
    case, how = "Hard sphere of 50 mm on a flat, 1 kN", "quarter, far field of a half-space"
    approach, reach, top = sphere_on_a_flat(**SPHERE)
    yield Row(f"{case}: approach", JOHNSON, 0.2104158, approach, "mm", how, 0.02)
    yield Row(f"{case}: radius of the contact", JOHNSON, 3.243577, reach, "mm", how, 0.05)
    yield Row(f"{case}: peak pressure", JOHNSON, 45.38297, top, "MPa", how, 0.05)


def press_fit() -> Iterator[Row]:
    """A steel bush pressed into an aluminium ring."""
    how, case = "quarter rings, 9 and 14 bricks around", "Steel bush in an aluminium ring, 0.02 mm of interference"
    found = pressed_rings()
    pressure, hoop = fit_in_closed_form()
    yield Row(f"{case}: mean pressure", SHIGLEY, pressure, found.mean_pressure, "MPa", how, 0.01, CLOSED_FORM)
    yield Row(f"{case}: hoop stress inside the ring", SHIGLEY, hoop, ring_hoop(found), "MPa", how, 0.01, CLOSED_FORM)


# ---- problems


def bar_to_a_stop(force: float, *, gap: float = 0.05) -> Met:
    """A bar of 100 x 10 x 10 mm and 2000 MPa pulled by `force` [N] towards a rigid stop `gap` [mm] away."""
    mesh = box((100, 10, 10), (12, 1, 1))
    printed = field(mesh, material(isotropic_stiffness(2000.0, 0.0)))
    held = [square_to(mesh, LOW_X, LOW_Y, LOW_Z, name="symmetry")]
    load = force_load(mesh, group(mesh, HIGH_X), force=np.array([force, 0, 0]))
    return meet(met(mesh, printed, held, stop(mesh, HIGH_X, clearance=gap)), load)


def even_pressure(
    lower: tuple[int, int, int], upper: tuple[int, int, int], *, kind: str, turn: Array | None = None
) -> tuple[Array, Array]:
    """Two blocks under 5 MPa: stress (n,) [MPa] along the pressure at all nodes, which all else must not disturb, and
    pressure (q,) [MPa] in their seam. Errors: AssertionError where another stress is not zero.
    """
    mesh, off = two_blocks(lower, upper, turn=turn)
    printed = field(mesh, material(SOFT))
    held = [
        square_to(mesh, LOW_X, LOW_Y, LOW_Z, name="lower"),
        square_to(mesh, off + LOW_X, off + LOW_Y, name="upper"),
    ]
    load = pressure_load(mesh, group(mesh, off + HIGH_Z), pressure=5.0)
    found = meet(met(mesh, printed, held, touching(mesh, HIGH_Z, off + LOW_Z, kind=kind)), load)
    up = (np.eye(3) if turn is None else turn)[:, 2]
    stress = unpack_stress(node_stress(mesh, printed, found.found.displacement))
    along = np.einsum("i,nij,j->n", up, stress, up)
    assert np.abs(stress - along[:, None, None] * np.outer(up, up)).max() < 5e-6
    return along, found.pressure


COARSE, FINE = ({"lower": (14, 10), "upper": (12, 8)}, {"lower": (22, 18), "upper": (20, 14)})
"""Bricks of the cylinder on its flat."""
SPHERE = {"lower": (13, 11), "upper": (14, 3)}
"""Bricks of the sphere on its flat."""


def cylinder_on_a_flat(*, lower: tuple[int, int], upper: tuple[int, int]) -> tuple[float, float]:
    """Half width [mm] and peak [MPa] of a steel cylinder of radius 50 mm on aluminium under 35 kN a mm of length;
    bricks along the flat and up in each body."""
    radius, line, width = 50.0, 35000.0, 2.0
    grade = (growing(40.0), _even, growing(40.0))
    flat = block(
        (lower[0], 1, lower[1]),
        bend=lambda p: p * [120, width, 120] - [0, 0, 120],
        grade=(*grade[:2], ending(40.0)),
    )

    def cap(p: Array) -> Array:
        x = 45 * p[:, 0]
        low = radius - np.sqrt(radius**2 - x**2)
        return np.stack([x, width * p[:, 1], low + (radius - low) * p[:, 2]], axis=1)

    mesh, off = stacked(flat, block((upper[0], 1, upper[1]), bend=cap, grade=grade))
    held = [
        square_to(mesh, LOW_X, LOW_Y, HIGH_Y, LOW_Z, name="lower"),
        square_to(mesh, off + LOW_X, off + LOW_Y, off + HIGH_Y, name="upper"),
    ]
    printed = each_of(mesh, isotropic_stiffness(70e3, 0.3), isotropic_stiffness(210e3, 0.3))
    joint = touching(mesh, off + LOW_Z, HIGH_Z, reach=3.0, finer=False)
    load = force_load(mesh, group(mesh, off + HIGH_Z), force=np.array([0, 0, -line * width / 2]))
    found = meet(met(mesh, printed, held, joint, solver="multigrid"), load)
    return parabola(found, lambda at: at[:, 0] ** 2, 4.0)


def sphere_on_a_flat(*, lower: tuple[int, int], upper: tuple[int, int]) -> tuple[float, float, float]:
    """Approach, radius of the contact [mm] and peak [MPa] of a hard sphere of radius 50 mm on 1000 MPa under 1 kN;
    bricks along the flat and up in each body."""
    young, nu, radius, force, size = 1000.0, 0.3, 50.0, 1000.0, 40.0
    flat = block(
        (lower[0], *lower), bend=lambda p: p * size - [0, 0, size], grade=(growing(25.0), growing(25.0), ending(25.0))
    )

    def cap(p: Array) -> Array:
        x, y = 12 * p[:, 0], 12 * p[:, 1]
        low = radius - np.sqrt(radius**2 - x**2 - y**2)
        return np.stack([x, y, low + (8 - low) * p[:, 2]], axis=1)

    mesh, off = stacked(flat, block((upper[0], *upper), bend=cap, grade=(growing(6.0), growing(6.0), _even)))
    far = np.unique(mesh.triangles[mesh.triangles_of((HIGH_X, HIGH_Y, LOW_Z))])
    held = [
        square_to(mesh, LOW_X, LOW_Y, name="lower"),
        square_to(mesh, off + LOW_X, off + LOW_Y, name="upper"),
        prescribe(mesh, far, half_space(mesh.nodes, young, nu, force), name="far"),
    ]
    printed = each_of(mesh, isotropic_stiffness(young, nu), isotropic_stiffness(1e5 * young, nu))
    joint = touching(mesh, off + LOW_Z, HIGH_Z, reach=3.0, finer=False)
    load = force_load(mesh, group(mesh, off + HIGH_Z), force=np.array([0, 0, -force / 4]))
    found = meet(met(mesh, printed, held, joint, solver="multigrid"), load)
    approach = -float(found.found.displacement[mesh.node_body == 1, 2].mean())
    return approach, *parabola(found, lambda at: (at[:, :2] ** 2).sum(axis=1), 2.4)


BUSH, SEAT, EDGE, INTERFERENCE = 10.0, 15.0, 25.0, 0.02
"""Radii of the bush's bore, of the fit and of the ring's outside [mm], and by how much the bush is too large."""
STEEL, ALUMINIUM = (210e3, 0.3), (70e3, 0.33)


def pressed_rings(*, interference: float = INTERFERENCE) -> Met:
    """A steel bush pressed into an aluminium ring, their ends free; by how much it is too large [mm]."""
    mesh, off = stacked(ring((2, 9, 1), BUSH, SEAT, 3.0), ring((4, 14, 2), SEAT, EDGE, 3.0))
    held = [
        square_to(mesh, LOW_Y, HIGH_Y, LOW_Z, name="bush"),
        square_to(mesh, off + LOW_Y, off + HIGH_Y, off + LOW_Z, name="ring"),
    ]
    printed = each_of(mesh, isotropic_stiffness(*STEEL), isotropic_stiffness(*ALUMINIUM))
    joint = touching(mesh, off + LOW_X, HIGH_X, clearance=-interference, finer=False)
    return meet(met(mesh, printed, held, joint), np.zeros(mesh.nodes.shape))


def fit_in_closed_form() -> tuple[float, float]:
    """Pressure and the ring's hoop stress [MPa] where both meet, by Lamé's rings."""
    (hard, hard_nu), (soft, soft_nu) = STEEL, ALUMINIUM
    inside = (SEAT**2 + BUSH**2) / (SEAT**2 - BUSH**2)
    outside = (EDGE**2 + SEAT**2) / (EDGE**2 - SEAT**2)
    pressure = INTERFERENCE / SEAT / ((outside + soft_nu) / soft + (inside - hard_nu) / hard)
    return pressure, pressure * outside


def ring_hoop(found: Met) -> float:
    """Mean hoop stress [MPa] of the ring at the nodes where the bush presses."""
    mesh, off = found.mesh, len(found.mesh.faces) // 2
    nodes = mesh.nodes_of((off + LOW_X,))
    stress = unpack_stress(node_stress(mesh, found.equilibrium.printed, found.found.displacement)[nodes])
    around = mesh.nodes[nodes][:, [1, 0, 2]] * [-1, 1, 0] / SEAT
    return float(np.einsum("ni,nij,nj->n", around, stress, around).mean())


# ---- reading off


def parabola(found: Met, square: Callable[[Array], Array], within: float) -> tuple[float, float]:
    """How far [mm] the pressure reaches and its peak [MPa], by the line that its square makes of the square of the
    distance `within` some mm of the middle."""
    r2 = square(found.places)
    near = r2 < within**2
    slope, top = np.polyfit(r2[near], found.pressure[near] ** 2, 1)
    return float(np.sqrt(-top / slope)), float(np.sqrt(top))


def ending(ratio: float) -> Callable[[Array], Array]:
    """Grid positions whose first step is `ratio` times the last."""
    return lambda s: 1 - growing(ratio)(1 - s)


def _even(s: Array) -> Array:
    return s


def half_space(points: Array, young: float, nu: float, force: float) -> Array:
    """Displacement (n, 3) [mm] of a half-space below z = 0 under a point force down at the origin (Boussinesq)."""
    shear = young / (2 * (1 + nu))
    x, y, depth = points[:, 0], points[:, 1], -points[:, 2]
    rho = np.maximum(np.sqrt(x**2 + y**2 + depth**2), 1e-3)
    common = force / (4 * np.pi * shear)
    down = common * (depth**2 / rho**3 + 2 * (1 - nu) / rho)
    out = common * (depth / rho**3 - (1 - 2 * nu) / np.maximum(rho * (rho + depth), 1e-9))
    return np.stack([out * x, out * y, -down], axis=1)
