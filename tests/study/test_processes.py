"""Work shared among processes: all of it comes back, whatever becomes of a process."""

import os
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import chores

from fem.cores import cores
from fem.processes import Lost, work_through
from fem.study.jobs import sensible_jobs

ITEMS = list(range(6))


def test_one_process_works_in_order():
    assert list(work_through(ITEMS, work=chores.squared, shared=100, jobs=1)) == [(i, 100 + i**2) for i in ITEMS]
    assert list(work_through([], work=chores.squared, shared=0, jobs=4)) == []


def test_a_killed_process_loses_nothing(tmp_path):
    mark = tmp_path / "killed"
    found = dict(work_through(ITEMS, work=chores.dies_once_at_three, shared=str(mark), jobs=2))
    assert mark.exists()
    assert found == {i: i**2 for i in ITEMS}


def test_what_ends_every_process_is_given_up_and_the_rest_done():
    found = dict(work_through(ITEMS, work=chores.dies_always_at_three, shared=None, jobs=2))
    assert isinstance(found.pop(3), Lost)
    assert found == {i: i**2 for i in ITEMS if i != 3}


def test_a_defect_is_not_taken_for_a_lost_process():
    with pytest.raises(ValueError, match="three"):
        list(work_through(ITEMS, work=chores.fails_at_three, shared=None, jobs=2))


def test_each_process_computes_with_one_thread():
    before = os.environ.get("NUMBA_NUM_THREADS")
    assert {v for _, v in work_through([1, 2], work=chores.says_threads, shared=None, jobs=2)} == {("1", "1", 1)}
    assert os.environ.get("NUMBA_NUM_THREADS") == before


def test_jobs_fit_cores_and_memory():
    assert sensible_jobs(1000) == cores()
    assert sensible_jobs(10**9) == 1


WAITING = """
import sys
sys.path.insert(0, {here!r})
import chores
from fem.processes import work_through
if __name__ == "__main__":
    list(work_through([1, 2], work=chores.says_who_and_waits, shared={there!r}, jobs=2))
"""


def test_processes_end_with_their_parent_however_it_ends(tmp_path):
    script, there = tmp_path / "script.py", tmp_path / "there"
    there.mkdir()
    script.write_text(WAITING.format(here=str(Path(__file__).parent), there=str(there)))
    with subprocess.Popen([sys.executable, str(script)]) as parent:
        until = time.monotonic() + 60
        while len(list(there.iterdir())) < 2 and time.monotonic() < until:
            time.sleep(0.1)
        children = [psutil.Process(int(p.name)) for p in there.iterdir()]
        assert len(children) == 2
        parent.kill()
        parent.wait(timeout=10)
        assert psutil.wait_procs(children, timeout=10)[1] == []
