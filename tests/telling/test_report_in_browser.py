"""The report as a reader has it: what the first screen holds, what unfolds, what the paper shows."""

from __future__ import annotations

from dataclasses import replace

import printed_box
import pytest
from browser import Page, chromium

FIRST = ("#verdict .verdict", "#fails-first", "#facts", "#asked .bars", "#part .hand-stage", "#part .hand-scale")
"""What the first screen must hold."""


@pytest.fixture(scope="module")
def path(findings, scene, tmp_path_factory):
    """The beam's report with a printed body, a requirement of each outcome, and no pictures to wait for."""
    from fem.telling.report import write_report

    mass, turn = findings.requirements[2], replace(findings.requirements[1], band=(0.1, 0.4), decided="not decided")
    findings, scene = printed_box.printed(
        replace(findings, requirements=(findings.requirements[0], turn, mass)), scene
    )
    return write_report(findings, replace(scene, cuts=()), (), folder=tmp_path_factory.mktemp("report"))


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


@pytest.fixture(scope="module")
def shared(browser, path):
    page = Page(browser, path, wide=1300, high=900)
    page.at.wait_for_selector("#part[data-drawn]")
    yield page
    page.close()
    assert page.said == [], "the console is empty"
    assert [url for url in page.asked if not url.startswith(("data:", "blob:", "file:"))] == []


@pytest.fixture
def page(shared):
    shared.at.set_viewport_size({"width": 1300, "height": 900})
    shared.at.emulate_media(media="screen", color_scheme="light")
    shared.run("() => { scrollTo(0, 0); for (const d of document.querySelectorAll('details')) d.open = false; }")
    return shared


def box(page, selector):
    return page.run(
        """(s) => { const r = document.querySelector(s).getBoundingClientRect();
        return [r.left, r.top, r.right, r.bottom]; }""",
        selector,
    )


def test_the_first_screen_holds_what_it_must(page):
    for selector in FIRST:
        left, top, right, bottom = box(page, selector)
        assert right - left > 50 and bottom - top > 15, f"{selector} is seen"
        assert left >= 0 and top >= 0 and right <= 1300 and bottom <= 900, f"{selector} is on the first screen"
    assert page.at.locator("#asked .bar").count() == 3
    marks = page.at.locator("#part .hand-mark")
    assert marks.count() >= 2 and marks.first.inner_text() == "1"
    assert box(page, "main > section > .wide, .fold")[1] > 900, "tables come later"


def test_ten_requirements_leave_room_for_the_part(browser, findings, scene, tmp_path):
    from fem.telling.report import write_report

    first = findings.requirements[0]
    many = [replace(first, name=f"rotation of {face}", met=k % 2 == 0) for k, face in enumerate("abcdefghij")]
    findings, scene = printed_box.printed(replace(findings, requirements=tuple(many)), scene)
    page = Page(browser, write_report(findings, replace(scene, cuts=()), (), folder=tmp_path), wide=1300, high=900)
    page.at.wait_for_selector("#part[data-drawn]")
    for selector in (*FIRST, ".more-bars summary"):
        _, top, _, bottom = box(page, selector)
        assert top >= 0 and bottom <= 900, f"{selector} is on the first screen"
    told = page.run("() => [...document.querySelectorAll('#asked .bar')].map((b) => b.checkVisibility())")
    assert told == [True] * 5 + [False] * 5
    assert page.at.locator("#asked > .bars .not-met").count() == 5, "what is missed comes first"
    page.at.locator(".more-bars summary").click()
    assert page.at.locator(".more-bars .bar.met").count() == 5
    assert page.at.locator(".more-bars .bar").last.is_visible()
    page.close()


def test_bars_are_drawn_in_their_place(page):
    told = page.run(
        """() => [...document.querySelectorAll('#asked .bar')].map((bar) => {
          const wide = bar.querySelector('svg').getBoundingClientRect();
          const end = bar.querySelector('.value').getBoundingClientRect().right;
          const limit = bar.querySelector('.at').getBoundingClientRect();
          return [(end - wide.left) / ((limit.left + limit.right) / 2 - wide.left),
                  getComputedStyle(bar.querySelector('.value')).fill];
        })"""
    )
    shares = [share for share, _ in told]
    assert shares[1] == pytest.approx(0.3 / 0.2, rel=0.02) and shares[0] < 1
    fills = [fill for _, fill in told]
    assert "hatched" in fills[0] and "dotted" in fills[1] and "url" not in fills[2], "told apart without colour"


def test_every_number_of_a_table_has_a_tip(page):
    bare = page.run(
        """() => [...document.querySelectorAll('td')].filter((cell) => /\\d/.test(cell.textContent)
          && !cell.closest('[title]') && !cell.querySelector('[title]')).map((cell) => cell.textContent)"""
    )
    assert bare == []
    assert page.at.locator("#facts [title]").count() == 3
    assert page.at.locator("#asked .bar[title]").count() == 3


def test_tables_are_folded_and_the_keyboard_opens_them(page):
    folds = page.at.locator(".fold > details")
    assert folds.count() >= 8 and page.run("() => document.querySelectorAll('.fold > details[open]').length") == 0
    folds.first.locator("summary").focus()
    page.at.keyboard.press("Enter")
    assert page.at.locator(".fold > details[open] td").first.is_visible()
    page.at.locator("#open-all").focus()
    page.at.keyboard.press("Enter")
    assert page.run("() => document.querySelectorAll('.fold > details:not([open])').length") == 0
    page.at.keyboard.press("Enter")
    assert page.run("() => document.querySelectorAll('.fold > details[open]').length") == 0


def test_paper_shows_all_that_is_folded(page):
    cell = page.at.locator(".fold > details td").first
    assert not cell.is_visible()
    page.at.emulate_media(media="print")
    page.run("() => dispatchEvent(new Event('beforeprint'))")
    shut = page.run("() => document.querySelectorAll('main details:not([open])').length")
    assert shut == 0 and cell.is_visible()
    assert page.at.locator("#part .hand-print").is_visible()
    page.run("() => dispatchEvent(new Event('afterprint'))")
    page.at.emulate_media(media="screen")
    assert page.run("() => document.querySelectorAll('main details[open]').length") == 0


def test_the_pdf_holds_the_tables(page, tmp_path):
    import subprocess
    from shutil import which

    if which("pdftotext") is None:
        pytest.skip("no pdftotext is installed here")
    file = tmp_path / "report.pdf"
    page.at.pdf(path=file)
    told = subprocess.run(["pdftotext", str(file), "-"], capture_output=True, text=True, check=True).stdout
    assert "pulls with" in told and "What the numbers mean" in told and "converged in 14 steps" in told


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_serious_is_in_the_way_of_anyone(page, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    page.at.emulate_media(color_scheme=scheme)
    page.run("() => { for (const d of document.querySelectorAll('details')) d.open = true; }")
    told = axe.Axe().run(page.at).response["violations"]
    bad = [(v["id"], [n["html"][:90] for n in v["nodes"]]) for v in told if v["impact"] in ("serious", "critical")]
    assert bad == []
    ground = page.run("() => getComputedStyle(document.body).backgroundColor.match(/\\d+/g).map(Number)")
    assert min(ground) > 230 if scheme == "light" else max(ground) < 60


def test_no_width_needs_sideways_scrolling(page):
    page.run("() => { for (const d of document.querySelectorAll('details')) d.open = true; }")
    for wide in (360, 480, 768, 1024, 1440, 1920):
        page.at.set_viewport_size({"width": wide, "height": 900})
        assert page.run("() => document.documentElement.scrollWidth") <= wide, wide
