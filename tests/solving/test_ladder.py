"""The preconditioner does not tire: iterations hardly grow with the mesh, and hard materials are borne.

A count is stable where a time is not. What aggregation does for the first-order problem is held against an exact
factorisation of that problem; in the hard cases the bounds say that the iteration arrives in time.
"""

import numpy as np
import pytest
from helpers_fe import HIGH_X, LOW_X, LOW_Z, box, field, group, material
from scipy.sparse.linalg import splu

from fem.errors import NotConverged, TooLargeError
from fem.loading.loads import force_load
from fem.loading.supports import Foundation, held_face
from fem.solving import multigrid, system
from fem.solving.equilibrium import Equilibrium
from fem.solving.linear import MOST_ITERATIONS
from fem.tensors import isotropic_stiffness, orthotropic_stiffness

SOFT = isotropic_stiffness(2000.0, 0.38)
LAYERED = orthotropic_stiffness((10000.0, 3000.0, 1000.0), (0.35, 0.4, 0.45), (1200.0, 800.0, 400.0))


def iterations(mesh, printed, *, foundations=(), held=True):
    clamp = [held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="preload")] if held else []
    equilibrium = Equilibrium(mesh, printed, held=clamp, foundations=foundations, solver="multigrid")
    load = force_load(mesh, group(mesh, HIGH_X), force=np.array([1.0, 2.0, -3.0]))
    answer, record = equilibrium.solve(load[None], tolerance=1e-8)
    left = equilibrium.system.free(
        load.reshape(-1, 1) - equilibrium.system.whole_forces(answer[0].reshape(-1, 1)),
    )
    assert np.linalg.norm(left) < 2e-8 * np.linalg.norm(load)
    return record.iterations


def cube(count):
    return box((10.0, 10.0, 10.0), (count, count, count))


class Exact:
    """The first-order problem factorised, in place of its hierarchy of aggregates."""

    def __init__(self, matrix, _motions):
        self._factor = splu(matrix.as_scipy().tocsc())

    def __call__(self, load):
        return self._factor.solve(load.astype(float)).astype(np.float32)


@pytest.mark.parametrize("stiffness", [SOFT, LAYERED])
def test_iterations_hardly_grow_with_the_mesh(stiffness, monkeypatch):
    meshes = [cube(count) for count in (4, 8, 12)]
    counts = [iterations(mesh, field(mesh, material(stiffness))) for mesh in meshes]
    assert counts[2] <= 4 / 3 * counts[0]
    monkeypatch.setattr(multigrid, "Hierarchy", Exact)
    exact = [iterations(mesh, field(mesh, material(stiffness))) for mesh in meshes]
    assert all(ours <= 1.25 * theirs for ours, theirs in zip(counts, exact, strict=True))


def test_a_smoother_alone_would_tire(monkeypatch):
    from fem.solving.aggregates import Hierarchy

    mesh = cube(6)
    whole = iterations(mesh, field(mesh, material(SOFT)))
    monkeypatch.setattr(Hierarchy, "__call__", lambda self, load: np.zeros_like(load))
    assert iterations(mesh, field(mesh, material(SOFT))) > 3 * whole


def test_a_hundredfold_step_in_stiffness():
    mesh = cube(8)
    right = (mesh.nodes[mesh.tets[:, :4]].mean(axis=1)[:, 0] > 5).astype(int)
    printed = field(mesh, material(SOFT), material(100 * SOFT), which=right)
    assert iterations(mesh, printed) <= 30


def test_thin_walls_and_flat_elements():
    # A cantilever plate of one layer: first-order tetrahedra lock in bending, which costs iterations
    plate = box((40.0, 40.0, 1.0), (20, 20, 1))
    assert iterations(plate, field(plate, material(SOFT))) <= 95
    # A compact part of bricks 20 times as long as high: it arrives, but slowly (168 iterations as built)
    flat = box((10.0, 10.0, 10.0), (4, 4, 80))
    assert iterations(flat, field(flat, material(SOFT))) <= 210


def test_where_the_iteration_does_not_arrive_the_matrix_is_factorised():
    # A thin plate of flat bricks in bending: beyond multigrid, and said so; the automatic choice still answers
    mesh = box((40.0, 40.0, 1.0), (8, 8, 4))
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="preload")
    load = force_load(mesh, group(mesh, HIGH_X), force=np.array([0.0, 0.0, 1.0]))[None]

    def answer(solver):
        return Equilibrium(mesh, field(mesh, material(SOFT)), held=[clamp], solver=solver).solve(load)

    with pytest.raises(NotConverged) as caught:
        answer("multigrid")
    assert len(caught.value.history) == MOST_ITERATIONS
    found, record = answer("auto")
    exact, _ = answer("direct")
    assert np.abs(found - exact).max() < 1e-9 * np.abs(exact).max()
    assert record.iterations == 1


def test_a_part_on_an_elastic_bed_alone():
    mesh = cube(6)
    for stiffness in (1.0, 1e4):
        foundation = Foundation("glue", mesh.triangles_of((LOW_Z,)), stiffness, 0.4 * stiffness)
        assert iterations(mesh, field(mesh, material(SOFT)), foundations=[foundation], held=False) <= 60


def test_cases_side_by_side_are_those_one_by_one():
    mesh = cube(4)
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="preload")
    equilibrium = Equilibrium(mesh, field(mesh, material(LAYERED)), held=[clamp])
    loads = np.random.default_rng(5).normal(size=(13, *mesh.nodes.shape))
    together, _ = equilibrium.solve(loads)
    for k in range(13):
        alone, _ = equilibrium.solve(loads[k : k + 1])
        assert np.abs(together[k] - alone[0]).max() < 1e-8 * np.abs(alone).max()
    # A case is not its neighbour
    assert np.abs(together[0] - together[1]).max() > 0.1 * np.abs(together[0]).max()


def test_a_guess_saves_steps():
    mesh = cube(4)
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="preload")
    equilibrium = Equilibrium(mesh, field(mesh, material(SOFT)), held=[clamp], solver="multigrid")
    load = equilibrium.system.free(np.random.default_rng(6).normal(size=(mesh.unknowns, 1)))
    answer, cold = equilibrium.solver.solve(load)
    near, warm = equilibrium.solver.solve(load, guess=answer * (1 + 1e-6))
    assert warm.iterations < cold.iterations / 1.5
    assert np.abs(near - answer).max() < 1e-8 * np.abs(answer).max()


def test_solvers_agree_on_supports_and_beds():
    mesh = cube(3)
    foundation = Foundation("glue", mesh.triangles_of((LOW_Z,)), 100.0, 40.0)
    clamp = held_face(mesh, group(mesh, LOW_X), fixed="normal", name="guide")
    load = force_load(mesh, group(mesh, HIGH_X), force=np.array([1.0, 2.0, -3.0]))[None]
    found = [
        Equilibrium(mesh, field(mesh, material(LAYERED)), held=[clamp], foundations=[foundation], solver=name).solve(
            load
        )[0]
        for name in ("auto", "multigrid", "direct")
    ]
    for other in found[:2]:
        assert np.abs(other - found[2]).max() < 1e-8 * np.abs(found[2]).max()


def test_memory_is_refused_before_it_is_taken(monkeypatch):
    mesh = cube(3)
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="preload")
    monkeypatch.setattr(system, "available_memory", lambda: 1e5)
    with pytest.raises(TooLargeError, match="are free") as caught:
        Equilibrium(mesh, field(mesh, material(SOFT)), held=[clamp], solver="multigrid")
    assert caught.value.exit_status == 2
