"""Pictures drawn side by side: each once, alike in any process, encoded once, and none lost with a process."""

import dataclasses
import os
import subprocess
import sys
from collections import Counter
from functools import partial
from pathlib import Path

import drawn
import numpy as np
import pytest

from fem.telling import drawing, embedding
from fem.telling.album import Job
from fem.telling.drawing import Studio, draw_all, sensible_processes
from fem.telling.pictures import draw_pictures, jobs_of


@pytest.fixture
def studio(findings, scene, tmp_path):
    return Studio(findings, scene, (), tmp_path)


def test_every_picture_is_drawn_once_by_the_processes_asked_for(studio):
    jobs = [Job(str(n), partial(drawn.says_process, number=n)) for n in range(8)]
    heard = []
    found = draw_all(studio, jobs, processes=2, progress=lambda text, share: heard.append((text, share)))
    assert [p.file for p in found] == [f"{n}.png" for n in range(8)]
    drawers = {p.title for p in found}
    assert len(drawers) <= 2 and str(os.getpid()) not in drawers
    assert sorted(text for text, _ in heard) == [f"pictures: {n}" for n in range(8)]
    assert [share for _, share in heard] == pytest.approx([(n + 1) / 8 for n in range(8)])


def test_one_process_is_this_one(studio):
    jobs = [Job(str(n), partial(drawn.says_process, number=n)) for n in range(3)]
    assert {p.title for p in draw_all(studio, jobs, processes=1)} == {str(os.getpid())}


def test_a_picture_whose_process_is_ended_is_drawn_here(studio):
    jobs = [Job("a", partial(drawn.says_process, number=0))]
    jobs += [Job("b", partial(drawn.dies_elsewhere, number=1, home=os.getpid()))]
    first, second = draw_all(studio, jobs, processes=2)
    assert (first.file, second.file) == ("0.png", "1.png")
    assert second.title == str(os.getpid())


def test_processes_draw_what_one_would(findings, scene, pictures, tmp_path):
    from PIL import Image

    here, folder = pictures
    there = draw_pictures(findings, scene, folder=tmp_path, processes=2)
    assert [p.file for p in there] == list(here)
    for p in there:
        assert dataclasses.replace(p, view=None) == dataclasses.replace(here[p.file], view=None)
        a, b = (np.asarray(Image.open(f / p.file).convert("RGB")).astype(int) for f in (folder, tmp_path))
        assert np.abs(a - b).max() <= 2
        assert p.inside == here[p.file].inside or np.abs(a - b).max() > 0


def test_each_picture_is_encoded_once_for_its_file_and_once_for_the_page(findings, scene, tmp_path, monkeypatch):
    from fem.telling import album, canvas, report

    counts = Counter()

    def counted(module, name, label):
        real = getattr(module, name)
        monkeypatch.setattr(module, name, lambda *a, **k: (counts.update([label]), real(*a, **k))[1])

    counted(canvas, "write_png", "file")
    counted(embedding, "encoded", "page")
    counted(embedding, "smaller", "read again")
    monkeypatch.setattr(drawing, "sensible_processes", lambda *_: 1)
    report.tell(findings, scene, folder=tmp_path)
    drawn_here = len(jobs_of(findings, scene, ()))
    assert counts == {"file": drawn_here, "page": drawn_here}
    assert album.page_bytes is embedding.page_bytes


def test_a_page_that_is_too_large_encodes_again_and_smaller(findings, scene, tmp_path, monkeypatch):
    from fem.telling import report

    widths = []
    real = report.picture_addresses

    def counted(files, *, width):
        widths.append((len(files), width))
        return real(files, width=width)

    monkeypatch.setattr(report, "picture_addresses", counted)
    path = report.tell(findings, scene, folder=tmp_path / "all")
    assert widths == [(0, 1200)]
    widths.clear()
    monkeypatch.setattr(report, "LIMIT_BYTES", path.stat().st_size - 20_000)
    report.tell(findings, scene, folder=tmp_path / "less")
    assert widths[:2] == [(0, 1200), (len(jobs_of(findings, scene, ())), 1000)]


def test_processes_are_held_against_pictures_cores_and_memory(scene, monkeypatch):
    monkeypatch.setattr(drawing, "cores", lambda: 4)
    monkeypatch.setattr(drawing, "available_memory", lambda: 1e12)
    assert [sensible_processes(n, scene) for n in (1, 17, 18, 27, 100)] == [1, 1, 2, 3, 3]
    monkeypatch.setattr(drawing, "available_memory", lambda: 1.2e9)
    assert sensible_processes(100, scene) == 2
    monkeypatch.setattr(drawing, "available_memory", lambda: 1e8)
    assert sensible_processes(100, scene) == 1


SCRIPT = """
import sys
sys.path.insert(0, {tests!r})
print("once")
import beam, drawn
from functools import partial
from pathlib import Path
from fem.telling.album import Job
from fem.telling.drawing import Studio, draw_all
scene = beam.beam_scene(beam.beam_mesh((3, 1, 1)))
jobs = [Job(str(n), partial(drawn.says_process, number=n)) for n in range(4)]
print(len(draw_all(Studio(beam.beam_findings(scene), scene, (), Path(".")), jobs, processes=2)))
"""


def test_a_script_needs_no_guard(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(SCRIPT.format(tests=str(Path(__file__).parent)))
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=120, cwd=tmp_path)
    assert done.stdout.split() == ["once", "4"], done.stderr
