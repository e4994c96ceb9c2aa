"""A mesh shared out: each row is owned once, and the shares' rows together are the whole matrix. Needs no MPI."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.sparse import bsr_matrix, vstack

sys.path.insert(0, str(Path(__file__).parent))

from skew_part import SCALE, problem

from fem.cli import main
from fem.errors import InputError
from fem.solving.distributed import ranks
from fem.solving.distributed.rows import block_rows
from fem.solving.distributed.shares import bisected, near_order, shared_out
from fem.solving.motions import rigid_motions


def shared(made, parts, **more):
    given = {**made.shared, **more}
    return shared_out(made.mesh, parts=parts, springs=given.pop("foundations"), **given)


def stacked(shares):
    """The rows of all shares, one below the other, in the ranks' common numbering."""
    out = []
    for share in shares:
        start, column, data = block_rows(share)
        out.append(bsr_matrix((data, share.number[column], start), shape=(3 * share.owned, 3 * share.total)))
    return vstack(out).tocsr()


@pytest.mark.parametrize("parts", [1, 2, 3, 5])
def test_rows_of_all_shares_are_the_whole_matrix(parts):
    made = problem()
    shares, order = shared(made, parts)
    assert sorted(order) == list(range(len(made.mesh.nodes)))
    unknown = (3 * order[:, None] + np.arange(3)).ravel()
    whole = made.matrix().tocsr()[unknown][:, unknown]
    found = stacked(shares)
    assert abs(found - whole).max() < 1e-12 * abs(whole).max()
    assert abs(found - found.T).max() < 1e-12 * abs(whole).max()
    # Blocks that a held node leaves empty are not carried along
    assert found.nnz < whole.nnz
    assert max(s.owned for s in shares) - min(s.owned for s in shares) <= parts


def test_a_share_without_its_neighbours_tetrahedra_is_found():
    made = problem()
    shares, order = shared(made, 2)
    unknown = (3 * order[:, None] + np.arange(3)).ravel()
    whole = made.matrix().tocsr()[unknown][:, unknown]
    inner = (shares[0].tets < shares[0].owned).all(axis=1)
    assert 0 < np.count_nonzero(~inner) < len(inner)
    lacking = replace(shares[0], tets=shares[0].tets[inner], material=shares[0].material[inner], springs=())
    assert abs(stacked([lacking, shares[1]]) - whole).max() > 1e-3 * abs(whole).max()


def test_free_shares_let_rigid_motions_pass():
    made = problem()
    free = np.tile(np.eye(3), (len(made.mesh.nodes), 1, 1))
    shares, order = shared(made, 3, projector=free, foundations=[])
    motions = rigid_motions(made.mesh.nodes[order], centre=shares[0].centre, size=shares[0].size).reshape(-1, 6)
    rows = stacked(shares)
    assert abs(rows @ motions).max() < 1e-10 * abs(rows).max()
    assert abs(stacked(shared(made, 3)[0]) @ motions).max() > 1e-3 * SCALE


def test_bisection_is_even_and_compact():
    points = np.random.default_rng(1).uniform(size=(3000, 3)) * (8.0, 1.0, 1.0)
    part = bisected(points, 6)
    assert np.bincount(part).tolist() == [500] * 6
    # A long bar is cut across its length alone
    ends = [np.sort(points[part == k, 0])[[0, -1]] for k in range(6)]
    assert all(a[1] <= b[0] for a, b in zip(sorted(map(tuple, ends)), sorted(map(tuple, ends))[1:], strict=False))


def test_near_order_keeps_neighbours_together():
    points = np.random.default_rng(2).uniform(size=(4000, 3))
    step = np.linalg.norm(np.diff(points[near_order(points)], axis=0), axis=1).mean()
    assert step < 0.2 * np.linalg.norm(np.diff(points, axis=0), axis=1).mean()


@pytest.mark.parametrize(
    ("known", "wanted"),
    [
        ({}, (0, 1)),
        ({"OMPI_COMM_WORLD_RANK": "3", "OMPI_COMM_WORLD_SIZE": "4"}, (3, 4)),
        ({"PMI_RANK": "1", "PMI_SIZE": "2"}, (1, 2)),
        ({"PMI_RANK": "one", "PMI_SIZE": "2"}, (0, 1)),
        ({"PMI_RANK": "1"}, (0, 1)),
    ],
)
def test_the_launcher_says_which_rank_this_is(known, wanted):
    assert ranks.place_in(known) == wanted


def forget_all():
    for remembered in (ranks.libraries, ranks.company, ranks._started):
        remembered.cache_clear()


@pytest.fixture
def without_libraries(monkeypatch):
    forget_all()
    monkeypatch.setattr(ranks, "find_spec", lambda name: None)
    yield monkeypatch
    forget_all()


def test_absent_libraries_are_named(without_libraries):
    with pytest.raises(InputError, match=r"mpi4py and petsc4py are not installed.*setup.sh distributed"):
        ranks.company()


@pytest.mark.parametrize("rank", [0, 1])
def test_under_mpirun_absent_libraries_are_one_line_of_rank_0(rank, without_libraries, capfd):
    without_libraries.setenv("OMPI_COMM_WORLD_RANK", str(rank))
    without_libraries.setenv("OMPI_COMM_WORLD_SIZE", "2")
    assert main(["cards"]) == 2
    said = capfd.readouterr()
    assert said.out == ""
    assert len(said.err.splitlines()) == (1 if rank == 0 else 0)
