"""Report, review and comparison where beads were solved: which number decides, and the section that shows them."""

from __future__ import annotations

import dataclasses
import datetime
import re
from types import SimpleNamespace as Namespace

import bead_cube
import pytest
from old_words import old_words, seen
from test_zoom_words import LINE, decided, whole

from fem.cli.console import screen
from fem.cli.studies import _print_findings
from fem.telling import tell
from fem.telling.bead_files import bead_files, drawn_in, files_of, pictures_of, with_pictures
from fem.telling.review import write_review
from fem.telling.review.material import Material, read_pictures
from fem.telling.review.zooms import zooms
from fem.zooming.decided import views_of
from fem.zooming.nouns import ZoomView


@pytest.fixture(scope="module")
def resolved(findings, scene):
    both = decided(findings, scene)
    case = both.cases["landing"]
    spot = dataclasses.replace(
        case.hot_spots[0], reserve=0.984, decided_by="zoom", homogenised=0.293, homogenised_zone="core"
    )
    case = dataclasses.replace(case, hot_spots=(spot, *case.hot_spots[1:]), whole=whole())
    # The same place bears more in the other case
    more = dataclasses.replace(case.zooms[0], least=1.7, band=(1.6, 1.8), beads_beyond=0)
    cruise = dataclasses.replace(both.cases["cruise"], zooms=(more,))
    both = dataclasses.replace(both, cases={**both.cases, "landing": case, "cruise": cruise})
    return with_pictures(both, (view_of(both),))


def view_of(findings):
    return ZoomView("landing", findings.cases["landing"].zooms[0], bead_cube.judged_cube())


@pytest.fixture(scope="module")
def made(resolved, scene, tmp_path_factory):
    out = tmp_path_factory.mktemp("resolved")
    tell(resolved, scene, folder=out, zooms=(view_of(resolved),))
    return out


@pytest.fixture(scope="module")
def page(made):
    return (made / "report.html").read_text(encoding="utf-8")


def section(page: str, title: str) -> str:
    found = re.search(rf"<section[^>]*>(?:<details><summary>)?<h2>{title}</h2>.*?</section>", page, flags=re.S)
    assert found or title == "Bead by bead"
    return " ".join(re.sub(r"<[^>]+>", " ", found[0]).split()) if found else ""


def test_the_report_says_the_kind_where_a_reserve_stands(page):
    head = section(page, "Strength and hot spots")
    assert "0.984 (0.93 to 1.03) bead by bead; homogenised 0.29" in head
    assert "cruise 3.41 homogenised" in head and "512 N" in head, "the other case"
    assert "landing 0.984 bead by bead; homogenised 0.29" in head, "of the hot spot"
    assert ", bead by bead" in section(page, "Requirements")
    assert f"Both calculations: {LINE}." in page
    assert "painted with the homogenised reserve factor; beads are told" in section(page, "In full")
    assert old_words(seen(page)) == []


def test_the_report_shows_the_beads_once(page, made):
    told = section(page, "Bead by bead")
    assert f"B{LINE[1:]}." in told
    assert "Case landing: bracket at (36.1, -2.3, 14.3) mm, 0.6 mm from face seat" in told
    assert "Minimum in the cover 1.66" in told and "3" in told
    assert "Bead by bead, whole" in told and "38,000,000 unknowns" in told and "2.04" in told
    for file in bead_files("landing", 1):
        assert (made / "pictures" / file).is_file()
    assert len(re.findall(r'<img[^>]+alt="Beads around the worst one', page)) == 1
    assert "Beads at" not in section(page, "Pictures")


def test_a_place_is_drawn_in_the_case_in_which_it_bears_least(resolved, page, made):
    zooms = {name: case.zooms[0] for name, case in resolved.cases.items()}
    for zoom in zooms.values():
        assert pictures_of(zoom) == bead_files("landing", 1) and drawn_in(resolved, zoom) == "landing"
    told = section(page, "Bead by bead")
    assert "Case landing: bracket" in told and "Case cruise: bracket" not in told, "one table, where it is drawn"
    assert "1.70 (1.60 to 1.80)" in told, "and a line for the other case"
    drawn = sorted(p.name for p in (made / "pictures").glob("bead*.png"))
    assert drawn == sorted(bead_files("landing", 1)), "and in no other"
    nothing = with_pictures(resolved, ())
    assert drawn_in(nothing, nothing.cases["landing"].zooms[0]) == "" and pictures_of(zooms["landing"])


def test_each_place_of_a_part_gives_one_view():
    class At:
        scan = False

        def __init__(self, **reserves):
            self.cases = {k: Namespace(first=Namespace(reserve=v), judged=(k, v)) for k, v in reserves.items()}

    # The second place has no beads to judge in case b
    places = [At(a=2.0, b=1.0, c=3.0), At(a=0.5, c=0.4), At(a=0.7, b=0.8, c=0.9)]
    told = {
        name: Namespace(zooms=[n for n, place in enumerate(places) if name in place.cases])
        for name in ("a", "b", "c")
    }
    views = views_of(places, told)
    assert [(v.case, v.findings, v.judged) for v in views] == [
        ("a", 2, ("a", 0.7)),
        ("b", 0, ("b", 1.0)),
        ("c", 1, ("c", 0.4)),
    ]
    assert files_of(views) == [bead_files(name, 1) for name in "abc"]


def test_a_report_without_beads_has_no_such_section(told):
    page = told[0].read_text(encoding="utf-8")
    assert section(page, "Bead by bead") == "" and "bead by bead" not in section(page, "Strength and hot spots")


def test_the_review_tells_the_same(resolved, made, tmp_path):
    material = Material(resolved, read_pictures(made / "pictures"))
    _, html = write_review(material, folder=tmp_path, date=datetime.date(2031, 2, 3))
    text = html.read_text(encoding="utf-8")
    words = " ".join(re.sub(r"<[^>]+>", " ", text).split())
    assert "Bead by bead" in words and LINE in words and "opened at its layer and across it" in words
    assert "0.984 bead by bead" in words and "homogenised" in words
    assert old_words(seen(text)) == []
    assert zooms(dataclasses.replace(material, findings=_unresolved(resolved))) is None


def _unresolved(findings):
    cases = {n: dataclasses.replace(c, zooms=(), whole=None) for n, c in findings.cases.items()}
    return dataclasses.replace(findings, cases=cases)


def test_the_terminal_tells_both_and_stays_narrow(resolved, capsys):
    _print_findings(screen(), resolved)
    out = capsys.readouterr().out
    assert f"mm: {LINE}." in out
    rows = out.split("maximum deflection")[1].split("* singular")[0]
    assert "bead by bead" in rows and "homogenised" in rows
    assert max(len(line.rstrip()) for line in rows.splitlines()[1:] if "─" not in line) <= 140


def test_pictures_of_homogenised_fields_say_so(resolved, scene, tmp_path):
    from fem.telling.pictures import draw_pictures

    shots = {p.kind: p for p in draw_pictures(resolved, scene, folder=tmp_path)}
    assert "(homogenised)" in shots["reserve"].caption and "(homogenised)" in shots["cut"].caption
    assert "the colours are homogenised" in shots["hot spot"].caption
    assert "beads" not in shots
