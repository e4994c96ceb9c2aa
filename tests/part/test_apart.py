"""Whatever a file does to the process that reads it, this one goes on and tells one line."""

import ctypes
import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import psutil
import pytest

from fem.errors import InputError, MeshError, NotConverged, SolidError, clean
from fem.part import apart as module
from fem.part.apart import apart, end_child
from fem.part.solid import read_solid

ROOT = Path(__file__).resolve().parents[2]
BRACKET = ROOT / "meshes" / "cantilever_bracket.step"


def test_what_the_function_gives_comes_back():
    assert apart(divmod, 17, 5, seconds=10) == (3, 2)
    assert apart(os.getpid, seconds=10) == apart(os.getpid, seconds=10) != os.getpid()
    assert apart(int, "ff", base=16, seconds=10) == 255


def test_it_works_where_this_process_works(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert apart(os.getcwd, seconds=10) == str(tmp_path)


DEADLY = [
    (ctypes.string_at, (0,), {}, "crashed .SIGSEGV"),
    (os.abort, (), {}, "want of memory"),
    (os._exit, (3,), {}, "crashed .status 3"),
    (time.sleep, (60,), {"seconds": 0.5}, "took longer than 0 s|took longer than 1 s"),
    (bytearray, (3_000_000_000,), {"memory": 1e8}, "want of memory"),
    (int, ("no number",), {}, "ValueError"),
]


@pytest.mark.parametrize(("function", "given", "limits", "words"), DEADLY)
def test_whatever_happens_there_is_one_line_here_and_the_next_request_is_served(function, given, limits, words):
    with pytest.raises(MeshError, match=words) as told:
        apart(function, *given, what="meshing it", where="part.step", refusal=MeshError, **{"seconds": 20, **limits})
    assert str(told.value).startswith("part.step: meshing it")
    assert "\n" not in str(told.value)
    assert apart(len, "abc", seconds=10) == 3


def test_named_errors_come_back_as_they_are(tmp_path):
    empty = tmp_path / "bad.step"
    empty.write_text("ISO-10303-21;\nnothing\n")
    with pytest.raises(SolidError, match="CAD kernel cannot read it") as told:
        read_solid(empty)
    assert told.value.where == str(empty)
    assert "format" in told.value.advice
    with pytest.raises(FileNotFoundError, match="nowhere"):
        apart(os.stat, str(tmp_path / "nowhere"), seconds=10)


def test_failures_with_arguments_of_their_own_survive_the_way():
    error = apart(NotConverged, "stopped.", best=None, history=[1.0], advice="Look.", seconds=10)
    assert (str(error), error.history, error.exit_status) == ("stopped. Look.", [1.0], 4)


def test_a_child_that_was_killed_meanwhile_is_replaced():
    first = apart(os.getpid, seconds=10)
    os.kill(first, signal.SIGKILL)
    assert apart(os.getpid, seconds=10) != first


def test_a_broken_pipe_is_harmless_also_where_a_library_made_it_deadly():
    first = apart(os.getpid, seconds=10)
    before = signal.signal(signal.SIGPIPE, signal.SIG_DFL)
    try:
        os.kill(first, signal.SIGKILL)
        module._child.process.wait(timeout=10)
        assert apart(os.getpid, seconds=10) != first
        assert signal.SIGPIPE not in signal.sigpending() | signal.pthread_sigmask(signal.SIG_BLOCK, set())
    finally:
        signal.signal(signal.SIGPIPE, before)


def test_a_child_without_work_leaves(monkeypatch):
    end_child()
    start = "from fem.part import apart; apart.IDLE = 0.2; apart.serve()"
    monkeypatch.setattr(module, "_BEGIN", f"import sys, json; sys.path[:] = json.loads(sys.argv[1]); {start}")
    first = psutil.Process(apart(os.getpid, seconds=10))
    first.wait(timeout=10)
    assert apart(os.getpid, seconds=10) != first.pid
    end_child()


def test_a_thread_that_started_it_may_end():
    end_child()
    found = []
    thread = threading.Thread(target=lambda: found.append(apart(os.getpid, seconds=10)))
    thread.start()
    thread.join()
    time.sleep(1.2)  # a signal at the thread's death would have come
    assert apart(os.getpid, seconds=10) == found[0]


def test_a_fork_has_a_child_of_its_own():
    first = apart(os.getpid, seconds=10)
    with multiprocessing.get_context("fork").Pool(1) as pool:  # its processes are daemons, which may have no children
        other = pool.apply(apart, (os.getpid,), {"seconds": 10})
    assert other != first
    assert apart(os.getpid, seconds=10) == first


WAITING = """
import os, signal, time
from fem.part.apart import apart
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell ignores it for what it starts in the background
pid = apart(os.getpid, seconds=10)
print(pid, flush=True)
apart(time.sleep, 60, seconds=100)
"""


@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_it_ends_with_its_parent(end):
    with subprocess.Popen(
        [sys.executable, "-c", WAITING], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as parent:
        child = psutil.Process(int(parent.stdout.readline()))
        time.sleep(0.3)
        parent.send_signal(end)
        parent.wait(timeout=10)
        child.wait(timeout=10)


def test_a_script_without_a_guard_is_not_run_twice(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(f"print('once')\nfrom fem import read_solid\nprint(len(read_solid({str(BRACKET)!r}).faces))\n")
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=60, cwd=tmp_path)
    assert done.stdout.split() == ["once", str(len(read_solid(BRACKET).faces))]
    assert done.stderr == ""


def test_the_kernel_is_never_loaded_here():
    code = (
        "import sys; from fem import read_solid, mesh_solid; "
        f"mesh_solid(read_solid({str(BRACKET)!r}), size=20.0); assert 'gmsh' not in sys.modules, 'loaded'"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")


def test_patience_stretches_the_limits(monkeypatch):
    monkeypatch.setenv(module.PATIENCE_VARIABLE, "100")
    apart(time.sleep, 0.3, seconds=0.01)
    monkeypatch.setenv(module.PATIENCE_VARIABLE, "-1")
    with pytest.raises(InputError, match="BEADWORK_PATIENCE"):
        apart(time.sleep, 0.3, seconds=0.01)


def test_texts_are_clean_for_a_terminal():
    error = SolidError("a\x1b[31m\nb", where="c\udcff\u202e.step")
    assert str(error) == "c\\udcff\\u202e.step: a\\x1b[31m b"
    assert clean("plain ² text\nof two lines") == "plain ² text\nof two lines"
