"""Memory is what this process may have, whoever limits it."""

import subprocess
import sys

import psutil
import pytest

from fem import memory
from fem.memory import UNLIMITED, available_memory, container_room
from fem.study import jobs

GB = 1_000_000_000


def group(folder, **values):
    folder.mkdir(parents=True, exist_ok=True)
    for name, value in values.items():
        (folder / name.replace("__", ".")).write_text(str(value))
    return folder


def test_no_more_than_the_machine_has_free():
    assert 0 < available_memory() <= 1.1 * psutil.virtual_memory().available


def test_the_second_version_of_control_groups(tmp_path):
    own = tmp_path / "own"
    own.write_text("0::/a/b\n")
    root = tmp_path / "root"
    assert container_room(own=own, root=root) == []
    group(root / "a", memory__max=4 * GB, memory__current=3 * GB, memory__stat="anon 5\ninactive_file 500000000\n")
    group(root / "a" / "b", memory__max="max", memory__current=GB, memory__stat="inactive_file 0\n")
    assert container_room(own=own, root=root) == [1.5 * GB]
    group(root / "a" / "b", memory__max=2 * GB)
    assert container_room(own=own, root=root) == [GB, 1.5 * GB]


def test_inside_a_container_the_path_may_not_be_there(tmp_path):
    own = tmp_path / "own"
    own.write_text("0::/of/the/host\n")
    root = group(tmp_path / "root", memory__max=GB, memory__current=2 * GB, memory__stat="inactive_file 0\n")
    assert container_room(own=own, root=root) == [0.0]


def test_the_first_version_of_control_groups(tmp_path):
    own = tmp_path / "own"
    own.write_text("9:cpu,cpuacct:/x\n5:memory:/x\n")
    stat = "total_inactive_file 1000000000\n"
    files = {"memory__limit_in_bytes": 3 * GB, "memory__usage_in_bytes": 2 * GB, "memory__stat": stat}
    group(tmp_path / "root" / "memory" / "x", **files)
    group(tmp_path / "root" / "memory", memory__limit_in_bytes=UNLIMITED * 7)
    assert container_room(own=own, root=tmp_path / "root") == [2 * GB]


@pytest.mark.skipif(sys.platform == "win32", reason="limits of POSIX")
@pytest.mark.parametrize("option", ["-v", "-d"])
def test_the_limits_of_a_shell(option):
    code = "from fem.memory import available_memory; print(available_memory())"
    line = f"ulimit {option} 2000000; {sys.executable} -c '{code}'"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, timeout=60)
    assert 0.5 * GB < float(done.stdout) < 2.048 * GB


def test_processes_are_held_against_cores_and_memory(monkeypatch):
    monkeypatch.setattr(jobs, "cores", lambda: 4)
    monkeypatch.setattr(jobs, "available_memory", lambda: 1e12)
    assert jobs.allowed_jobs(3, unknowns=1000) == (3, "")
    assert jobs.allowed_jobs(None, unknowns=1000) == (4, "")
    count, why = jobs.allowed_jobs(1000, unknowns=1000)
    assert (count, why) == (4, "1,000 processes were asked for; 4 work: there is 4 cores.".replace("is 4", "are 4"))
    monkeypatch.setattr(jobs, "available_memory", lambda: 3e9)
    count, why = jobs.allowed_jobs(1000, unknowns=100_000)
    assert count == 1
    assert why == "1,000 processes were asked for; 1 works: there is 3.0 GB of free memory."


def test_where_the_system_says_nothing_of_limits(monkeypatch):
    monkeypatch.setitem(sys.modules, "resource", None)
    assert memory.limit_room() == []


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="limits of addresses")
def test_pictures_are_refused_where_a_window_would_end_the_process():
    code = "from fem.errors import TooLargeError\nfrom fem.telling.stage import Stage\n"
    code += "try:\n    Stage().close()\nexcept TooLargeError as told:\n    print(told)"
    line = f'ulimit -v 1400000; {sys.executable} -c "$1"'
    done = subprocess.run(["bash", "-c", line, "bash", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert "Raise the limit" in done.stdout
