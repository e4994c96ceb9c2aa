"""Several zones in one tetrahedron: what it is worth as a whole, and what each of its zones feels.

Checked against two materials bonded in a plane, solved anew here: across the plane strains differ by the symmetric
part of a jump times the normal, and the tractions are equal. Source: G. W. Milton, The Theory of Composites (2002),
chapter 9 (laminates). Bounds: R. Hill, Proc. Phys. Soc. A 65 (1952) 349.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers_fe import box

from fem.errors import InputError
from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS, tet_slopes
from fem.part.tetmesh import joined
from fem.printing.body import metal_body, printed_body
from fem.printing.field import wall_axes
from fem.printing.mixing import printed_field
from fem.printing.plan import PrintPlan, print_axes
from fem.printing.polymer import load_card
from fem.printing.zones import CORE, COVER, WALL
from fem.tensors import PAIRS, rotate_stiffness, strain_rotation, stress_rotation, unpack_stress

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
    """Tetrahedra in which no zone is a sliver."""
    return np.flatnonzero(printed.share.min(axis=1) > 0.03)


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


def by_hand(printed, tet, axes):
    """Skin and core bonded across the build, then both with the wall across the outline."""
    wall, cover, core = printed.share[tet]
    wall_, cover_, core_ = (own(printed, tet, slot) for slot in (WALL, COVER, CORE))
    both, (to_cover, to_core), (w_cover, w_core) = bonded(cover_, core_, share=cover / (cover + core), normal=axes[2])
    turn = printed.turn[tet]
    normal = np.cos(turn) * axes[1] - np.sin(turn) * axes[0]
    whole, (to_wall, to_both), (w_wall, w_both) = bonded(wall_, both, share=wall, normal=normal)
    local = np.array([to_wall, to_cover @ to_both, to_core @ to_both])
    warmed = np.array([w_wall, to_cover @ w_both + w_cover, to_core @ w_both + w_core])
    return whole, local, warmed


def test_stack_in_a_stack_by_hand(tilted):
    axes = print_axes(TILTED)
    some = all_three(tilted)
    assert len(some) > 20
    assert np.ptp(tilted.turn[some]) > 1, "walls must run several ways"
    for tet in some[:: len(some) // 20]:
        row = tilted.mixture[tet]
        (stiffness, expansion), local, warmed = by_hand(tilted, tet, axes)
        assert np.allclose(tilted.stiffness_table[row], stiffness, rtol=0, atol=1e-9 * stiffness.max())
        assert np.allclose(tilted.expansion_table[row], expansion, rtol=0, atol=1e-9 * np.abs(expansion).max())
        assert np.allclose(tilted.local[row], local, rtol=0, atol=1e-9 * np.abs(local).max())
        assert np.allclose(tilted.local_warming[row], warmed, rtol=0, atol=1e-9 * np.abs(warmed).max())


def test_the_other_stack_is_another_material(tilted):
    # wall and cover bonded first, or all three across the build, or a wall turned by 90 degrees: more than 1 % off
    axes = print_axes(TILTED)
    tet = max(all_three(tilted), key=lambda t: tilted.share[t].min())
    found = tilted.stiffness_table[tilted.mixture[tet]]
    wall, cover, core = tilted.share[tet]
    wall_, cover_, core_ = (own(tilted, tet, slot) for slot in (WALL, COVER, CORE))
    both = bonded(cover_, core_, share=cover / (cover + core), normal=axes[2])[0]
    pressed = bonded(wall_, both, share=wall, normal=axes[2])[0][0]
    turned = replace(tilted, turn=tilted.turn + np.pi / 2)
    for wrong in (pressed, by_hand(turned, tet, axes)[0][0]):
        assert np.abs(wrong - found).max() > 0.01 * found.max()


def test_stress_and_strain_fit_across_the_planes(tilted):
    axes = print_axes(TILTED)
    mean, temperature_change = RNG.normal(size=6), 30.0
    jumps = []
    for tet in all_three(tilted):
        row = tilted.mixture[tet]
        stress = tilted.local[row] @ mean + temperature_change * tilted.local_warming[row]
        strain = np.array(
            [
                np.linalg.solve(c, s) + temperature_change * a
                for s, (c, a) in zip(stress, (own(tilted, tet, z) for z in range(3)), strict=True)
            ]
        )
        share = tilted.share[tet]
        behind = share[1:] / share[1:].sum()
        turn = tilted.turn[tet]
        out = np.cos(turn) * axes[1] - np.sin(turn) * axes[0]
        pairs = (
            (axes[2], stress[COVER] - stress[CORE], strain[COVER] - strain[CORE]),
            (out, stress[WALL] - behind @ stress[1:], strain[WALL] - behind @ strain[1:]),
        )
        for normal, off, apart in pairs:
            assert unpack_stress(off) @ normal == pytest.approx([0, 0, 0], abs=1e-9 * np.abs(stress).max())
            flat = np.eye(3) - np.outer(normal, normal)
            bend = unpack_stress(apart * [1, 1, 1, 0.5, 0.5, 0.5])
            assert np.abs(flat @ bend @ flat).max() < 1e-9 * np.abs(strain).max()
            jumps.append(np.abs(off).max())
    assert max(jumps) > 0.5 * np.abs(mean).max(), "in the plane the stresses do differ"


def test_zone_stresses_add_up_to_the_mean(tilted):
    rows, share = tilted.mixture, tilted.share
    there = np.where(share > 0, share, 0.0)
    mean = np.einsum("mz,mzab->mab", there, tilted.local[rows])
    assert np.allclose(mean, np.eye(6), atol=1e-9)
    assert np.allclose(np.einsum("mz,mza->ma", there, tilted.local_warming[rows]), 0, atol=1e-12)
    uneven = there[:, [1, 2, 0]]
    assert np.abs(np.einsum("mz,mzab->mab", uneven, tilted.local[rows]) - np.eye(6)).max() > 0.1


def test_one_zone_alone_is_its_material(tilted, mesh):
    fine = field_of(box(SIDES, (12, 9, 14)), UPRIGHT)
    seen = set()
    for tet in np.flatnonzero(fine.share.max(axis=1) == 1):
        slot = int(fine.share[tet].argmax())
        row = fine.mixture[tet]
        stiffness, expansion = own(fine, tet, slot)
        assert np.allclose(fine.stiffness_table[row], stiffness, rtol=0, atol=1e-9 * stiffness.max())
        assert np.allclose(fine.expansion_table[row], expansion, atol=1e-15)
        assert np.allclose(fine.local[row, slot], np.eye(6), atol=1e-9)
        assert np.allclose(fine.local_warming[row, slot], 0, atol=1e-12)
        seen.add(slot)
    assert seen == {WALL, COVER, CORE}
    plain = field_of(mesh, PrintPlan((0, 0, 1), walls=0))
    metal = printed_field(mesh, bodies={"part": metal_body(load_card("6082-t6"))})
    for printed in (plain, metal):
        (material,) = printed.materials
        assert not printed.several_zones
        assert (printed.stiffness_table[printed.mixture] == material.stiffness).all()
    assert tilted.several_zones


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
    same = np.abs(there.share - tilted.share).max(axis=1) < 1e-9  # a sample on a border may fall to either side
    assert same.mean() > 0.9
    a, b = (f.stiffness_table[f.mixture[same]] for f in (tilted, there))
    assert np.allclose(rotate_stiffness(a, q.T), b, rtol=0, atol=1e-6 * a.max())
    mean = RNG.normal(size=6)
    here, turned = (f.local[f.mixture[same]] for f in (tilted, there))
    filled = tilted.share[same] > 0
    left = (here @ mean)[filled] @ stress_rotation(q).T
    assert np.allclose(left, (turned @ (stress_rotation(q) @ mean))[filled], atol=1e-6 * np.abs(left).max())
    still = field_of(moved, TILTED)
    stiff = still.stiffness_table[still.mixture[same]]
    assert np.abs(rotate_stiffness(a, q.T) - stiff).max() > 0.1 * a.max(), "turning the part alone does not"


def test_between_the_bounds_of_uniform_strain_and_uniform_stress(tilted):
    strictly = 0
    for tet in all_three(tilted):
        parts = [own(tilted, tet, slot)[0] for slot in range(3)]
        share = tilted.share[tet]
        voigt = np.einsum("z,zab->ab", share, parts)
        reuss = np.linalg.inv(np.einsum("z,zab->ab", share, np.linalg.inv(parts)))
        found = tilted.stiffness_table[tilted.mixture[tet]]
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
    assert np.allclose(found.stiffness_table[found.mixture[part]], alone.stiffness_table[alone.mixture])
    assert np.array_equal(found.stiffness_table[found.mixture[foot]][0], metal.core.stiffness)
    assert {found.materials[k].zone for k in found.zone[foot].ravel() if k >= 0} == {"metal"}
    with pytest.raises(InputError, match="body foot has no material"):
        printed_field(both, bodies={"part": made_of(UPRIGHT)})
