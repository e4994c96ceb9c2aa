"""A scan that was stopped goes on; what cannot be scanned is refused in one line; two processes agree with one."""

from __future__ import annotations

import json
import pickle

import pytest
from scanned_bars import PRINT, PULLED, write

import fem.study.orientation.prepared_scan as scan_module
import fem.study.orientation.series as series
from fem.cli import main
from fem.errors import InputError
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.study.file import read_study
from fem.study.orientation.store import FOLDER
from fem.study.orientation.story import orient_study

FEW = 6


@pytest.fixture(scope="module")
def scanned(tmp_path_factory, no_page):
    folder = tmp_path_factory.mktemp("scan")
    path = write(folder, PULLED)
    return folder, path, *orient_study(path, directions=FEW, jobs=1, out=folder / "out")


@pytest.fixture
def counted(monkeypatch):
    """How many directions were computed."""
    asked = []

    def counting(prepared, direction, *, kind="scan"):
        asked.append(direction)
        return scan_module.try_direction(prepared, direction, kind=kind)

    monkeypatch.setattr(series, "try_direction", counting)
    return asked


def test_nothing_is_computed_twice(scanned, counted):
    folder, path, scan, _ = scanned
    again, _ = orient_study(path, directions=FEW, jobs=1, out=folder / "out")
    assert counted == []
    assert again.directions == scan.directions and again.reason == scan.reason
    kept = list((folder / "out" / FOLDER).iterdir())
    assert len(kept) == len({d.direction for d in scan.directions}) and all(p.suffix == ".json" for p in kept)


def test_a_damaged_or_foreign_direction_is_computed_again(scanned, counted):
    folder, path, scan, _ = scanned
    first, second, third, fourth, *_ = sorted((folder / "out" / FOLDER).iterdir())
    first.write_text(first.read_text()[:-40])
    data = json.loads(second.read_text())
    second.write_text(second.read_text().replace(f'"reserve": {data["numbers"]["reserve"]!r}', '"reserve": 931.0'))
    third.write_bytes(fourth.read_bytes())
    said = []
    again, _ = orient_study(
        path, directions=FEW, jobs=1, out=folder / "out", progress=lambda text, share: said.append(text)
    )
    assert len(counted) == 3
    assert "2 kept directions are of an earlier version, or damaged, and not taken" in said
    assert [d.reserve for d in again.directions] == pytest.approx([d.reserve for d in scan.directions], rel=1e-9)


def test_other_requirements_are_told_anew_without_computing(scanned, counted):
    folder, _, scan, _ = scanned
    other = write(folder, PULLED.replace("reserve = 2.0", "reserve = 1e6"), name="asked.toml")
    again, _ = orient_study(other, directions=FEW, jobs=1, out=folder / "out")
    assert not set(counted) & {d.direction for d in scan.directions}
    assert all("required" in d.missed[0] for d in again.directions if not d.error)


def test_a_changed_study_is_another_scan(scanned, counted):
    folder, _, _, _ = scanned
    other = write(folder, PULLED.replace("500.0 N", "400.0 N"), name="other.toml")
    orient_study(other, directions=FEW, jobs=1, out=folder / "out")
    assert len(counted) > FEW


def test_a_stopped_scan_keeps_what_is_finished(scanned, monkeypatch, counted, tmp_path):
    _, path, _, _ = scanned
    real = series.try_direction

    def stopping(prepared, direction, *, kind="scan"):
        if len(counted) == 4:
            raise KeyboardInterrupt
        return real(prepared, direction, kind=kind)

    with monkeypatch.context() as patch:
        patch.setattr(series, "try_direction", stopping)
        with pytest.raises(KeyboardInterrupt):
            orient_study(path, directions=FEW, jobs=1, out=tmp_path / "out")
    assert len(list((tmp_path / "out" / FOLDER).iterdir())) == 4
    assert not (tmp_path / "out" / "orientation.html").exists()
    counted.clear()
    scan, _ = orient_study(path, directions=FEW, jobs=1, out=tmp_path / "out")
    assert len(counted) == len(scan.directions) - 4


def test_a_direction_without_an_answer_does_not_stop_the_scan(scanned, monkeypatch, tmp_path):
    _, path, _, _ = scanned
    real = scan_module.numbers_of_direction

    def failing(prepared, direction, *, kind="scan"):
        if kind == "axis":
            raise InputError("cannot be laid so.")
        return real(prepared, direction, kind=kind)

    monkeypatch.setattr(scan_module, "numbers_of_direction", failing)
    scan, _ = orient_study(path, directions=FEW, jobs=1, out=tmp_path / "out")
    assert [d.error for d in scan.directions if d.kind == "axis"] == ["cannot be laid so."] * 2
    assert "2 of" in scan.cautions[0].text and "cannot be laid so." in scan.cautions[0].text


def test_a_bench_sent_to_another_process_gives_the_same(scanned):
    _, path, scan, _ = scanned
    study = read_study(path)
    mesh = mesh_solid(read_solid(study.bodies["bar"].solid, name="bar"), size=9.0, finest=2.25)
    prepared = scan_module.prepare_scan(study, mesh, body="bar")
    assert prepared.pattern is prepared.pattern
    sent = pickle.loads(pickle.dumps(prepared))
    way = scan.directions[0].direction
    assert series._answer(sent, ("scan", way)).reserve == pytest.approx(scan.directions[0].reserve, rel=1e-6)


METAL = PULLED.replace(PRINT, 'metal = "6082-t6"\n')
TWO = PULLED.replace("{ plane", '{ body = "bar", plane') + PULLED[
    PULLED.index("[bodies.bar]") : PULLED.index("[faces]")
].replace(".bar", ".other")


@pytest.mark.parametrize(
    ("text", "options", "message"),
    [
        (PULLED, ["--body", "baar"], "Nearest: bar."),
        (METAL, [], "no body of it is printed"),
        (METAL, ["--body", "bar"], "body bar is not printed"),
        (TWO, [], "2 bodies are printed (bar, other). Choose with --body."),
        (PULLED, ["--directions", "3"], "3 directions are asked for; 6 to 2000 can be."),
        (PULLED, ["--jobs", "0"], "--jobs: 0 processes are asked for"),
    ],
)
def test_bad_input_is_one_line(text, options, message, tmp_path, capsys):
    path = write(tmp_path, text)
    assert main(["orient", str(path), "--out", str(tmp_path / "out"), *options]) == 2
    said = capsys.readouterr().err
    assert message in said and said.count("\n") <= 2
    assert not (tmp_path / "out").exists()


def test_a_file_where_results_should_go(tmp_path, capsys):
    path = write(tmp_path, PULLED)
    (tmp_path / "out").write_text("mine")
    assert main(["orient", str(path), "--out", str(tmp_path / "out")]) == 2
    assert "that is a file, not a folder" in capsys.readouterr().err
