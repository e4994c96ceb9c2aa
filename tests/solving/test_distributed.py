"""The shared solve gives one machine's answer on one, two and four ranks, and no failure leaves ranks waiting."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from skew_part import problem

from fem.solving.direct import DirectSolver

pytestmark = pytest.mark.distributed
PROGRAM = Path(__file__).with_name("skew_part.py")
SECONDS = 180
"""A rank that waits for ever is found by this limit; a program takes about three seconds."""


def start(ranks, *command):
    """Run a Python command under mpirun and return what came of it."""
    launcher = ["mpirun", "-n", str(ranks)]
    if b"Open MPI" in subprocess.run(["mpirun", "--version"], capture_output=True).stdout:
        launcher += ["--oversubscribe", "--bind-to", "none", *(["--allow-run-as-root"] if os.getuid() == 0 else [])]
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("OMPI_", "PMIX_", "PMI_"))}
    environment |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OMPI_MCA_mpi_yield_when_idle": "1"}
    return subprocess.run(
        [*launcher, sys.executable, *command], capture_output=True, text=True, timeout=SECONDS, env=environment
    )


def off(found, right):
    return np.abs(found - right).max() / np.abs(right).max()


@pytest.fixture(scope="module")
def right():
    made, soft = problem(), problem(stiffer=0.5)
    exact, _ = DirectSolver(made.matrix(), general=True).solve(made.loads, tolerance=1e-10)
    half, _ = DirectSolver(soft.matrix(), general=True).solve(made.loads[:, :1], tolerance=1e-10)
    return {"answer": exact, "half": half}


def test_mpirun_is_there():
    assert shutil.which("mpirun"), "install openmpi-bin, or leave these tests out with -m 'not distributed'"


@pytest.mark.parametrize("ranks", [1, 2, 4])
def test_ranks_together_give_the_answer_of_one_machine(ranks, right, tmp_path):
    done = start(ranks, str(PROGRAM), "solve", str(tmp_path / "found.npz"))
    assert done.returncode == 0, done.stderr
    found = np.load(tmp_path / "found.npz")
    assert found["ranks"] == ranks
    assert off(found["answer"], right["answer"]) < 1e-7
    assert off(found["half"], right["half"]) < 1e-7
    assert off(found["once_more"], found["answer"][:, :1]) < 1e-9
    # What the comparison would say of a solve that stopped early, and of another material
    assert off(found["loose"], right["answer"][:, :1]) > 1e-5
    assert off(right["half"], right["answer"][:, :1]) > 0.1
    assert found["history"][-1] <= 1e-10 < found["history"][-2]
    assert 0 < found["heard"][0] < 0.5 < found["heard"][-1] == 1.0


FAILURES = [
    ("rank 1 fails", 1, "rank 1 failed"),
    ("rank 0 fails", 1, "rank 0 failed"),
    ("rank 1 refuses", 2, "beadwork: rank 1: made to refuse."),
    ("rank 1 has no memory", 4, "rank 1: memory ran out"),
    ("rank 0 leaves", 7, ""),
]


@pytest.mark.parametrize(("what", "status", "words"), FAILURES, ids=lambda v: v if isinstance(v, str) else None)
def test_a_failure_ends_all_ranks(what, status, words, tmp_path):
    done = start(2, str(PROGRAM), what, str(tmp_path / "found.npz"))
    assert done.returncode == status
    assert words in done.stderr
    assert not (tmp_path / "found.npz").exists()


def test_a_solve_that_does_not_converge_in_time_is_named(tmp_path):
    done = start(2, str(PROGRAM), "few steps", str(tmp_path / "found.npz"))
    assert done.returncode == 4
    assert "named: NotConverged: the iteration stopped after 5 steps" in done.stderr
    found = np.load(tmp_path / "found.npz")
    assert len(found["history"]) == 5 and found["history"][-1] > 1e-10
    assert np.isfinite(found["best"]).all() and found["best"].any()


def test_a_process_that_rank_0_starts_is_no_rank():
    done = start(2, str(PROGRAM), "children", "nowhere")
    assert done.stdout.split("\n")[0] == "(0, 2) (0, 1) (0, 1)", done.stderr


@pytest.mark.parametrize(("arguments", "status"), [(("cards",), 0), (("run", "nowhere.toml"), 2)])
def test_the_command_under_mpirun_speaks_once_and_ends(arguments, status):
    code = "import sys; from fem.cli import main; sys.exit(main(sys.argv[1:]))"
    done = start(2, "-c", code, *arguments)
    assert done.returncode == status
    assert (done.stdout + done.stderr).count("nowhere.toml: there is no such file" if status else "pa6-cf") == 1
