"""An installation that takes no files, for a user without a home: compiled loops find another place."""

import ctypes
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import fem
from fem import compiled

PROBE = """
import numba
@numba.njit(cache=True)
def twice(x):
    return 2 * x
"""
CODE = """
import fem.probe as probe, numba, os
print(probe.twice(21), numba.config.CACHE_DIR)
assert os.listdir(numba.config.CACHE_DIR)
"""


def without_override():
    """Let root, too, be refused by a folder's rights: the capability CAP_DAC_OVERRIDE goes at the next program."""
    pr_capbset_drop, cap_dac_override = 24, 1
    if os.getuid() == 0:
        ctypes.CDLL(None).prctl(pr_capbset_drop, cap_dac_override, 0, 0, 0)


def refused(folder):
    """Whether a program started so is refused by a folder that nobody may write to."""
    code = f"open({str(folder / 'try')!r}, 'w')"
    done = subprocess.run([sys.executable, "-c", code], preexec_fn=without_override, capture_output=True, timeout=60)
    return done.returncode != 0


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="root's rights are taken as Linux has them")
def test_loops_compile_where_nothing_can_be_written(tmp_path):
    tree, home, temporary = (tmp_path / name for name in ("lib", "home", "tmp"))
    for folder in (tree / "fem", home, temporary):
        folder.mkdir(parents=True)
    for name in ("__init__.py", "compiled.py"):
        shutil.copy(Path(fem.__file__).parent / name, tree / "fem")
    (tree / "fem" / "probe.py").write_text(PROBE)
    closed = (tree / "fem", tree, home)
    for folder in closed:
        folder.chmod(0o555)
    if not refused(home):
        pytest.skip("this user is refused nowhere")
    env = {"PYTHONPATH": str(tree), "HOME": str(home), "TMPDIR": str(temporary), "PATH": os.environ["PATH"]}
    command = [sys.executable, "-c", CODE]
    done = subprocess.run(
        command, env=env, cwd="/", preexec_fn=without_override, capture_output=True, text=True, timeout=60
    )
    for folder in closed:
        folder.chmod(0o755)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split()[0] == "42"
    assert str(temporary) in done.stdout


def test_loops_stay_beside_their_source_where_they_can(monkeypatch):
    monkeypatch.delenv(compiled.VARIABLE, raising=False)
    compiled.find_place_for_loops()
    assert compiled.VARIABLE not in os.environ


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="the rights of POSIX")
def test_a_folder_that_others_may_write_to_is_not_loaded_from(tmp_path):
    (tmp_path / "open").mkdir()
    (tmp_path / "open").chmod(0o777)
    (tmp_path / "link").symlink_to(tmp_path / "own")
    assert compiled._made(tmp_path / "own")
    assert not compiled._made(tmp_path / "open")
    assert not compiled._made(tmp_path / "link")
