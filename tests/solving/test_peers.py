"""What the solver is measured against solves the same problem, and says why when it cannot."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[2] / "studies" / "speed"))

import peers
from skew_part import SCALE, problem

STAGES = ("assemble_s", "set_up_s", "solve_s")


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    made = problem()
    path = tmp_path_factory.mktemp("peers") / "problem.npz"
    load = made.loads[:, 0].reshape(-1, 3)
    return peers.write_problem(
        path,
        made.mesh,
        table=made.table,
        material=made.material,
        projector=held_without_bed(made),
        load=load,
        scale=SCALE,
    )


def held_without_bed(made):
    """Without its foundation the part would slide up and down: hold the low end in all directions."""
    projector = made.projector.copy()
    projector[made.mesh.nodes[:, 0] < 1e-9] = 0.0
    return projector


def test_the_direct_peer_solves_the_problem(written, tmp_path):
    told = peers.run_direct(written, answer=tmp_path / "direct.npy")
    mesh, known, load = peers.read_problem(written)
    assert told["residual"] < 1e-10
    assert told["unknowns"] == mesh.unknowns == len(load)
    assert told["all_s"] == pytest.approx(sum(told[stage] for stage in STAGES))
    assert told["peak_memory_MB"] > 20
    moved = np.load(tmp_path / "direct.npy")
    still = np.einsum("nij,nj->ni", np.eye(3) - known["projector"], moved)
    assert np.abs(still).max() < 1e-12 * np.abs(moved).max()


@pytest.mark.distributed
def test_both_peers_agree(written, tmp_path):
    peers.run_direct(written, answer=tmp_path / "direct.npy")
    told = peers.run_petsc(written, ranks=2, tolerance=1e-10, answer=tmp_path / "petsc.npy")
    direct, petsc = np.load(tmp_path / "direct.npy"), np.load(tmp_path / "petsc.npy")
    assert np.abs(petsc - direct).max() < 1e-7 * np.abs(direct).max()
    assert told["ranks"] == 2 and told["iterations"] > 3 and told["residual"] <= 1e-10
    assert told["all_s"] == pytest.approx(sum(told[stage] for stage in STAGES))


def test_an_absent_peer_is_told_in_one_line(written, monkeypatch, capsys):
    monkeypatch.setattr(peers, "find_spec", lambda name: None if name == "petsc4py" else object())
    monkeypatch.setattr(peers, "which", lambda name: "/usr/bin/mpirun")
    assert peers.run_petsc(written) is None
    assert capsys.readouterr().err == "PETSc is left out: petsc4py not installed (sh setup.sh distributed).\n"


def test_a_peer_that_fails_is_told_in_one_line(tmp_path, capsys):
    assert peers.run_direct(tmp_path / "nowhere.npz") is None
    said = capsys.readouterr().err
    assert said.startswith("SciPy's direct solver is left out: it ended with status 1 (FileNotFoundError")
    assert said.count("\n") == 1
