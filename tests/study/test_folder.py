"""Results are exchanged whole, wherever a run is stopped; what is the user's never moves; the dead leave nothing."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from fem.errors import InputError
from fem.study import folder as module
from fem.study.folder import added_together, checked_place, fresh_folder, open_folder

ENDED = Path(__file__).parent / "ended.py"
NEW = {"findings.json": "new", "fields.vtu": "new", "report.html": "new", "pictures/new.png": "new"}
OLD = dict.fromkeys(("findings.json", "fields.vtu", "report.html", "pictures/old.png", "review.pdf"), "old")
MINE = {"notes.txt": "mine", "photos/a.jpg": "mine", "variants/a.json": "kept"}


def fill(folder, *contents):
    for name, text in {k: v for c in contents for k, v in c.items()}.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)


def held(folder):
    return {p.relative_to(folder).as_posix(): p.read_text() for p in folder.rglob("*") if p.is_file()}


def put_new(beside):
    fill(beside, NEW)


def end_at(folder, k, *more):
    command = [sys.executable, str(ENDED), str(folder), str(k), *more]
    return subprocess.run(command, capture_output=True, text=True, timeout=60)


def hidden(*folders):
    return [p.name for f in folders for p in f.iterdir() if p.name.startswith(".")]


def test_a_run_replaces_what_is_its_own_and_nothing_else(tmp_path):
    out = tmp_path / "out"
    fill(out, OLD, MINE)
    with fresh_folder(out) as beside:
        put_new(beside)
        assert held(out).items() >= {**OLD, **MINE}.items()
    assert held(out) == {**NEW, **MINE}
    assert hidden(tmp_path, out) == []


def test_a_first_run_makes_the_folder_in_one_step(tmp_path):
    with fresh_folder(tmp_path / "deep" / "out") as beside:
        put_new(beside)
        assert not (tmp_path / "deep" / "out").exists()
    assert held(tmp_path / "deep" / "out") == NEW
    assert hidden(tmp_path / "deep") == []


@pytest.mark.parametrize("first", [True, False], ids=["first", "again"])
def test_ended_at_any_step_the_next_run_recovers(tmp_path, first):
    whole = tmp_path / "whole"
    if not first:
        fill(whole, OLD, MINE)
    steps = int(end_at(whole, 0).stdout)
    assert steps >= (2 if first else 8)
    seen = set()
    for k in range(1, steps + 1):
        out = tmp_path / f"out{k}"
        if not first:
            fill(out, OLD, MINE)
        assert end_at(out, k).returncode == 9
        for stage in (*tmp_path.glob(".beadwork*"), *out.glob(".beadwork*")):
            os.utime(stage, (0, 0))  # one that was ended before it was locked
        checked_place(out)
        found = held(out) if out.exists() else {}
        before = {} if first else {**OLD, **MINE}
        after = NEW if first else {**NEW, **MINE}
        assert found in (before, after), k
        seen.add(found == after)
        assert hidden(tmp_path) == []
        assert not first or not out.exists() or hidden(out) == []
    assert seen == {False, True}


def test_mine_lies_where_it_lay_at_every_step(tmp_path):
    for k in range(1, 12):
        out = tmp_path / f"out{k}"
        fill(out, OLD, MINE)
        end_at(out, k)
        assert held(out).items() >= MINE.items()


def test_both_files_of_a_review_or_neither(tmp_path):
    old = {"findings.json": "run", "review.pdf": "old", "review.html": "old"}
    seen = set()
    for k in range(1, 20):
        out = tmp_path / f"out{k}"
        fill(out, old)
        ended = end_at(out, k, "review").returncode == 9
        checked_place(out)
        found = held(out)
        assert found["findings.json"] == "run"
        assert found["review.pdf"] == found["review.html"]
        seen.add((ended, found["review.pdf"]))
    assert seen == {(True, "old"), (True, "new"), (False, "new")}


def stopping_at(monkeypatch, k, error=KeyboardInterrupt):
    real, count = os.replace, [0]

    def stopped(*given):
        count[0] += 1
        if count[0] == k:
            raise error
        return real(*given)

    monkeypatch.setattr(module.os, "replace", stopped)


@pytest.mark.parametrize("k", range(2, 10))
def test_ctrl_c_in_the_midst_says_how_the_results_stand(tmp_path, monkeypatch, k):
    out = tmp_path / "out"
    fill(out, OLD, MINE)
    stopping_at(monkeypatch, k)  # the first gives the lock its name
    with pytest.raises(KeyboardInterrupt) as stop, fresh_folder(out) as beside:
        put_new(beside)
    told = "in place" in str(stop.value)
    assert held(out) == ({**NEW, **MINE} if told else {**OLD, **MINE})
    assert told == (k > 2)
    assert hidden(tmp_path, out) == []


@pytest.mark.parametrize("k", range(2, 10))
def test_what_the_system_refuses_half_way_is_taken_back(tmp_path, monkeypatch, k):
    out = tmp_path / "out"
    fill(out, OLD, MINE)
    stopping_at(monkeypatch, k, PermissionError(13, "Permission denied", "fields.vtu"))
    with pytest.raises((InputError, PermissionError)), fresh_folder(out) as beside:
        put_new(beside)
    assert held(out) == {**OLD, **MINE}


def test_a_full_disk_names_the_folder(tmp_path):
    full = pytest.raises(InputError, match=r"out: results cannot be written there .No space left")
    with full, fresh_folder(tmp_path / "out"):
        raise OSError(28, "No space left on device")
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(FileNotFoundError), fresh_folder(tmp_path / "out"):
        (tmp_path / "elsewhere").read_text()


SLEEPING = """
import sys, time
from pathlib import Path
from fem.study.folder import fresh_folder
with fresh_folder(Path(sys.argv[1])) as beside:
    (beside / "findings.json").write_text("new")
    print("there", flush=True)
    time.sleep(60)
"""


def test_the_stage_of_a_living_run_stays_and_that_of_a_dead_one_goes(tmp_path):
    out = tmp_path / "out"
    fill(out, OLD)
    with subprocess.Popen([sys.executable, "-c", SLEEPING, str(out)], stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout.readline() == "there\n"
        checked_place(out)
        assert len(hidden(out)) == 1
        run.send_signal(signal.SIGKILL)
        run.wait(timeout=10)
        assert len(hidden(out)) == 1
        checked_place(out)
    assert held(out) == OLD
    assert hidden(tmp_path, out) == []


def test_only_ours_is_taken_away(tmp_path):
    out = tmp_path / "a"
    fill(out, OLD)
    fill(tmp_path, {".beadwork-a-b-abcdefgh/lock": "", ".beadwork-abcdefgh/mine.txt": "x", ".a.old": "x"})
    fill(out, {".beadwork-sub-abcdefgh/lock": "", ".beadwork-mine/lock": "x", ".beadwork-abcdefgh/new/mine": "x"})
    before = held(tmp_path)
    checked_place(out)
    assert held(tmp_path) == before


def test_halves_go_when_nobody_else_works_there(tmp_path):
    out = tmp_path / "out"
    fill(out, OLD, {"comparison.csv.part": "half", "variants/a.json.part": "half", "variants/b.json": "kept"})
    with open_folder(out):
        assert "comparison.csv.part" not in held(out)
        fill(out, {"variants/c.json.part": "being written"})
        with open_folder(out):
            assert "variants/c.json.part" in held(out)
    with open_folder(out):
        assert "variants/c.json.part" not in held(out)
    assert held(out) == {**OLD, "variants/b.json": "kept"}


@pytest.mark.parametrize("name", ["a\0b", "loop/out"])
def test_places_that_are_none_are_refused(tmp_path, name):
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for verb in (fresh_folder, open_folder, added_together):
        with pytest.raises(InputError), verb(tmp_path / name):
            pytest.fail("it began")


def test_two_runs_at_once_do_not_disturb_each_other(tmp_path):
    out = tmp_path / "out"
    fill(out, OLD, MINE)
    with fresh_folder(out) as one, fresh_folder(out) as two:
        put_new(one)
        put_new(two)
    assert held(out) == {**NEW, **MINE}
    assert hidden(tmp_path, out) == []
