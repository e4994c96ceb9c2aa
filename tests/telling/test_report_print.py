"""The section on the print: there for a print, with its pictures and numbers, and not there for anything else."""

from __future__ import annotations

import dataclasses
import re

import printed_box
import pytest
from old_words import old_words, seen

from fem.telling import tell
from fem.telling.bead_axes import ALT, CAPTION
from fem.telling.report import write_report
from fem.telling.zone_picture import cut_file, draw_zones

MAKING = "Mass, time and cost"


@pytest.fixture(scope="module")
def page(findings, scene, tmp_path_factory):
    findings, scene = printed_box.printed(findings, scene)
    folder = tmp_path_factory.mktemp("printed")
    # The box is not part of the mesh, so its cuts are all that is drawn
    (folder / "pictures").mkdir()
    pictures = tuple(
        draw_zones(cut, body=findings.bodies["box"], path=folder / "pictures" / cut_file(cut)) for cut in scene.cuts
    )
    path = write_report(findings, scene, pictures, folder=folder)
    return path.read_text(encoding="utf-8")


def test_the_bead_axes_are_drawn_once(page):
    assert page.count(f". {CAPTION}</figcaption>") == page.count(f'alt="{ALT}"') == 1
    assert old_words(seen(page)) == []


def _section(page, title):
    found = re.search(rf"<section[^>]*>(?:<details><summary>)?<h2>{title}</h2>.*?</section>", page, flags=re.S)
    return found.group(0) if found else ""


def _words(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def test_section_holds_the_pictures(page):
    section = _section(page, MAKING)
    shots = re.findall(r'<img src="data:image/\w+;base64,[^"]+" alt="([^"]+)"', section)
    assert len(shots) == 2
    assert all("wall 12.1 % of the volume" in alt and "10.6 g" in alt for alt in shots)
    assert "box: layer at 12.4 mm above the build plate" in section
    assert "<img" not in _section(page, "Pictures")
    assert len(page.encode()) < 8_000_000


def test_section_holds_the_zones_and_the_plan(page):
    words = _words(_section(page, MAKING))
    assert "Zone Share of the volume Volume [cm³] Mass [g] Share of the mass" in words
    assert "wall 12.1 % 6.98 8.38 34.9 %" in words
    assert "cover 7.32 % 4.22 5.06 21.1 %" in words
    assert "core 80.6 % 46.4 10.6 44.0 %" in words
    assert "whole body 100 % 57.6 24.0" in words
    assert "Print speed 60 mm/s assumed" in words
    assert "Price of filament 40 (currency not stated) per kg the study" in words
    assert "Print time 1.40 h (1 h 24 min) computed from an assumed value" in words
    assert "Filament length 9.33 m" in words
    # Also what no row shows is said to be assumed
    assert "speed, filament diameter, colour of the spool." in _words(_section(page, "Assumptions and accuracy"))


def test_pictures_of_a_run_follow_the_mesh(findings, scene, tmp_path):
    findings, scene = printed_box.printed(findings, scene)
    layer = scene.cuts[0]
    scene = dataclasses.replace(scene, cuts=(*scene.cuts, dataclasses.replace(layer, height=20.0)), cases={})
    findings = dataclasses.replace(findings, cases={})
    path = tell(findings, scene, folder=tmp_path)
    files = sorted(p.name for p in (tmp_path / "pictures").glob("zones_*.png"))
    assert files == ["zones_box_layer.png", "zones_box_layer_2.png", "zones_box_vertical.png"]
    page = path.read_text(encoding="utf-8")
    section = _section(page, MAKING)
    assert section.index("layer at 12.4 mm") < section.index("vertical section") < section.index("layer at 20.0 mm")
    assert "The mesh" in _section(page, "Pictures")


def test_a_part_without_a_plan_has_no_such_section(told):
    assert "Print plan of" not in told[0].read_text(encoding="utf-8")
