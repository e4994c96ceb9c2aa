"""Faces, points, patches and a build direction picked in a real browser; what is copied is tried in a study."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from browser import Page, chromium
from helpers_cad import draw, turned

from fem.cli import main
from fem.errors import FaceError
from fem.part.faces import find_faces
from fem.part.solid import read_solid
from fem.study.drafting.story import draft_study
from fem.study.file import read_study
from fem.study.picking import write_pick_page

BRACKET = Path(__file__).parents[2] / "meshes" / "cantilever_bracket.step"
ANGLES = (0.5, -0.3, 0.8)
BOX = (30.0, 20.0, 12.0)
PAD = (70.0, 0.0, 13.0)
"""A place on the bracket's raised pad, seen from where the picture begins."""
HOLE = (10.0, -8.0, 45.0)
"""The mouth of a hole of 3.3 mm: the line of sight past it meets the bore."""


def turned_box(occ):
    occ.addBox(0, 0, 0, *BOX)
    for angle, axis in zip(ANGLES, np.eye(3), strict=True):
        occ.rotate(occ.getEntities(3), 0, 0, 0, *axis, angle)


def on_edge(occ):
    """A box turned by 45 degrees about y: two of its sides are at the limit."""
    occ.addBox(0, 0, 0, *BOX)
    occ.rotate(occ.getEntities(3), 0, 0, 0, 0, 1, 0, np.pi / 4)


def tee(occ):
    """A stem of 10 x 10 x 20 mm under a bar of 30 x 10 x 5 mm."""
    occ.fuse([(3, occ.addBox(10, 0, 0, 10, 10, 20))], [(3, occ.addBox(0, 0, 20, 30, 10, 5))])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pick")
    write_pick_page(BRACKET, out=folder / "bracket.html")
    for build in (turned_box, on_edge, tee):
        step = draw(folder / f"{build.__name__}.step", build)
        write_pick_page(step, out=folder / f"{build.__name__}.html")
    return folder


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


@pytest.fixture(scope="module")
def bracket():
    return read_solid(BRACKET, name="cantilever_bracket")


@pytest.fixture
def opened(browser, folder):
    pages = []

    def open_page(name="bracket", **how):
        page = Page(browser, folder / f"{name}.html", reduced_motion="reduce", **how)
        page.at.wait_for_selector("body[data-ready]")
        pages.append(page)
        return page

    yield open_page
    for page in pages:
        page.close()
        assert page.said == []
        assert [url for url in page.asked if not url.startswith(("file:", "data:"))] == []


def pixel(page, place):
    """Where a place [mm] is drawn on the screen."""
    across, down = page.run("(place) => picker.viewer.eye.shares(place)", list(place))
    box = page.at.locator(".hand-canvas").bounding_box()
    return box["x"] + across * box["width"], box["y"] + down * box["height"]


def click(page, place, *, until):
    page.at.mouse.click(*pixel(page, place))
    page.at.wait_for_function(f"() => document.querySelector('.pick-text').textContent.includes({until!r})")


def text(page) -> str:
    return page.at.locator(".pick-text").inner_text()


def study_with(lines: str, folder: Path) -> Path:
    """A drafted study of the bracket with the lines that were copied."""
    draft = draft_study(BRACKET, out=folder / "study.toml")
    draft.path.write_text(draft.text.replace("[faces]", f"[faces]\n{lines}\n#", 1), encoding="utf-8")
    return draft.path


def found(lines: str, solid) -> dict[str, tuple[int, ...]]:
    """The ids that each line matches by the program's own matcher."""
    from fem.study.keys.faces import FaceForm
    from fem.study.to_plans import face_query

    tables = tomllib.loads(lines)
    queries = {name: face_query(FaceForm.model_validate(table)) for name, table in tables.items()}
    return {n: tuple(solid.faces[i].id for i in find_faces(solid.faces, q)) for n, q in queries.items()}


def test_a_clicked_face_becomes_a_line_that_a_study_takes(opened, bracket, tmp_path, capsys):
    page = opened()
    click(page, PAD, until="13 mm")
    lines = text(page)
    (name, ids), *none = found(lines, bracket).items()
    pad = next(
        f for f in bracket.faces if f.normal is not None and f.normal[2] > 0.9 and abs(f.centre[2] - 13) < 1e-6
    )
    assert ids == (pad.id,) and none == []
    study = study_with(lines.replace(f"{name} =", "picked ="), tmp_path)
    assert main(["check", str(study)]) == 0 and "picked" in capsys.readouterr().out
    assert find_faces(bracket.faces, read_study(study).faces["picked"]) == (bracket.faces.index(pad),)
    with pytest.raises(FaceError):
        found(lines.replace("13 mm", "14 mm"), bracket)


def test_what_is_picked_and_pointed_at_is_lit(opened):
    page = opened(wide=900, high=800)
    x, y = pixel(page, PAD)
    box = page.at.locator(".hand-canvas").bounding_box()

    def colour():
        page.at.wait_for_timeout(120)
        return page.pixels(".hand-canvas")[round(y - box["y"]), round(x - box["x"])]

    plain = colour()
    page.at.mouse.move(x, y)
    pointed = colour()
    click(page, PAD, until="13 mm")
    page.at.mouse.move(5, 5)
    picked = colour()
    warmth = [int(c[0] - c[2]) for c in (plain, pointed, picked)]
    assert warmth[0] < 10 < warmth[1] - 20 < warmth[2] - 60


def test_families_and_growth_are_named_as_one(opened, bracket):
    page = opened()
    bores = tuple(f.id for f in bracket.faces if f.hole and f.radius == pytest.approx(3.3))
    row = page.at.locator(".pick-list li", has_text="cylinder hole").first
    row.click()
    page.at.locator("[data-family=radius]").click()
    lines = text(page)
    assert list(found(lines, bracket).values()) == [bores] and len(bores) == 2 and "id =" not in lines
    page.at.locator(".pick-clear").first.click()
    assert text(page).startswith("#")
    fillet = next(f for f in bracket.faces if f.hollow and not f.hole)
    page.at.locator(f"#pick-face-{bracket.faces.index(fillet)}").click()
    page.at.locator("[data-family=grown]").click()
    grown = next(iter(found(text(page), bracket).values()))
    beside = {f.id for f in bracket.faces if f.normal is not None and round(f.normal[0] + f.normal[2], 6) == 1}
    assert fillet.id in grown and len(grown) == 3 and set(grown) - {fillet.id} < beside


def test_any_faces_together_go_by_numbers_or_a_line_each(opened, bracket):
    page = opened()
    for i in (0, 3, 4):
        page.at.locator(f"#pick-face-{i}").click()
    ids = tuple(bracket.faces[i].id for i in (0, 3, 4))
    assert list(found(text(page), bracket).values()) == [ids]
    assert "cantilever_bracket.step as it is now" in text(page)
    page.at.locator(".pick-name").first.fill("held there")
    page.at.locator(".pick-each").check()
    each = found(text(page), bracket)
    assert list(each.values()) == [(i,) for i in ids] and next(iter(each)) == "held there_1"
    page.at.locator(".pick-keep").first.click()
    page.at.locator("#pick-face-5").click()
    assert len(found(text(page), bracket)) == 4
    page.at.locator(".pick-body").fill("arm")
    assert all(table["body"] == "arm" for table in tomllib.loads(text(page)).values())
    page.at.locator(".pick-kept button").click()
    assert len(tomllib.loads(text(page))) == 1


def test_a_hidden_face_lets_through(opened, bracket):
    page = opened()
    click(page, PAD, until="13 mm")
    page.at.locator(".pick-hide").click()
    page.at.mouse.click(*pixel(page, PAD))
    page.at.wait_for_function("() => !document.querySelector('.pick-text').textContent.startsWith('#')")
    assert "13 mm" not in text(page)
    page.at.locator(".pick-show").click()
    click(page, PAD, until="13 mm")


def test_the_keyboard_alone_is_enough(opened, bracket):
    page = opened()
    page.at.locator("[name=pick-mode]").first.focus()
    reached = []
    while not page.run("() => document.activeElement.matches('.pick-list')"):
        page.at.keyboard.press("Tab")
    for key in ("Home", "ArrowDown", " "):
        page.at.keyboard.press(key)
    assert list(found(text(page), bracket).values()) == [(bracket.faces[1].id,)]
    for _ in range(3):
        page.at.keyboard.press("Tab")
        reached.append(page.run("() => document.activeElement.className"))
    assert reached[-3:] == ["pick-copy", "pick-text", "pick-body"]
    page.at.keyboard.press("Shift+Tab")
    page.at.keyboard.press("Shift+Tab")
    page.at.keyboard.press("Enter")
    page.at.wait_for_function("() => document.querySelector('.pick-copied').textContent !== ''")
    page.at.locator("[name=pick-mode]").first.focus()
    page.at.keyboard.press("ArrowRight")
    page.at.locator(".hand-canvas").focus()
    for key in ("Shift+ArrowUp", "Shift+ArrowUp", "Enter"):  # the middle of the whole picture is empty
        page.at.keyboard.press(key)
    page.at.wait_for_function("() => document.querySelector('.pick-text').textContent.startsWith('point')")


def test_copying_works_without_the_clipboard_of_newer_browsers(opened):
    page = opened(before="Object.defineProperty(navigator, 'clipboard', { value: undefined })")
    page.at.locator("#pick-face-0").click()
    wanted = text(page)
    page.at.locator(".pick-copy").click()
    assert page.at.locator(".pick-copied").inner_text() == "Copied."
    page.run("() => document.body.append(Object.assign(document.createElement('textarea'), { id: 'into' }))")
    page.at.locator("#into").focus()
    page.at.keyboard.press("Control+V")
    assert page.at.locator("#into").input_value().strip() == wanted


def test_a_point_is_told_in_a_line(opened, tmp_path):
    page = opened()
    page.at.locator(".pick-modes label", has_text="point").click()
    click(page, PAD, until="point =")
    at = [float(v.removesuffix(" mm")) for v in tomllib.loads(text(page))["point"]]
    assert np.hypot(at[0] - PAD[0], at[1] - PAD[1]) < 0.4 and at[2] == pytest.approx(13, abs=0.005)
    page.at.locator("[data-mode=point] input[type=number]").first.fill("72.5")
    assert tomllib.loads(text(page))["point"][0] == "72.5 mm"
    draft = draft_study(BRACKET, out=tmp_path / "study.toml")
    draft.path.write_text(draft.text + "\n[points]\n" + text(page) + "\n", encoding="utf-8")
    assert read_study(draft.path).points["point"] == pytest.approx([72.5, *at[1:]])


def test_a_patch_of_two_corners_is_as_large_as_told(opened, tmp_path):
    page = opened()
    page.at.locator(".pick-modes label", has_text="patch").click()
    page.at.mouse.click(*pixel(page, (66.0, -5.0, 13.0)))
    page.at.wait_for_function(
        "() => document.querySelector('[data-mode=patch] .pick-now').textContent.includes('opposite')"
    )
    click(page, (76.0, 5.0, 13.0), until="cut =")
    cut = tomllib.loads(text(page))["patch"]["cut"]
    low, high = ([float(v.removesuffix(" mm")) for v in cut[end]] for end in ("low", "high"))
    assert np.allclose(low, [66, -5, 12], atol=0.35) and np.allclose(high, [76, 5, 14], atol=0.35)
    inputs = page.at.locator("[data-mode=patch] input[type=number]")
    for i, value in enumerate((66, -5, 12, 90, 4, 14)):
        inputs.nth(i).fill(str(value))
    told = page.at.locator("[data-mode=patch] .pick-now").inner_text()
    assert told.startswith(f"{(80 - 66) * (4 + 5)} mm²")  # the pad ends at x = 80
    assert main(["check", str(study_with(text(page), tmp_path))]) == 0
    inputs.nth(2).fill("13.5")
    assert "misses" in page.at.locator("[data-mode=patch] .pick-now").inner_text() and text(page).startswith("#")


NUMBERS = """([way, steep]) => {
  const { build } = picker.modes;
  document.querySelector('.pick-steep').value = steep;
  build.take(way, 'test');
  const { shadow, height, lyingArea, overArea } = build.numbers();
  return [shadow, height, lyingArea, overArea];
}"""


def test_a_tee_hangs_over_as_far_as_its_bar_reaches(opened):
    page = opened("tee")
    page.at.locator(".pick-modes label", has_text="build").click()
    assert page.run(NUMBERS, [[0, 0, 1], 45]) == pytest.approx([300, 25, 100, 200], rel=1e-6)
    assert page.run(NUMBERS, [[0, 0, -1], 45]) == pytest.approx([300, 25, 300, 0], rel=1e-6)
    assert page.run(NUMBERS, [[0, 1, 0], 45]) == pytest.approx([350, 10, 350, 0], rel=1e-6)
    assert page.run(NUMBERS, [[1, 0, 0], 45]) == pytest.approx([250, 30, 50, 200], rel=1e-6)
    page.at.locator(".pick-axes button", has_text="+z").click()
    told = page.at.locator(".pick-build").inner_text()
    assert "300 mm²" in told and "200 mm²" in told and text(page) == "build_direction = [0, 0, 1]"


def test_a_turned_box_stands_on_a_corner(opened):
    page = opened("turned_box")
    normals = turned(ANGLES).T  # the rows are the box's own axes as they lie now
    sides = np.array([BOX[1] * BOX[2], BOX[0] * BOX[2], BOX[0] * BOX[1]])
    for way in ([0, 0, 1], [0.3, -0.5, 0.8], [1, 0, 0]):
        up = np.array(way) / np.linalg.norm(way)
        cosine = np.abs(normals @ up)  # of each pair of sides, that which looks down
        shadow, height = sides @ cosine, np.array(BOX) @ cosine
        for steep in (20, 45, 70):
            over = sides[cosine > np.sin(np.radians(steep))].sum()
            assert page.run(NUMBERS, [way, steep]) == pytest.approx([shadow, height, 0, over], rel=1e-5, abs=1e-9)


def test_sides_at_the_limit_carry_themselves(opened):
    page = opened("on_edge")
    sides = BOX[0] * BOX[1] + BOX[1] * BOX[2]
    assert page.run(NUMBERS, [[0, 0, 1], 45])[3] == 0
    assert page.run(NUMBERS, [[0, 0, 1], 44])[3] == pytest.approx(sides, rel=1e-6)


def test_a_flat_is_laid_on_the_bed(opened):
    page = opened()
    page.at.locator(".pick-modes label", has_text="build").click()
    click(page, PAD, until="-1]")
    assert text(page) == "build_direction = [0, 0, -1]"
    page.at.locator(".pick-facing").select_option("up")
    click(page, PAD, until="0, 1]")
    shadow = page.pixels(".hand-canvas").reshape(-1, 3)
    page.at.locator(".pick-from", has_text="below").click()
    page.at.wait_for_timeout(150)
    over = page.pixels(".hand-canvas").reshape(-1, 3)
    red = [(np.abs(p - [0xD1, 0x49, 0x5B]).max(axis=1) < 6).sum() for p in (shadow, over)]
    assert red[0] < red[1] and red[1] > 100


def test_a_finger_picks(opened, bracket):
    page = opened(wide=390, high=800, has_touch=True)
    page.at.touchscreen.tap(*pixel(page, PAD))
    page.at.wait_for_function("() => document.querySelector('.pick-text').textContent.includes('13 mm')")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_stands_in_the_way_of_assistive_readers(opened, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = opened(color_scheme=scheme)
    page.at.locator("#pick-face-2").click()
    for mode in ("faces", "point", "patch", "build"):
        page.at.locator(".pick-modes label", has_text=mode).click()
        bad = axe.Axe().run(page.at).response["violations"]
        assert [
            (v["id"], [n["html"] for n in v["nodes"]]) for v in bad if v["impact"] in ("serious", "critical")
        ] == []


def test_no_width_needs_sideways_scrolling(opened):
    page = opened()
    page.at.locator("#pick-face-2").click()
    for wide in (360, 640, 960, 1920):
        page.at.set_viewport_size({"width": wide, "height": 900})
        for mode in ("faces", "patch", "build"):
            page.run("(mode) => picker.choose(mode)", mode)
            assert page.run("() => document.documentElement.scrollWidth") <= wide
