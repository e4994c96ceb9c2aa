"""What holds for every solve: the kernel's twin, balance, reciprocity, energy, objectivity, rates, refusals."""

from dataclasses import replace

import numpy as np
import pytest
from helpers_fe import (
    HIGH_X,
    HIGH_Z,
    LOW_X,
    LOW_Y,
    LOW_Z,
    block,
    boundary,
    box,
    field,
    group,
    material,
    pinned,
    prescribe,
    solve,
)

from fem.errors import FreeBodyError, InputError, NotConverged
from fem.judging.stress import recover_stress
from fem.loading.loads import force_load, pressure_load, resultant, wrench_load
from fem.loading.supports import Foundation, gather, held_face
from fem.part.quadrature import exact_rule, tet_shapes, tet_slopes
from fem.part.tetmesh import joined
from fem.solving.blocks import BlockMatrix
from fem.solving.equilibrium import Equilibrium
from fem.solving.linear import conjugate_gradients
from fem.solving.motions import rigid_motions
from fem.solving.space import plain_stiffness
from fem.solving.stiffness import assemble, block_pattern
from fem.tensors import (
    isotropic_stiffness,
    orthotropic_stiffness,
    pack_strain,
    rotate_stiffness,
    unpack_stress,
    von_mises,
)

PRINTED = orthotropic_stiffness((6000, 3000, 2000), (0.35, 0.40, 0.45), (1200, 800, 700))


def rotation(seed):
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return q * np.sign(np.linalg.det(q))


def curved(cells=(3, 4, 2)):
    """A twisted piece of a ring: every side is curved."""

    def bend(p):
        angle = 1.2 * p[:, 1] + 0.3 * p[:, 2]
        r = 10 + 6 * p[:, 0] + p[:, 2] ** 2
        return np.stack([r * np.cos(angle), r * np.sin(angle), 5 * p[:, 2] + p[:, 0] ** 2], axis=1)

    return block(cells, bend=bend)


def patchwork(mesh):
    """Three turned materials side by side."""
    stiffness = [rotate_stiffness(PRINTED, rotation(k)) for k in (1, 2)] + [isotropic_stiffness(2000, 0.38)]
    which = np.random.default_rng(3).integers(0, 3, len(mesh.tets))
    return field(mesh, *(material(c) for c in stiffness), which=which)


def as_matrix(pattern, blocks):
    return BlockMatrix(pattern.start, pattern.column, blocks).as_scipy()


def test_kernel_is_the_plain_weak_form():
    mesh = curved()
    printed = patchwork(mesh)
    table = printed.stiffness_table
    pattern = block_pattern(mesh)
    ours = as_matrix(pattern, assemble(mesh, pattern, table=table, material=printed.material)).toarray()
    plain, _ = plain_stiffness(mesh, table=table, material=printed.material[:, 0])
    assert np.abs(ours - plain.toarray()).max() < 1e-12 * np.abs(ours).max()
    assert np.abs(ours - ours.T).max() < 1e-12 * np.abs(ours).max()
    # A material at each integration point: what the four points add is a sum over the materials that lie there
    spread = np.random.default_rng(4).integers(0, 3, (len(mesh.tets), 4))
    mixed = as_matrix(pattern, assemble(mesh, pattern, table=table, material=spread)).toarray()
    parts = np.zeros_like(mixed)
    for q in range(4):
        for k in range(3):
            one = np.zeros_like(table)
            one[k] = table[k]
            only = np.full(spread.shape, (k + 1) % 3)  # where nothing lies
            only[:, q] = np.where(spread[:, q] == k, k, (k + 1) % 3)
            parts += as_matrix(pattern, assemble(mesh, pattern, table=one, material=only)).toarray()
    assert np.abs(mixed - parts).max() < 1e-12 * np.abs(mixed).max()
    assert np.abs(mixed - ours).max() > 0.01 * np.abs(ours).max()
    # The twin is no copy: materials one place along are told apart
    other, _ = plain_stiffness(mesh, table=np.roll(table, 1, axis=0), material=printed.material[:, 0])
    assert np.abs(ours - other.toarray()).max() > 0.1 * np.abs(ours).max()


def test_rigid_motions_cost_nothing_and_all_else_does():
    mesh = curved((2, 3, 1))
    printed = patchwork(mesh)
    pattern = block_pattern(mesh)
    blocks = assemble(mesh, pattern, table=printed.stiffness_table, material=printed.material)
    matrix = as_matrix(pattern, blocks).toarray()
    values = np.linalg.eigvalsh(matrix)
    assert np.abs(values[:6]).max() < 1e-12 * values[-1]
    assert values[6] > 1e-6 * values[-1]
    motion = rigid_motions(mesh.nodes).reshape(-1, 6)
    assert np.abs(matrix @ motion).max() < 1e-12 * np.abs(matrix).max() * np.abs(motion).max()


def test_preconditioner_is_symmetric_and_positive():
    mesh = curved((3, 3, 2))
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="preload")
    equilibrium = Equilibrium(mesh, patchwork(mesh), held=[clamp])
    n = mesh.unknowns
    inverse = equilibrium.solver.precondition(np.eye(n))
    # In single precision it is symmetric to six digits
    assert np.abs(inverse - inverse.T).max() < 2e-6 * np.abs(inverse).max()
    assert np.linalg.eigvalsh((inverse + inverse.T) / 2).min() > 0
    # It also is a good inverse: the product's eigenvalues lie close together
    spread = np.linalg.eigvals(inverse @ equilibrium.system.matrix(single=False).as_scipy().toarray()).real
    assert spread.max() / spread.min() < 30


def bracket():
    mesh = curved((4, 6, 3))
    printed = patchwork(mesh)
    clamp = held_face(mesh, group(mesh, 2), fixed=("x", "y", "z"), name="preload")
    return mesh, printed, clamp


def test_balance_energy_and_reciprocity():
    mesh, printed, clamp = bracket()
    first = pressure_load(mesh, group(mesh, HIGH_X), pressure=2.0)
    second = wrench_load(
        mesh,
        mesh.triangles_of((3,)),
        force=np.array([10.0, -5, 20]),
        moment=np.array([50.0, 20, -70]),
        at=np.zeros(3),
    )
    equilibrium = Equilibrium(mesh, printed, held=[clamp])
    (u, v, both), record = equilibrium.solve(np.array([first, second, first + second]))
    for displacement, load in ((u, first), (v, second), (both, first + second)):
        solution = equilibrium.balance(displacement, load, record)
        assert solution.force_error < 1e-8
        assert solution.moment_error < 1e-8
        assert np.abs(solution.support.sum(axis=0) + load.sum(axis=0)).max() < 1e-7 * np.abs(load).sum()
        away = np.setdiff1d(np.arange(len(mesh.nodes)), clamp.nodes)
        assert not solution.support[away].any()
    assert np.abs(u + v - both).max() < 1e-12 * np.abs(both).max()
    # A balance that is not one is seen: the same displacement under another load
    assert equilibrium.balance(u, 1.001 * first, record).force_error > 1e-5
    assert np.abs(equilibrium.elastic_forces(u) - first)[away].max() < 1e-6 * np.abs(first).max()
    assert np.abs(equilibrium.elastic_forces(u) - 1.001 * first)[away].max() > 1e-4 * np.abs(first).max()
    # Betti: the work of one load on the other's displacement is mutual. Clapeyron: energy is half the work.
    assert (first * v).sum() == pytest.approx((second * u).sum(), rel=1e-7)
    energy = 0.5 * (u * equilibrium.elastic_forces(u)).sum()
    assert energy == pytest.approx(0.5 * (first * u).sum(), rel=1e-7)
    assert energy == pytest.approx(strain_energy(mesh, printed, u), rel=1e-7)


def gradients(mesh, displacement, points):
    slope = tet_slopes(points)
    jac = np.einsum("qad,mai->mqdi", slope, mesh.nodes[mesh.tets])
    return np.linalg.solve(jac, np.einsum("qad,mai->mqdi", slope, displacement[mesh.tets])), np.linalg.det(jac)


def strain_energy(mesh, printed, displacement):
    from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS

    grad, density = gradients(mesh, displacement, STRESS_POINTS)
    strain = pack_strain((grad + np.swapaxes(grad, -1, -2)) / 2)
    own = printed.stiffness_table[printed.material[:, 0]]
    return 0.5 * np.einsum("mq,mqa,mab,mqb->", density * STRESS_WEIGHTS, strain, own, strain)


def test_turning_model_and_material_together_changes_nothing():
    q = rotation(7)
    mesh = box((30, 10, 6), (5, 2, 2))
    turned = block((5, 2, 2), bend=lambda p: (p * [30, 10, 6]) @ q.T)
    axes = rotation(8)
    force = np.array([3.0, -20.0, 40.0])
    answers = []
    for m, c, f in (
        (mesh, rotate_stiffness(PRINTED, axes), force),
        (turned, rotate_stiffness(PRINTED, axes @ q.T), q @ force),
        (turned, rotate_stiffness(PRINTED, axes), q @ force),
    ):
        printed = field(m, material(c))
        clamp = held_face(m, group(m, LOW_X), fixed=("x", "y", "z"), name="preload")
        found, _, _ = solve(m, printed, held=[clamp], loads=force_load(m, group(m, HIGH_X), force=f))
        answers.append((found, recover_stress(m, printed, found).node))
    (u, s), (v, t), (w, _) = answers
    assert np.abs(v - u @ q.T).max() < 1e-7 * np.abs(u).max()
    assert np.abs(unpack_stress(t) - q @ unpack_stress(s) @ q.T).max() < 1e-6 * np.abs(s).max()
    assert von_mises(t) == pytest.approx(von_mises(s), abs=1e-6 * np.abs(s).max())
    assert np.abs(w - u @ q.T).max() > 0.02 * np.abs(u).max()  # the material left behind


def test_units_only_scale():
    # mm and MPa against m and Pa: the same displacement, a thousand times smaller as a number; stress in Pa
    out = []
    for length, modulus in ((1.0, 1.0), (1e-3, 1e6)):
        mesh = box(np.array([40.0, 10, 10]) * length, (5, 2, 2))
        printed = field(mesh, material(PRINTED * modulus))
        clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="preload")
        loads = force_load(mesh, group(mesh, HIGH_X), force=np.array([5.0, 0, 50]))
        found, _, _ = solve(mesh, printed, held=[clamp], loads=loads)
        out.append((found / length, recover_stress(mesh, printed, found).node / modulus))
    assert np.abs(out[0][0] - out[1][0]).max() < 1e-7 * np.abs(out[0][0]).max()
    assert np.abs(out[0][1] - out[1][1]).max() < 1e-6 * np.abs(out[0][1]).max()


def harmonic(points):
    """Displacement grad(phi) and its gradient for phi = exp(sqrt(2) x) cos y cos z: in balance, without volume."""
    x, y, z = np.moveaxis(points, -1, 0)
    k = np.sqrt(2)
    e, cy, sy, cz, sz = np.exp(k * x), np.cos(y), np.sin(y), np.cos(z), np.sin(z)
    u = np.stack([k * e * cy * cz, -e * sy * cz, -e * cy * sz], axis=-1)
    xx, yy, zz, xy, xz, yz = (
        2 * e * cy * cz,
        -e * cy * cz,
        -e * cy * cz,
        -k * e * sy * cz,
        -k * e * cy * sz,
        e * sy * sz,
    )
    grad = np.stack([np.stack([xx, xy, xz], -1), np.stack([xy, yy, yz], -1), np.stack([xz, yz, zz], -1)], -2)
    return u, grad


def test_displacement_converges_at_rate_3_and_stress_at_2():
    # A priori rates of second-order elements in L2: P. G. Ciarlet, The Finite Element Method for Elliptic
    # Problems (1978), theorems 3.2.2 and 3.2.5
    stiffness = isotropic_stiffness(2000, 0.3)
    points, weights = exact_rule()
    errors = []
    for n in (2, 4, 8):
        mesh = block((n, n, n), bend=lambda p: p + 0.05 * np.sin(np.pi * p[:, [1, 2, 0]]))
        exact, _ = harmonic(mesh.nodes)
        found, _, _ = solve(mesh, field(mesh, material(stiffness)), held=[prescribe(mesh, boundary(mesh), exact)])
        at = np.einsum("qa,mai->mqi", tet_shapes(points), mesh.nodes[mesh.tets])
        right, slope = harmonic(at)
        grad, density = gradients(mesh, found, points)
        move = np.einsum("qa,mai->mqi", tet_shapes(points), found[mesh.tets]) - right
        stress = (pack_strain((grad + np.swapaxes(grad, -1, -2)) / 2) - pack_strain(slope)) @ stiffness
        errors.append([np.sqrt(np.einsum("mq,mqi,mqi->", density * weights, e, e)) for e in (move, stress)])
    rates = np.log2(np.array(errors[:-1]) / errors[1:])
    assert rates[-1, 0] == pytest.approx(3, abs=0.2)
    assert rates[-1, 1] == pytest.approx(2, abs=0.2)


def test_a_body_on_a_nearly_absent_bed_is_no_answer():
    # Stiffer than the bed by sixteen decades, the part leaves rounding alone to tell the sinking: it must show
    mesh = box((20, 10, 10), (3, 2, 2))
    printed = field(mesh, material(PRINTED))
    loads = force_load(mesh, group(mesh, HIGH_Z), force=np.array([3.0, 2.0, -10.0]))
    stopped = []
    for stiffness in (1e-3, 1e-12, 1e-13, 1e-14):
        equilibrium = Equilibrium(
            mesh, printed, foundations=[Foundation("gel", mesh.triangles_of((LOW_Z,)), stiffness, stiffness)]
        )
        try:
            (found,), record = equilibrium.solve(loads[None])
        except NotConverged as error:
            stopped.append(stiffness)
            assert "hardly held" in str(error)
            assert error.best.shape == (mesh.unknowns, 1)
            assert error.exit_status == 4
        else:
            solution = equilibrium.balance(found, loads, record)
            assert (solution.force_error < 1e-7) == (stiffness == 1e-3)
    assert stopped
    assert 1e-3 not in stopped


def test_a_stopped_iteration_carries_its_history():
    mesh, printed, clamp = bracket()
    equilibrium = Equilibrium(mesh, printed, held=[clamp])
    loads = pressure_load(mesh, group(mesh, HIGH_X), pressure=1.0).reshape(-1, 1)
    loads = equilibrium.system.free(loads)
    with pytest.raises(NotConverged, match="after 3 steps") as caught:
        conjugate_gradients(equilibrium.system, loads, precondition=equilibrium.solver.precondition, most=3)
    history = caught.value.history
    assert len(history) == 3
    left = np.linalg.norm(
        loads - equilibrium.system.free(equilibrium.system.whole_forces(caught.value.best))
    ) / np.linalg.norm(loads)
    assert left == pytest.approx(history[-1], rel=1e-6)
    full, record = conjugate_gradients(equilibrium.system, loads, precondition=equilibrium.solver.precondition)
    assert record.history[:3] == pytest.approx(history, rel=1e-9)
    assert np.linalg.norm(
        loads - equilibrium.system.free(equilibrium.system.whole_forces(full))
    ) < 1.1e-9 * np.linalg.norm(loads)


def test_a_free_body_is_refused_by_its_motions():
    mesh = box((20, 10, 5), (2, 2, 2))
    printed = field(mesh, material(PRINTED))
    with pytest.raises(FreeBodyError) as caught:
        Equilibrium(mesh, printed, held=[held_face(mesh, group(mesh, LOW_Z), fixed=("z",), name="floor")])
    text = str(caught.value)
    assert "slide along x, slide along y and turn about z" in text
    assert "slide along z" not in text
    assert "turn about x" not in text
    # Two points held leave the turn about the line through them
    pin = pinned(mesh, (0, 0, 0), (20, 0, 0), (0, 10, 0))
    some = np.arange(5)
    loose = replace(pin, nodes=pin.nodes[some], directions=pin.directions[some], value=pin.value[some])
    with pytest.raises(FreeBodyError, match="and turn about x"):
        Equilibrium(mesh, printed, held=[loose])
    Equilibrium(mesh, printed, held=[pin])


def test_each_piece_must_be_held():
    one = box((10, 10, 10), (1, 1, 1))
    other = block((1, 1, 1), bend=lambda p: 10 * p + [20, 0, 0])
    mesh = joined([one, other])
    printed = field(mesh, material(PRINTED))
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="preload")
    with pytest.raises(FreeBodyError, match=r"piece around \(25, 5, 5\)"):
        Equilibrium(mesh, printed, held=[clamp])


def test_a_bed_answers_like_springs():
    # A block under even pressure on an even foundation: sinks by p / k plus its own shortening p h / E (nu = 0)
    mesh = box((20, 10, 8), (3, 2, 2))
    printed = field(mesh, material(isotropic_stiffness(2000, 0.0)))
    foundation = Foundation("rubber", mesh.triangles_of((LOW_Z,)), 5.0, 2.0)
    loads = force_load(mesh, group(mesh, HIGH_Z), force=np.array([0, 0, -400.0]))
    equilibrium = Equilibrium(mesh, printed, foundations=[foundation])
    (found,), record = equilibrium.solve(loads[None])
    top, low = mesh.nodes[:, 2] == 8, mesh.nodes[:, 2] == 0
    assert found[low, 2] == pytest.approx(-2.0 / 5.0, rel=1e-7)
    assert found[top, 2] == pytest.approx(-2.0 / 5.0 - 2.0 * 8 / 2000, rel=1e-7)
    solution = equilibrium.balance(found, loads, record)
    assert solution.support.sum(axis=0) == pytest.approx([0, 0, 400], abs=1e-5)
    side = force_load(mesh, group(mesh, LOW_Z), force=np.array([40.0, 0, 0]))
    (found,), _ = equilibrium.solve(side[None])
    assert found[low, 0].mean() == pytest.approx(0.2 / 2.0, rel=0.02)


def test_held_along_a_slanted_normal():
    # A slanted face held along its own normal: the block slides down it as a whole
    q = rotation(5)
    mesh = block((2, 2, 2), bend=lambda p: (10 * p) @ q.T)
    slant = held_face(mesh, group(mesh, LOW_Z), fixed="normal", name="slant")
    free = gather(mesh, (slant,)).projector[slant.nodes]
    normal = q @ np.array([0, 0, 1.0])
    assert np.abs(free - (np.eye(3) - np.outer(normal, normal))).max() < 1e-10


def test_supports_that_contradict_each_other_are_refused():
    mesh = box((10, 10, 10), (1, 1, 1))
    low = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="still")
    moved = held_face(mesh, group(mesh, LOW_Z), fixed=("z",), name="moved", value=np.array([0, 0, 0.1]))
    with pytest.raises(InputError, match="different displacements"):
        gather(mesh, (low, moved))


def test_loads_that_sum_others_are_not_solved_again_but_are_right():
    mesh, printed, clamp = bracket()
    equilibrium = Equilibrium(mesh, printed, held=[clamp])
    triangles = mesh.triangles_of((3,))
    units = [wrench_load(mesh, triangles, force=w[:3], moment=w[3:], at=np.zeros(3)) for w in np.eye(6)]
    mixed = np.array([1.0, -2, 3, 0.5, 0.1, -0.4])
    loads = np.array([*units, np.einsum("k,kni->ni", mixed, units), np.zeros_like(units[0])])
    found, _ = equilibrium.solve(loads)
    alone, _ = equilibrium.solve(loads[6:7])
    assert np.abs(found[6] - alone[0]).max() < 1e-7 * np.abs(alone).max()
    assert not found[7].any()
    force, moment = resultant(mesh, loads[6])
    assert np.concatenate([force, moment]) == pytest.approx(mixed, abs=1e-9)


@pytest.mark.parametrize("solver", ["multigrid", "direct"])
def test_a_part_that_follows_its_moved_face_bears_nothing(solver):
    mesh = box((40, 10, 10), (8, 2, 2))
    printed = field(mesh, material(isotropic_stiffness(70e3, 0.3)))
    none = np.zeros(mesh.nodes.shape)

    def moved(axes, held=()):
        move = held_face(mesh, group(mesh, LOW_X), fixed=axes, name="move", value=np.array([0.3, 0.2, 0.1]))
        equilibrium = Equilibrium(mesh, printed, held=[*held, move], solver=solver)
        found, record = equilibrium.solve(none[None], starts=equilibrium.starts(move)[None])
        return found[0], equilibrium.balance(found[0], none, record)

    found, solution = moved(("x", "y", "z"))
    assert found == pytest.approx(np.broadcast_to([0.3, 0.2, 0.1], found.shape), abs=1e-7)
    assert not solution.resisted and np.abs(solution.support).max() == 0
    assert solution.force_error == solution.moment_error == 0
    # The same face moved against a fixed one is resisted: F = E A u / L
    still = ((HIGH_X, "x"), (LOW_Y, "y"), (LOW_Z, "z"))
    _, solution = moved(("x",), [held_face(mesh, group(mesh, face), fixed=(a,), name=a) for face, a in still])
    assert solution.resisted and solution.force_error < 1e-8
    push = np.linalg.norm(solution.support, axis=1).sum() / 2
    assert push == pytest.approx(70e3 * 100 * 0.3 / 40, rel=1e-6)
