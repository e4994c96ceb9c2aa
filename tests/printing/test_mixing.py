"""Several zones in one tetrahedron: what it is worth as a whole, and what each of its zones feels.

Checked against two materials bonded in a plane, solved anew here: across the plane strains differ by the symmetric
part of a jump times the normal, and the tractions are equal. Source: G. W. Milton, The Theory of Composites (2002),
chapter 9 (laminates). Bounds: R. Hill, Proc. Phys. Soc. A 65 (1952) 349.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers_fe import block, box

from fem.errors import InputError
from fem.judging.recovery import Recovery
from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS, tet_shapes, tet_slopes
from fem.part.tetmesh import joined
from fem.printing.body import metal_body, printed_body
from fem.printing.field import wall_axes
from fem.printing.mixing import printed_field
from fem.printing.plan import PrintPlan, print_axes
from fem.printing.polymer import load_card
from fem.printing.zones import CORE, COVER, WALL
from fem.tensors import PAIRS, rotate_stiffness, strain_rotation, unpack_stress

CARD = load_card("pa12-cf")
SIDES = (15.0, 11.0, 8.0)
UPRIGHT = PrintPlan(
    (0, 0, 1), walls=3, covers=4, raster=(30.0, -75.0), infill_pattern="grid", infill_density=0.3, infill_angle=10.0
)
TILTED = replace(UPRIGHT, build_direction=(1.0, -1.0, 4.0), raster_zero=(2.0, 1.0, 0.5))
RNG = np.random.default_rng(11)


def made_of(plan):
    return printed_body(plan, card=CARD, state="dry")


def field_of(mesh, plan):
    return printed_field(mesh, bodies={"part": made_of(plan)})


@pytest.fixture(scope="module")
def mesh():
    return box(SIDES, (5, 4, 3))


@pytest.fixture(scope="module")
def tilted(mesh):
    return field_of(mesh, TILTED)


def all_three(printed):
    """Quarters (j, 2), tetrahedron and point, in which no zone is a sliver."""
    return np.argwhere(printed.quarter.min(axis=2) > 0.03)


def volumes(mesh):
    jac = np.einsum("qad,mai->mqdi", tet_slopes(STRESS_POINTS), mesh.nodes[mesh.tets])
    return (np.linalg.det(jac) * STRESS_WEIGHTS).sum(axis=1)


def bonded(first, second, *, share, normal):
    """Two materials, each (stiffness, expansion), bonded in planes of this normal; `share` is the first one's.

    Returns the stiffness and expansion of both together, and for each of the two the matrix that takes the mean
    stress to its own and its stress when the free pair warms by one kelvin.
    """
    jump = np.zeros((6, 3))  # strain of the symmetric part of jump times normal, engineering shear
    for k, (i, j) in enumerate(PAIRS):
        jump[k, i] += normal[j]
        if i != j:
            jump[k, j] += normal[i]
    grip = jump.T  # traction on the plane
    (c1, a1), (c2, a2) = first, second
    between = grip @ ((1 - share) * c1 + share * c2) @ jump
    # (c1 - c2) mean strain - (c1 a1 - c2 a2) temperature_change + between jump = 0 on the plane
    by_strain = -np.linalg.solve(between, grip @ (c1 - c2))
    by_warming = np.linalg.solve(between, grip @ (c1 @ a1 - c2 @ a2))
    strains = [np.eye(6) + side * jump @ by_strain for side in (1 - share, -share)]
    grown = [side * jump @ by_warming for side in (1 - share, -share)]
    parts = ((share, c1, a1), (1 - share, c2, a2))
    whole = sum(w * c @ s for (w, c, _), s in zip(parts, strains, strict=True))
    held = sum(w * c @ (g - a) for (w, c, a), g in zip(parts, grown, strict=True))
    expansion = -np.linalg.solve(whole, held)
    local = [c @ s @ np.linalg.inv(whole) for (_, c, _), s in zip(parts, strains, strict=True)]
    warmed = [c @ (s @ expansion + g - a) for (_, c, a), s, g in zip(parts, strains, grown, strict=True)]
    return (whole, expansion), local, warmed


def own(printed, tet, slot):
    """Stiffness and expansion of one zone of a tetrahedron, in part axes."""
    material = printed.materials[printed.zone[tet, slot]]
    if not material.follows_outline:
        return material.stiffness, material.expansion
    axes = wall_axes(material, printed.turn[[tet]])[0]
    return rotate_stiffness(material.stiffness, axes), strain_rotation(axes.T) @ material.expansion


def by_hand(printed, tet, q):
    """Cover and core bonded along the surface's normal, then both with the wall along the same."""
    wall, cover, core = printed.quarter[tet, q]
    normal = printed.normal[tet, q]
    wall_, cover_, core_ = (own(printed, tet, slot) for slot in (WALL, COVER, CORE))
    both, (to_cover, to_core), (w_cover, w_core) = bonded(cover_, core_, share=cover / (cover + core), normal=normal)
    whole, (to_wall, to_both), (w_wall, w_both) = bonded(wall_, both, share=wall, normal=normal)
    local = np.array([to_wall, to_cover @ to_both, to_core @ to_both])
    warmed = np.array([w_wall, to_cover @ w_both + w_cover, to_core @ w_both + w_core])
    return whole, local, warmed


def at(printed, tet, q):
    """Stiffness and expansion of a quarter."""
    row = printed.material[tet, q]
    return printed.stiffness_table[row], printed.expansion_table[row]


def felt(mesh, printed, strain, temperature_change):
    """What the program says that each zone (m, 3, 4, 6) feels under a uniform mean strain (6,); nan where absent."""
    recovery = Recovery(mesh, printed)
    moved = mesh.nodes @ unpack_stress(strain * [1, 1, 1, 0.5, 0.5, 0.5])
    points = recovery.points([moved], [np.full(len(mesh.tets), temperature_change)])[:, 0]
    return np.where(recovery.which[..., None, None] >= 0, points[recovery.which], np.nan)


def test_stack_by_hand(mesh, tilted):
    some = all_three(tilted)
    assert len(some) > 20
    assert np.ptp(tilted.turn[some[:, 0]]) > 1, "walls must run several ways"
    strain, temperature_change = 1e-3 * RNG.normal(size=6), 30.0
    stress = felt(mesh, tilted, strain, temperature_change)
    for tet, q in some[:: len(some) // 20]:
        (stiffness, expansion), local, warmed = by_hand(tilted, tet, q)
        found = at(tilted, tet, q)
        assert np.allclose(found[0], stiffness, rtol=0, atol=1e-9 * stiffness.max())
        assert np.allclose(found[1], expansion, rtol=0, atol=1e-9 * np.abs(expansion).max())
        mean = stiffness @ (strain - temperature_change * expansion)
        by = local @ mean + temperature_change * warmed
        assert np.allclose(stress[tet, :, q], by, rtol=0, atol=1e-9 * np.abs(by).max())


def test_the_other_stack_is_another_material(tilted):
    # a stack up the build whatever the surface, or a wall turned by 90 degrees: more than 1 % off
    axes = print_axes(TILTED)
    sloped = np.abs(tilted.normal @ axes[2]) < 0.9
    tet, q = max(
        (at for at in all_three(tilted) if sloped[tuple(at)]), key=lambda at: tilted.quarter[tuple(at)].min()
    )
    found = at(tilted, tet, q)[0]
    upright = replace(tilted, normal=np.broadcast_to(axes[2], tilted.normal.shape))
    turned = replace(tilted, turn=tilted.turn + np.pi / 2)
    for wrong in (upright, turned):
        assert np.abs(by_hand(wrong, tet, q)[0][0] - found).max() > 0.01 * found.max()


def test_stress_and_strain_fit_across_the_planes(mesh, tilted):
    temperature_change, jumps = 30.0, []
    stress = felt(mesh, tilted, 1e-3 * RNG.normal(size=6), temperature_change)
    for tet, q in all_three(tilted):
        each, normal = stress[tet, :, q], tilted.normal[tet, q]
        strain = [
            np.linalg.solve(c, s) + temperature_change * a
            for s, (c, a) in zip(each, (own(tilted, tet, z) for z in range(3)), strict=True)
        ]
        flat = np.eye(3) - np.outer(normal, normal)
        for one, other in ((WALL, CORE), (COVER, CORE)):
            off, apart = each[one] - each[other], strain[one] - strain[other]
            assert unpack_stress(off) @ normal == pytest.approx([0, 0, 0], abs=1e-8 * np.abs(each).max())
            bend = unpack_stress(apart * [1, 1, 1, 0.5, 0.5, 0.5])
            assert np.abs(flat @ bend @ flat).max() < 1e-8 * np.abs(strain).max()
            jumps.append(np.abs(off).max() / np.abs(each).max())
    assert max(jumps) > 0.3, "in the plane the stresses do differ"


def test_zone_stresses_add_up_to_the_mean(mesh, tilted):
    strain, temperature_change = 1e-3 * RNG.normal(size=6), 20.0
    stress = np.nan_to_num(felt(mesh, tilted, strain, temperature_change))
    there = np.where(tilted.share[:, None] > 0, tilted.quarter, 0.0)
    mean = np.einsum("mqz,mzqa->mqa", there, stress)
    rows = tilted.material
    expected = np.einsum(
        "mqab,mqb->mqa", tilted.stiffness_table[rows], strain - temperature_change * tilted.expansion_table[rows]
    )
    assert np.allclose(mean, expected, rtol=0, atol=1e-9 * np.abs(expected).max())
    assert np.abs(np.einsum("mqz,mzqa->mqa", there[..., [1, 2, 0]], stress) - mean).max() > 0.1 * np.abs(mean).max()


def test_one_zone_alone_is_its_material(mesh):
    fine = field_of(box(SIDES, (12, 9, 14)), UPRIGHT)
    seen = set()
    for tet in np.flatnonzero(fine.share.max(axis=1) == 1):
        slot = int(fine.share[tet].argmax())
        stiffness, expansion = own(fine, tet, slot)
        for found in (at(fine, tet, q) for q in range(4)):
            assert np.allclose(found[0], stiffness, rtol=0, atol=1e-9 * stiffness.max())
            assert np.allclose(found[1], expansion, atol=1e-15)
        seen.add(slot)
    assert seen == {WALL, COVER, CORE}
    plain = field_of(mesh, PrintPlan((0, 0, 1), walls=0))
    metal = printed_field(mesh, bodies={"part": metal_body(load_card("6082-t6"))})
    for printed in (plain, metal):
        (material,) = printed.materials
        assert (printed.stiffness_table[printed.material] == material.stiffness).all()


def sheared(p):
    """A unit cube made a wedge of 16 x 12 x 8 mm, whose upper side slopes down."""
    return p * [16, 12, 8] - np.outer(p[:, 0] * p[:, 2] * 16 * np.tan(0.5), [0, 0, 1])


def test_normals_are_those_of_the_surface_also_on_a_slope():
    # a wedge printed upright: its sloping side is a wall in the layer and a cover up the build, and one plane
    slope = np.array([np.sin(0.5), 0.0, np.cos(0.5)])
    wedge = block(
        (8, 6, 5), bend=lambda p: p * [16, 12, 8] - np.outer(p[:, 0] * p[:, 2] * 16 * np.tan(0.5), [0, 0, 1])
    )
    printed = field_of(wedge, replace(UPRIGHT, walls=2))
    middle = np.einsum("qa,mai->mqi", tet_shapes(STRESS_POINTS), wedge.nodes[wedge.tets])
    depth = (np.array([0.0, 0.0, 8.0]) - middle) @ slope
    side = np.minimum.reduce([middle[..., 1], 12 - middle[..., 1], middle[..., 0], 16 - middle[..., 0]])
    mixed = (printed.quarter.max(axis=2) < 0.95) & (depth < 1.2) & (side > 2.5) & (middle[..., 2] > 2.5)
    assert mixed.sum() > 20
    assert np.abs(np.abs(printed.normal[mixed] @ slope) - 1).max() < 1e-6
    assert {WALL, COVER} <= set(printed.quarter[mixed].argmax(axis=1)) | {COVER}


def test_turning_part_and_plan_together_turns_the_stiffness(mesh, tilted):
    q = np.linalg.qr(RNG.normal(size=(3, 3)))[0]
    q *= np.linalg.det(q)
    moved = replace(mesh, nodes=mesh.nodes @ q.T + [3.0, -7.0, 20.0])
    plan = replace(
        TILTED,
        build_direction=tuple(q @ TILTED.build_direction),
        raster_zero=tuple(q @ TILTED.raster_zero),
    )
    there = field_of(moved, plan)
    # a sample on a border may fall to either side
    same = np.abs(there.quarter - tilted.quarter).max(axis=(1, 2)) < 1e-9
    assert same.mean() > 0.8
    a, b = (f.stiffness_table[f.material[same]].reshape(-1, 6, 6) for f in (tilted, there))
    assert np.allclose(rotate_stiffness(a, q.T), b, rtol=0, atol=1e-6 * a.max())
    still = field_of(moved, TILTED)
    stiff = still.stiffness_table[still.material[same]].reshape(-1, 6, 6)
    assert np.abs(rotate_stiffness(a, q.T) - stiff).max() > 0.1 * a.max(), "turning the part alone does not"


def test_between_the_bounds_of_uniform_strain_and_uniform_stress(tilted):
    strictly = 0
    for tet, q in all_three(tilted):
        parts = [own(tilted, tet, slot)[0] for slot in range(3)]
        share = tilted.quarter[tet, q]
        voigt = np.einsum("z,zab->ab", share, parts)
        reuss = np.linalg.inv(np.einsum("z,zab->ab", share, np.linalg.inv(parts)))
        found = at(tilted, tet, q)[0]
        small = 1e-9 * voigt.max()
        above, below = np.linalg.eigvalsh(voigt - found), np.linalg.eigvalsh(found - reuss)
        assert above.min() > -small
        assert below.min() > -small
        strictly += above.max() > 0.01 * voigt.max() and below.max() > 0.01 * voigt.max()
    assert strictly == len(all_three(tilted))


def test_mass_is_that_of_the_zones(mesh):
    # box less 3 beads of 0.45 mm all round, and 4 layers of 0.2 mm above and below
    made = made_of(UPRIGHT)
    length, width, height = SIDES
    room = (length - 2 * 1.35) * (width - 2 * 1.35)
    solid = length * width * height - room * (height - 2 * 0.8)
    exact = CARD.density * (solid + 0.3 * room * (height - 1.6))
    found = field_of(mesh, UPRIGHT)
    assert made.core.density == pytest.approx(0.3 * CARD.density, rel=1e-9)
    assert (found.density * volumes(mesh)).sum() == pytest.approx(exact, rel=0.01)
    assert CARD.density * solid < 0.8 * exact, "the infill's own mass counts"
    assert (found.density <= CARD.density * (1 + 1e-9)).all()
    assert (found.density >= 0.3 * CARD.density * (1 - 1e-9)).all()


def test_each_body_of_a_mesh_has_its_own_materials(mesh):
    beside = replace(
        mesh,
        nodes=mesh.nodes + np.array([30.0, 0, 0]),
        bodies=("foot",),
        faces=tuple(replace(face, body="foot") for face in mesh.faces),
    )
    both = joined([mesh, beside])
    metal = metal_body(load_card("6082-t6"))
    found = printed_field(both, bodies={"part": made_of(UPRIGHT), "foot": metal})
    alone = field_of(mesh, UPRIGHT)
    part, foot = both.tets_of("part"), both.tets_of("foot")
    assert np.allclose(found.share[part], alone.share, atol=1e-12)
    assert np.allclose(found.stiffness_table[found.material[part]], alone.stiffness_table[alone.material])
    assert np.array_equal(found.stiffness_table[found.material[foot]][0, 0], metal.core.stiffness)
    assert {found.materials[k].zone for k in found.zone[foot].ravel() if k >= 0} == {"metal"}
    with pytest.raises(InputError, match="body foot has no material"):
        printed_field(both, bodies={"part": made_of(UPRIGHT)})
