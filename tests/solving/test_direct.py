"""The exact solver against a second library's stiffness, its residual, and what it refuses."""

import sys
import types
from pathlib import Path

import numpy as np
import pytest
from helpers_fe import HIGH_X, LOW_X, box, field, group, material
from scipy.sparse import bsr_matrix
from scipy.sparse.linalg import splu, spsolve

sys.path.insert(0, str(Path(__file__).parent))

from skew_part import ORTHOTROPIC, problem

from fem.errors import NotConverged, NoTrustworthyAnswer, TooLargeError
from fem.loading.loads import pressure_load
from fem.loading.supports import held_face
from fem.solving import direct
from fem.solving.blocks import BlockMatrix
from fem.solving.direct import DirectSolver
from fem.solving.equilibrium import Equilibrium
from fem.solving.space import plain_stiffness
from fem.solving.stiffness import assemble, block_pattern


def off(found, right):
    return np.abs(found - right).max() / np.abs(right).max()


def held_bar():
    """A bar held on one end and pressed on the other: mesh, supports, nodal forces (3n, 1), free unknowns."""
    mesh = box((30.0, 8.0, 6.0), (6, 2, 2))
    held = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="root")
    load = pressure_load(mesh, group(mesh, HIGH_X), pressure=1.0)
    load[:, 2] += 0.3 * load[:, 0]
    free = np.setdiff1d(np.arange(mesh.unknowns), (3 * held.nodes[:, None] + np.arange(3)).ravel())
    return mesh, held, load, free


def held_matrix(pattern, blocks, projector):
    matrix = BlockMatrix(pattern.start, pattern.column, blocks)
    matrix.hold(projector, scale=1000.0)
    return matrix.as_scipy()


def test_direct_and_multigrid_agree_with_a_second_library():
    """scikit-fem assembles, its held unknowns are struck out, SciPy solves: no line of the solvers here is used."""
    mesh, held, load, free = held_bar()
    plain, _ = plain_stiffness(mesh, table=ORTHOTROPIC[None], material=np.zeros(len(mesh.tets), dtype=int))
    right = np.zeros(mesh.unknowns)
    right[free] = spsolve(plain[free][:, free].tocsc(), load.ravel()[free])

    pattern = block_pattern(mesh)
    blocks = assemble(mesh, pattern, table=ORTHOTROPIC[None], material=np.zeros(len(mesh.tets), dtype=np.int32))
    projector = np.tile(np.eye(3), (len(mesh.nodes), 1, 1))
    projector[held.nodes] = 0.0
    matrix = held_matrix(pattern, blocks, projector)
    moved = np.matmul(projector, load[..., None]).reshape(-1, 1)
    found, _ = DirectSolver(matrix, general=True).solve(moved, tolerance=1e-10)
    assert off(found[:, 0], right) < 1e-9

    equilibrium = Equilibrium(mesh, field(mesh, material(ORTHOTROPIC)), held=[held])
    iterated, _ = equilibrium.solve(load[None])
    assert off(iterated[0].ravel(), right) < 1e-7
    # A stiffness wrong by a millionth would be seen
    assert off(found[:, 0] * (1 + 1e-6), right) > 1e-7


def test_the_residual_is_rounding_and_columns_do_not_mix():
    made = problem()
    loads = np.column_stack([made.loads, np.zeros(len(made.loads))])
    heard = []
    solver = DirectSolver(made.matrix(), general=True)
    found, record = solver.solve(loads, tolerance=1e-12, progress=heard.append)
    assert solver.library == "SciPy"
    assert record.iterations == 1 and len(record.history) == 2
    assert record.history[1] < 1e-12
    assert heard == [0.5, 1.0]
    assert np.array_equal(found[:, 2], np.zeros(len(found)))
    alone, _ = solver.solve(loads[:, 1:2], tolerance=1e-12)
    assert off(alone[:, 0], found[:, 1]) < 1e-12
    assert solver.solve(loads[:, 2:], tolerance=1e-12)[1].iterations == 0


def test_one_refinement_mends_a_factor_that_is_slightly_off():
    made = problem()
    solver = DirectSolver(made.matrix(), general=True)
    exact, _ = solver.solve(made.loads, tolerance=1e-10)
    factor = solver._factor
    solver._factor = types.SimpleNamespace(solve=lambda right: (1 + 1e-6) * factor.solve(right))
    found, record = solver.solve(made.loads, tolerance=1e-10)
    assert record.history[0] == pytest.approx(1e-6, rel=1e-3)
    assert off(found, exact) < 1e-11


def test_a_wrong_factor_is_not_believed():
    made = problem()
    solver = DirectSolver(made.matrix(), general=True)
    factor = solver._factor
    solver._factor = types.SimpleNamespace(solve=lambda right: 0.5 * factor.solve(right))
    with pytest.raises(NotConverged, match="after factorising, not 1e-10") as failure:
        solver.solve(made.loads, tolerance=1e-10)
    assert failure.value.history == pytest.approx([0.5, 0.25])
    assert failure.value.best.shape == made.loads.shape and failure.value.exit_status == 4


def test_a_tolerance_below_rounding_is_met_by_rounding():
    made = problem()
    _, record = DirectSolver(made.matrix(), general=True).solve(made.loads, tolerance=1e-30)
    assert 1e-30 < record.history[1] < 1e-12


def test_a_singular_matrix_is_named():
    blocks = np.array([np.eye(3), np.zeros((3, 3))])
    matrix = bsr_matrix((blocks, [0, 1], [0, 1, 2]), shape=(6, 6))
    with pytest.raises(NoTrustworthyAnswer, match="cannot be factorised"):
        DirectSolver(matrix, general=True)


def test_a_factor_beyond_the_memory_is_refused_before_it_is_made(monkeypatch):
    made = problem()
    monkeypatch.setattr(direct, "available_memory", lambda: 1e6)
    with pytest.raises(
        TooLargeError, match=r"factorising [\d,]+ unknowns needs some .* GB; 0.0 GB are free"
    ) as failure:
        DirectSolver(made.matrix(), general=True)
    assert failure.value.exit_status == 2
    monkeypatch.setattr(direct, "available_memory", lambda: 1e15)
    direct.refuse_large_factor(400_000)
    with pytest.raises(TooLargeError, match="more than SciPy's factorisation can count"):
        direct.refuse_large_factor(1_000_000)


@pytest.mark.parametrize("cells", [(6, 6, 6), (24, 2, 1)])
def test_the_estimate_covers_the_factor(cells):
    """The fill of a compact and of a slender body; the estimate is within three times the compact one's."""
    mesh = box(tuple(map(float, cells)), cells)
    pattern = block_pattern(mesh)
    blocks = assemble(mesh, pattern, table=ORTHOTROPIC[None], material=np.zeros(len(mesh.tets), dtype=np.int32))
    projector = np.tile(np.eye(3), (len(mesh.nodes), 1, 1))
    projector[mesh.nodes[:, 0] < 1e-9] = 0.0
    matrix = held_matrix(pattern, blocks, projector).tocsc()
    matrix.eliminate_zeros()
    factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    expected = direct.FACTOR_ENTRIES * mesh.unknowns**1.5
    assert factor.nnz < expected
    if cells[0] == cells[2]:
        assert factor.nnz > expected / 3


class Library:
    """A stand-in for pypardiso that holds to its protocol: phases 11, 22, 33 with the upper triangle alone."""

    def __init__(self, *, mtype):
        assert mtype == 2
        self.phases, self.free = [], False

    def set_phase(self, phase):
        self.phases.append(phase)

    def get_iparm(self, number):
        return {15: 10, 16: 2_000_000, 17: 3_000_000}[number]

    def _call_pardiso(self, upper, right):
        assert upper.has_sorted_indices and right.flags.f_contiguous
        assert (upper.indices >= np.repeat(np.arange(upper.shape[0]), np.diff(upper.indptr))).all()
        if self.phases[-1] == 22 and not (upper.diagonal() > 0).all():
            raise PyPardisoError(-4)
        if self.phases[-1] != 33:
            return np.zeros_like(right)
        assert self.phases[:2] == [11, 22]
        return splu((upper + upper.T).tocsc() - _diagonal(upper)).solve(right)

    def free_memory(self, *, everything):
        self.free = everything


class PyPardisoError(Exception):
    def __init__(self, value):
        self.value = value


def _diagonal(matrix):
    from scipy.sparse import diags_array

    return diags_array(matrix.diagonal()).tocsc()


@pytest.fixture
def with_library(monkeypatch):
    door = types.ModuleType("pypardiso")
    door.PyPardisoSolver = Library
    inner = types.ModuleType("pypardiso.pardiso_wrapper")
    inner.PyPardisoError = PyPardisoError
    monkeypatch.setitem(sys.modules, "pypardiso", door)
    monkeypatch.setitem(sys.modules, "pypardiso.pardiso_wrapper", inner)
    monkeypatch.setattr(direct, "find_spec", lambda name: name == "pypardiso" or None)
    return monkeypatch


def test_the_library_gets_the_upper_triangle_and_its_phases_in_turn(with_library):
    made = problem()
    exact, _ = DirectSolver(made.matrix(), general=True).solve(made.loads, tolerance=1e-10)
    solver = DirectSolver(made.matrix())
    assert solver.library == "pypardiso"
    found, _ = solver.solve(made.loads, tolerance=1e-10)
    assert off(found, exact) < 1e-11


def test_the_library_s_own_estimate_is_heeded(with_library):
    """Entries 16 and 17 add up to 5,000,000 kB = 5.1 GB; entry 15 alone would not be refused."""
    with_library.setattr(direct, "available_memory", lambda: 5e9)
    with pytest.raises(TooLargeError, match=r"needs some 5.1 GB; 5.0 GB are free"):
        DirectSolver(problem().matrix())


def test_the_library_s_failure_is_named(with_library):
    matrix = problem().matrix()
    matrix.data[0] = -np.eye(3)
    with pytest.raises(NoTrustworthyAnswer, match="cannot be factorised"):
        DirectSolver(matrix)
