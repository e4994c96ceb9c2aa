"""Bodies that rub, that a bolt clamps, that glue holds: an incline, a belt, a preloaded joint, halves of a beam."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from fem.errors import FreeBodyError
from fem.evidence.bricks import HIGH_X, HIGH_Y, HIGH_Z, LOW_X, LOW_Y, LOW_Z, box, ring
from fem.evidence.meeting import Met, meet, met, stop, touching, two_blocks
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.evidence.pressed import SOFT
from fem.evidence.small_parts import field, group, material, on, pinned, square_to
from fem.joining.shank import ShankStiffness, shank_columns, shank_springs, washer_patch
from fem.loading.loads import force_load
from fem.loading.supports import held_face
from fem.solving.equilibrium import Equilibrium
from fem.solving.ties import Ties
from fem.solving.tightened import Loaded, load_tightened, tighten
from fem.tensors import Array, isotropic_stiffness

SHIGLEY = "Budynas and Nisbett, Shigley's Mechanical Engineering Design, 9th ed. (2011), section 8-7"
EULER = "Euler's belt, T1/T2 = exp(μ φ)"
COULOMB = "Coulomb: tan φ = μ"
TIMOSHENKO = "Timoshenko's beam, P L³ / 3 E I + P L / κ G A"


def friction() -> Iterator[Row]:
    """A block on an incline, and a strap around a post."""
    case, how = "Block on an incline, friction 0.3", "by halves, to 0.01"
    yield Row(f"{case}: slope that slips", COULOMB, 0.3, slope_that_slips(0.3), "1", how, 0.02, CLOSED_FORM)
    for mu in (0.2, 0.4):
        case, how = f"Strap a quarter around a post, friction {mu:g}", "24 bricks around"
        left = math.exp(-mu * math.pi / 2)
        yield Row(f"{case}: pull left", EULER, left, belt(mu, pull=100.0)[0] / 100, "1", how, 0.02, CLOSED_FORM)


def clamped() -> Iterator[Row]:
    """The diagram of a preloaded joint, from two meshed blocks and a bolt."""
    where, how = SHIGLEY, "two blocks whose meshes share no node"
    case = "Blocks of 40 kN/mm under a bolt of 60 kN/mm and 1 kN"
    loads = (1000.0, 2400.0, 2700.0)
    bolt = tightened_blocks(60e3, preload=1000.0, loads=loads)
    published = (1600.0, 2440.0, 2700.0)
    for load, force, found in zip(loads, published, bolt, strict=True):
        pull = float(found.pull[0])
        yield Row(f"{case}, {load:g} N: force of the bolt", where, force, pull, "N", how, 2e-3, CLOSED_FORM)
    clamp = [float(found.answer.state.force.sum()) for found in bolt[:2]]
    opens = loads[1] + clamp[1] * (loads[1] - loads[0]) / (clamp[0] - clamp[1])
    yield Row(f"{case}: load that opens it", where, 2500.0, opens, "N", how, 5e-3, CLOSED_FORM)


def glued() -> Iterator[Row]:
    """A cantilever of two halves: as one when they are glued, as two when they slide."""
    how = "two halves whose meshes share no node"
    for kind, thick, words in (("bonded", 10.0, "glued"), ("bearing", 5.0, "sliding")):
        beams = 10 / thick
        load, length, inertia, area = 10 / beams, 100.0, 10 * thick**3 / 12, 10 * thick
        known = load * length**3 / (3 * 2000 * inertia) + load * length / (5 / 6 * 2000 / 2 * area)
        found = deflection_of_halves(kind)
        problem = f"Cantilever of two {words} halves: deflection"
        yield Row(problem, TIMOSHENKO, known, found, "mm", how, 0.01, CLOSED_FORM)


# ---- problems


def on_an_incline(slope: float, *, friction: float) -> Met:
    """A block of 40 x 40 x 4 mm pressed onto the ground by 100 N and pushed along it by `slope` times that, which act
    in the ground's plane, so that the block does not tip. Errors: FreeBodyError where it slides."""
    mesh = box((40, 40, 4), (2, 2, 1))
    printed = field(mesh, material(SOFT))
    push = 100 * slope
    load = force_load(mesh, group(mesh, LOW_Z), force=np.array([0.6 * push, 0.8 * push, -100.0]))
    return meet(met(mesh, printed, [], stop(mesh, LOW_Z, friction=friction)), load)


def slope_that_slips(friction: float, *, low: float = 0.2, high: float = 0.4, within: float = 0.01) -> float:
    """The slope from `low` to `high` at which a block on an incline begins to slide, by halves; `high` where it never
    does."""

    def sticks(slope: float) -> bool:
        try:
            on_an_incline(slope, friction=friction)
        except FreeBodyError:
            return False
        return True

    if sticks(high):
        return high
    while high - low > within:
        middle = (low + high) / 2
        low, high = (middle, high) if sticks(middle) else (low, middle)
    return (low + high) / 2


def belt(friction: float, *, pull: float, bricks: int = 24) -> tuple[float, Met]:
    """A quarter of a strap around a fixed post, wedged fast at one end: how hard it pulls there [N]."""
    thick, radius, wide = 0.2, 20.0, 4.0
    mesh = ring((1, bricks, 2), radius, radius + thick, wide)
    printed = field(mesh, material(isotropic_stiffness(50e3, 0.0)))
    held = [square_to(mesh, HIGH_Y, LOW_Z, name="end")]
    load = force_load(mesh, group(mesh, LOW_Y), force=np.array([0, -pull, 0]))
    found = meet(met(mesh, printed, held, stop(mesh, LOW_X, friction=friction)), load)
    return abs(float(found.support_on(on(mesh, HIGH_Y))[0])), found


def bolted_blocks(spring: float) -> tuple[Equilibrium, Array]:
    """Two blocks of 20 x 20 x 10 mm and 2000 MPa between a head and a nut as wide as they are: bars in line with a
    bolt of a `spring` [N/mm]; and the forces (n, 3) [N] that pull them apart by one newton."""
    mesh, off = two_blocks((3, 3, 2), (4, 4, 2))
    printed = field(mesh, material(isotropic_stiffness(2000.0, 0.0)))
    up, ends = np.array([0, 0, 1.0]), ((off + HIGH_Z, 20.0), (LOW_Z, 0.0))
    head, nut = (
        washer_patch(mesh, mesh.triangles_of((face,)), axis=up, at=np.array([10, 10, z]), outer=100.0, name="bolt")
        for face, z in ends
    )
    columns, length = shank_columns(head, nut)
    ties = Ties(columns, shank_springs(ShankStiffness(spring, 4e7, 3e7), length))
    held = [pinned(mesh, (0, 0, 0), (20, 0, 0), (0, 20, 0))]
    both = met(mesh, printed, held, touching(mesh, HIGH_Z, off + LOW_Z, friction=0.3), ties=ties)
    pull = force_load(mesh, group(mesh, off + HIGH_Z), force=up) - force_load(mesh, group(mesh, LOW_Z), force=up)
    return both, pull


def tightened_blocks(spring: float, *, preload: float, loads: Sequence[float]) -> list[Loaded]:
    """These blocks with their bolt tightened to a `preload` [N], then pulled apart by each of the `loads` [N]."""
    both, pull = bolted_blocks(spring)
    tight = tighten(both, np.array([preload]))
    return [load_tightened(both, tight, load * pull) for load in loads]


def deflection_of_halves(kind: str, *, force: float = 10.0) -> float:
    """Deflection [mm] of the end of a cantilever of 100 x 10 x 10 mm, 2000 MPa and no Poisson's ratio, made of two
    halves that meet in its middle plane by a joint of a `kind`, under a `force` [N] down over its end."""
    mesh, off = two_blocks((16, 2, 1), (21, 3, 1), size=(100, 10, 5))
    printed = field(mesh, material(isotropic_stiffness(2000.0, 0.0)))
    held = [held_face(mesh, group(mesh, LOW_X, off + LOW_X), fixed=("x", "y", "z"), name="wall")]
    load = force_load(mesh, group(mesh, HIGH_X, off + HIGH_X), force=np.array([0, 0, -force]))
    found = meet(met(mesh, printed, held, touching(mesh, HIGH_Z, off + LOW_Z, kind=kind)), load)
    end = mesh.nodes[:, 0] > 100 - 1e-9
    return -float(found.found.displacement[end, 2].mean())
