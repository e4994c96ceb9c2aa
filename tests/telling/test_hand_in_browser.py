"""The part in hand as a reader has it: in a real browser, on a beam whose every number is known in closed form."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from beam import FORCES, HEIGHT, INERTIA, LENGTH, STRENGTH, WIDTH, YOUNG, beam_findings, beam_mesh, beam_scene
from browser import Page, chromium
from helpers_joints import pressed, seam, two_blocks

from fem.judging.scene import CaseFields, Scene
from fem.printing.cut import CORE, OUTSIDE, WALL, ZoneCut
from fem.telling.colours import ZONES, displacement_map, reserve_scale
from fem.telling.hand import hand_head, hand_html, part_in_hand

ROOT = "document.querySelector('#beam').hand"
BARE = ".bare :is(.hand-marks, .hand-labels, .hand-tripod) { visibility: hidden }"
NEAR = 9
"""Of 255: a colour on the screen lies no farther from the one asked for."""
TOWARDS = np.array([0.9, -1.0, 0.75]) / np.linalg.norm([0.9, -1.0, 0.75])
SHADE = 0.34


def halves() -> ZoneCut:
    """A layer at z = 0, all wall up to x = 50 mm and all core beyond."""
    place = np.full((22, 102), OUTSIDE, dtype=np.int8)
    place[1:-1, 1:51], place[1:-1, 51:-1] = WALL, CORE
    strokes = np.array([[20.0, 10.0]]), np.array([[1.0, 0.0]])
    return ZoneCut("beam", "layer", HEIGHT / 2, place, 1.0, (-1.0, -1.0), "print axis 1", "print axis 2", *strokes)


POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
HEAD = f"""<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Beam</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<style>:root {{ color-scheme: light dark }} body {{ margin: 1rem }}</style></head>"""
DOT = "data:image/gif;base64,R0lGODlhAQABAAAAACH5BAEKAAEALAAAAAABAAEAAAICTAEAOw=="
AGAIN = f"""async () => {{
  const viewer = {ROOT};
  for (const [name, value] of [["axis", ""], ["offset", 500], ["deformation", 0]]) viewer.find(name).value = value;
  viewer.place = null;
  viewer.eye.reset();
  viewer.setCut();
  viewer.setDeformation();
  await viewer.choose({{ caseName: "landing", key: "reserve" }});
}}"""
"""Brings the shared page back to what it shows first."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A page with one viewer, one with two, and one of a part that is not solved."""
    folder = tmp_path_factory.mktemp("hand")
    scene = dataclasses.replace(beam_scene(beam_mesh()), cuts=(halves(),))
    hand = part_in_hand(scene, beam_findings(scene))
    one = hand_html(hand, name="beam")
    plain = part_in_hand(dataclasses.replace(scene, cases={}, arrows=(), patches=(), cuts=()), still=DOT)
    small = part_in_hand(scene, beam_findings(scene), most_bytes=hand.size * 3 // 5)
    assert "corner nodes" in small.note
    pages = {
        "one": one,
        "coarse": hand_html(small, name="beam"),
        "two": one + hand_html(hand),
        "plain": hand_html(plain, name="beam"),
    }
    for name, viewers in pages.items():
        page = f"{HEAD}<body>{hand_head()}<main><h1>Beam</h1>{viewers}</main></body></html>"
        (folder / f"{name}.html").write_text(page, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


@pytest.fixture(scope="module")
def shared(browser, folder):
    """One page for most tests; what its console says is looked at in the end."""
    page = Page(browser, folder / "one.html", wide=760, high=700, reduced_motion="reduce")
    page.at.wait_for_selector("#beam[data-drawn]")
    page.at.add_style_tag(content=BARE)
    yield page
    page.close()
    assert page.said == []


@pytest.fixture
def page(shared):
    shared.at.set_viewport_size({"width": 760, "height": 700})
    shared.at.emulate_media(media="screen", color_scheme="light")
    shared.run("() => document.body.classList.remove('bare')")
    for name in ("arrows", "supports"):
        shared.at.locator(f"#beam .hand-show-{name}").check()
    shared.run(AGAIN)
    settled(shared)
    return shared


def settled(page) -> None:
    """Wait until what was asked for is drawn."""
    page.run(
        "() => new Promise((done) => setTimeout(() => requestAnimationFrame(() => requestAnimationFrame(done)), 60))"
    )


def bare(page) -> None:
    """Only the part in the picture."""
    page.run("() => document.body.classList.add('bare')")
    for name in ("arrows", "supports"):
        page.at.locator(f"#beam .hand-show-{name}").uncheck()
    settled(page)


def colour_at(page, place) -> np.ndarray:
    """The colour on the screen where a place [mm] of the part is drawn."""
    across, down = page.run(f"(place) => {ROOT}.eye.shares(place)", list(place))
    picture = page.pixels("#beam .hand-canvas")
    return picture[round(down * picture.shape[0]), round(across * picture.shape[1])]


def reserve_at(place, case: str) -> float:
    return STRENGTH / abs(FORCES[case] * (LENGTH - place[0]) * place[2] / INERTIA)


def reserve_colour(place, case: str) -> np.ndarray:
    scale = reserve_scale(1.5)
    return 255 * np.array(scale.colours[int(scale.band(np.array([reserve_at(place, case)]))[0])])


def shaded(colour, normal) -> np.ndarray:
    return np.asarray(colour) * (1 - SHADE * (1 - abs(TOWARDS @ normal)))


def near(seen, wanted) -> bool:
    return bool(np.abs(np.asarray(seen) - wanted).max() <= NEAR)


TOP, END = (30.0, 6.0, HEIGHT / 2), (50.0, 8.0, 5.5)


def test_first_picture_is_painted_and_nothing_else_is_said_or_fetched(page):
    assert page.said == []
    assert [url for url in page.asked if not url.startswith(("file:", "data:"))] == []
    bare(page)
    assert near(colour_at(page, TOP), shaded(reserve_colour(TOP, "landing"), [0, 0, 1]))
    assert not near(colour_at(page, TOP), shaded(reserve_colour(TOP, "cruise"), [0, 0, 1]))
    stage = page.pixels("#beam .hand-canvas")
    assert np.array_equal(stage[20, 20], [0xF4, 0xF6, 0xF5]) and np.array_equal(stage[-20, 20], stage[20, 20])


def test_case_and_quantity_change_what_is_painted(page):
    bare(page)
    page.at.locator("#beam .hand-cases label", has_text="cruise").click()
    settled(page)
    assert near(colour_at(page, TOP), shaded(reserve_colour(TOP, "cruise"), [0, 0, 1]))
    page.at.select_option("#beam .hand-quantity", "displacement")
    settled(page)
    size = FORCES["cruise"] / (6 * YOUNG * INERTIA)
    along = size * 3 * TOP[2] * TOP[0] * (2 * LENGTH - TOP[0])
    share = np.hypot(size * TOP[0] ** 2 * (3 * LENGTH - TOP[0]), along) / np.hypot(
        size * 2 * LENGTH**3, size * 3 * TOP[2] * LENGTH**2
    )
    assert near(colour_at(page, TOP), shaded(255 * np.array(displacement_map()(float(share))[:3]), [0, 0, 1]))
    assert "Displacement [mm]" in page.at.locator("#beam .hand-scale").inner_text()


def test_a_cut_shows_the_painted_inside(page):
    bare(page)
    before = colour_at(page, END)
    page.at.select_option("#beam .hand-axis", "0")
    settled(page)
    assert page.at.locator("#beam .hand-offset-text").inner_text() == "x = 50.0 mm"
    assert near(colour_at(page, END), reserve_colour(END, "landing"))
    assert not near(before, reserve_colour(END, "landing"))
    stage = page.pixels("#beam .hand-canvas")
    across, down = page.run(f"() => {ROOT}.eye.shares([95, 10, 8])")
    gone = stage[round(down * stage.shape[0]), round(across * stage.shape[1])]
    assert np.array_equal(gone, [0xF4, 0xF6, 0xF5])


AREA = f"""([normal, offset]) => {{
  {ROOT}.part.cutAt({{ normal, offset }});
  const p = {ROOT}.part.capMesh.geometry.attributes.position.array;
  let area = 0;
  for (let t = 0; t < p.length; t += 9) {{
    const [a, b] = [0, 1].map((k) => [0, 1, 2].map((i) => p[t + 3 * (k + 1) + i] - p[t + i]));
    area += Math.hypot(a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]) / 2;
  }}
  return area;
}}"""


def test_caps_are_as_large_as_the_section(page):
    slant = np.array([1.0, 0.0, 1.0]) / np.sqrt(2)
    assert page.run(AREA, [[1, 0, 0], 43.7]) == pytest.approx(WIDTH * HEIGHT, rel=1e-4)
    assert page.run(AREA, [[0, -1, 0], -7.3]) == pytest.approx(LENGTH * HEIGHT, rel=1e-4)
    assert page.run(AREA, [slant.tolist(), 40.0]) == pytest.approx(np.sqrt(2) * WIDTH * HEIGHT, rel=1e-4)


LISTEN = "document.querySelector('#beam').addEventListener('picked', (event) => tell(event.detail), { once: true })"


def test_straight_tetrahedra_are_capped_too(browser, folder):
    page = Page(browser, folder / "coarse.html", wide=500, high=500)
    page.at.wait_for_selector("#beam[data-drawn]")
    assert page.run(AREA, [[1, 0, 0], 43.7]) == pytest.approx(WIDTH * HEIGHT, rel=1e-4)
    page.close()


def click(page, place):
    """Click where a place is drawn; what the viewer tells of it."""
    across, down = page.run(f"(place) => {ROOT}.eye.shares(place)", list(place))
    box = page.at.locator("#beam .hand-canvas").bounding_box()
    page.run(f"() => {{ window.told = new Promise((tell) => {LISTEN}) }}")
    page.at.mouse.click(box["x"] + across * box["width"], box["y"] + down * box["height"])
    return page.run("() => window.told")


def test_a_click_tells_the_values_there(page):
    bare(page)
    told = click(page, (62.0, 7.0, HEIGHT / 2))
    x, y, z = told["at"]
    assert np.hypot(x - 62, y - 7) < 0.5 and z == pytest.approx(HEIGHT / 2, abs=1e-3)
    force = FORCES["landing"]
    largest = force * LENGTH * HEIGHT / 2 / INERTIA
    stress = force * (LENGTH - x) * HEIGHT / 2 / INERTIA  # linear along the face, so that interpolation is exact
    step = largest / 4095 / 2 + force * HEIGHT / 2 / INERTIA * 2 * LENGTH / 65534
    for name in ("bead_0", "principal_0", "mises"):
        assert told["values"][name] == pytest.approx(stress, abs=step)
    assert told["values"]["bead_0"] != pytest.approx(0.99 * stress, abs=step)
    assert told["values"]["bead_4"] == 0
    assert 1 / told["values"]["reserve"] == pytest.approx(STRENGTH / stress, rel=1e-3)
    text = page.at.locator("#beam .hand-values").inner_text()
    assert f"{told['values']['bead_0']:.1f} MPa" in text and "62.0, 7.0, 8.0 mm" in text


def test_a_click_beside_the_part_tells_nothing(page):
    assert page.run(f"() => {ROOT}.ask(0.02, 0.02)") is None


def test_a_cut_face_is_asked_too(page):
    bare(page)
    page.at.select_option("#beam .hand-axis", "0")
    settled(page)
    told = click(page, END)
    assert told["face"] is None and told["at"][0] == pytest.approx(50.0, abs=1e-3)
    x, _, z = told["at"]
    cell = 2 * HEIGHT / 4 / 2 * LENGTH / 15 / 2  # bilinear stress on straight pieces of half an edge
    most = FORCES["landing"] * cell / 4 / INERTIA + 0.02
    assert told["values"]["bead_0"] == pytest.approx(FORCES["landing"] * (LENGTH - x) * z / INERTIA, abs=most)


def test_a_listed_place_is_flown_to(page):
    before = page.pixels("#beam .hand-canvas")
    page.at.locator("#beam .hand-places button").nth(1).click()
    settled(page)
    focal, half = page.run(f"() => [{ROOT}.eye.focal, {ROOT}.eye.half]")
    assert np.linalg.norm(np.array(focal) - [33.3, 10, 8]) < 2 and half < 0.2 * LENGTH
    assert (page.pixels("#beam .hand-canvas") != before).any()
    page.at.locator("#beam .hand-reset").click()
    assert page.run(f"() => {ROOT}.eye.half") > 0.25 * LENGTH


def test_deformation_moves_the_tip_by_the_stated_scale(page):
    page.at.locator("#beam .hand-deformation").fill("100")
    settled(page)
    scale = page.run(f"() => {ROOT}.part.shared.deformation.value")
    assert f"× {scale:g}" in page.at.locator("#beam .hand-deformation-text").inner_text().replace(".0", "")
    tip = FORCES["landing"] * LENGTH**3 / (3 * YOUNG * INERTIA)
    at = page.run(f"() => {ROOT}.drawnAt([{LENGTH}, {WIDTH / 2}, 0])")
    assert at[2] == pytest.approx(-scale * tip, rel=1e-3) and abs(at[2]) > 0.05 * LENGTH


def test_the_printed_section_is_shown_as_it_is(page):
    bare(page)
    page.at.select_option("#beam .hand-quantity", "zone")
    settled(page)
    for place, zone in (((40.0, 14.0, 0.0), "wall"), ((80.0, 14.0, 0.0), "core")):
        assert near(colour_at(page, place), 255 * np.array(ZONES[zone]))
    named = page.at.locator("#beam .hand-scale").inner_text()
    assert "wall" in named and "core" in named and "cover" not in named


def test_the_keyboard_reaches_everything(page):
    page.at.locator("#beam .hand-cases input").first.focus()
    reached = set()
    for _ in range(24):
        reached |= set(page.run("() => [...document.activeElement.classList]"))
        if "hand-axis" in reached and page.run("() => document.activeElement.matches('.hand-axis')"):
            page.at.keyboard.press("ArrowDown")
            settled(page)
        reached |= {"place"} if page.run("() => document.activeElement.matches('.hand-places button')") else set()
        page.at.keyboard.press("Tab")
    wanted = ["quantity", "canvas", "axis", "offset", "flip", "deformation", "show-arrows", "show-supports", "reset"]
    assert {f"hand-{name}" for name in wanted} | {"place"} <= reached


def test_keys_turn_zoom_ask_and_fly(page):
    page.at.locator("#beam .hand-canvas").focus()
    eye = f"() => [{ROOT}.eye.azimuth, {ROOT}.eye.tilt, {ROOT}.eye.half, ...{ROOT}.eye.focal]"
    home = page.run(eye)
    for key, changed in (("ArrowRight", 0), ("ArrowUp", 1), ("+", 2), ("Shift+ArrowUp", 5)):
        before = page.run(eye)
        page.at.keyboard.press(key)
        assert page.run(eye)[changed] != before[changed], key
    page.at.keyboard.press("0")
    assert page.run(eye) == pytest.approx(home)
    page.at.keyboard.press("Enter")
    page.at.wait_for_selector("#beam .hand-values dd")
    page.at.keyboard.press("2")
    assert page.run(eye)[2] < home[2]


def test_fingers_turn_and_pinch(browser, folder):
    page = Page(browser, folder / "one.html", wide=400, has_touch=True)
    page.at.wait_for_selector("#beam[data-drawn]")
    box = page.at.locator("#beam .hand-canvas").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    finger = page.context.new_cdp_session(page.at)

    def touch(kind, *points):
        given = [{"x": px, "y": py, "id": i} for i, (px, py) in enumerate(points)]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": given})

    before = page.run(f"() => [{ROOT}.eye.azimuth, {ROOT}.eye.half]")
    touch("touchStart", (x, y))
    touch("touchMove", (x + 40, y))
    touch("touchEnd")
    turned = page.run(f"() => [{ROOT}.eye.azimuth, {ROOT}.eye.half]")
    assert turned[0] != before[0] and turned[1] == before[1]
    touch("touchStart", (x - 20, y), (x + 20, y))
    touch("touchMove", (x - 60, y), (x + 60, y))
    touch("touchEnd")
    assert page.run(f"() => {ROOT}.eye.half") < 0.5 * turned[1]
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_stands_in_the_way_of_assistive_readers(page, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page.at.emulate_media(color_scheme=scheme)
    settled(page)
    found = axe.Axe().run(page.at).response["violations"]
    assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found if v["impact"] in ("serious", "critical")] == []
    bright = page.pixels("#beam .hand-canvas")[20, 20].mean()
    assert bright > 230 if scheme == "light" else bright < 60


def test_no_width_needs_sideways_scrolling(page):
    for wide in (360, 480, 768, 1024, 1440, 1920):
        page.at.set_viewport_size({"width": wide, "height": 900})
        settled(page)
        assert page.run("() => document.documentElement.scrollWidth") <= wide


def test_print_shows_a_still_picture(page):
    page.at.wait_for_function("document.querySelector('#beam .hand-print').naturalWidth > 300")
    page.at.emulate_media(media="print")
    assert (
        page.at.locator("#beam .hand-print").is_visible() and not page.at.locator("#beam .hand-canvas").is_visible()
    )
    picture = page.pixels("#beam .hand-print").reshape(-1, 3)
    wanted = shaded(reserve_colour(TOP, "landing"), [0, 0, 1])
    assert (np.abs(picture - wanted).max(axis=1) <= NEAR).mean() > 0.002


def test_two_viewers_share_a_page(browser, folder):
    page = Page(browser, folder / "two.html", wide=700)
    for viewer in page.at.locator(".hand").all():
        viewer.and_(page.at.locator("[data-drawn]")).wait_for()
    ids = page.run("() => [...document.querySelectorAll('[id]')].map((e) => e.id)")
    assert len(ids) == len(set(ids)) and page.said == []
    page.close()


def test_faces_of_a_part_not_solved_are_asked_and_lit(browser, folder):
    page = Page(browser, folder / "plain.html", wide=900, high=700)
    page.at.wait_for_selector("#beam[data-drawn]")
    page.at.add_style_tag(content=BARE)
    page.run("() => document.body.classList.add('bare')")
    told = click(page, (80.0, 10.0, HEIGHT / 2))
    assert told["face"] == 5 and told["values"] == {}  # the beam's sixth face is its top
    assert "beam:6" in page.at.locator("#beam .hand-values").inner_text()
    places = (30.0, 10.0, HEIGHT / 2), (30.0, 0.0, 0.0)
    before = [colour_at(page, place) for place in places]
    page.run(f"() => {ROOT}.light([5])")
    settled(page)
    top, front = (colour_at(page, place) for place in places)
    assert not near(top, before[0]) and near(front, before[1])
    assert page.said == []
    page.close()


def test_a_browser_that_cannot_draw_says_so_and_keeps_the_still_picture(browser, folder):
    page = Page(browser, folder / "plain.html", before="HTMLCanvasElement.prototype.getContext = () => null")
    page.at.wait_for_selector("#beam[data-drawn=none]")
    assert "cannot draw" in page.at.locator("#beam .hand-sorry[role]").inner_text()
    assert page.at.locator("#beam .hand-still").is_visible()
    page.close()


def test_a_body_is_taken_away_to_see_what_presses_on_the_other(browser, tmp_path):
    # 7 MPa all over the seam of two blocks of 20 x 20 x 10 mm, one upon the other
    mesh, off = two_blocks()
    state = pressed(seam(mesh, off), pressure=lambda at: np.full(len(at), 7.0))
    n = len(mesh.nodes)
    fields = CaseFields(np.zeros((n, 3)), np.zeros((n, 6)), np.zeros((n, 6)), np.full(n, np.inf), (state,))
    hand = part_in_hand(Scene(mesh, {"all": fields}, (), ()))
    page_of = f"{HEAD}<body>{hand_head()}<main><h1>Blocks</h1>{hand_html(hand, name='beam')}</main></body></html>"
    (tmp_path / "blocks.html").write_text(page_of, encoding="utf-8")
    page = Page(browser, tmp_path / "blocks.html", wide=760, high=700)
    page.at.wait_for_selector("#beam[data-drawn]")
    page.run(f"() => {ROOT}.choose({{ key: 'pressure' }})")
    down = f"() => {ROOT}.part.hit([11.3, 9.1, 90], [0, 0, -1])"
    value = "(values, hit) => hit.nodes.reduce((sum, n, i) => sum + values[n] * hit.weights[i], 0)"
    pressure = f"async () => ({value})(await {ROOT}.fields.of('all', 'pressure'), ({down})())"
    assert page.run(down)["at"][2] == pytest.approx(20, abs=1e-3) and page.run(pressure) == 0
    page.at.locator("#beam .hand-bodies input[value=upper]").uncheck()
    assert page.run(down)["at"][2] == pytest.approx(10, abs=1e-3)
    assert page.run(pressure) == pytest.approx(7.0, rel=1e-3)
    # Inside, on a cut, there is no pressure of joints; the cut goes through what is shown alone
    page.run(f"() => {ROOT}.part.cutAt({{ normal: [0, 1, 0], offset: 9.7 }})")
    ends = page.run(f"() => Array.from({ROOT}.part.capMesh.geometry.attributes.position.array)")
    assert max(ends[2::3]) == pytest.approx(10, abs=1e-3)
    assert page.run(f"() => Math.max(...{ROOT}.part.capMesh.geometry.attributes.value.array)") == 0
    assert page.said == []
    page.close()
