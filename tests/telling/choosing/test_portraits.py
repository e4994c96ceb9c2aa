"""Pictures of variants in the comparison's page: whose they are, and what a click on a mark does."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1]))

from browser import Page, chromium

from fem.judging.choice import VariantNumbers, compare
from fem.telling.comparison import write_comparison
from fem.telling.comparison.portraits import HAND, MOST_DRAWN, portrait_of, to_draw

COLOURS = {"light": (200, 30, 30), "strong": (30, 30, 200)}


def numbers(name, mass, reserve, away):
    return VariantNumbers(
        name,
        {"bodies.part.print.walls": str(mass)},
        mass_g=mass,
        deflection_mm=1 / reserve,
        reserve=reserve,
        reserve_away=away,
        singular=reserve != away,
        findings_file=f"variants/{name}.json",
    )


def made(*more):
    """Light and strong are on the front; weak is heavier than both and bears less."""
    each = (numbers("light", 10.0, 1.6, 2.5), numbers("strong", 20.0, 3.0, 4.0), numbers("weak", 30.0, 0.8, 0.9))
    return compare([*each, *more], title="t", question="", required_reserve=1.5)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("page")
    (out / "variants").mkdir()
    for name, colour in COLOURS.items():
        Image.new("RGB", (90, 60), colour).save(out / "variants" / f"{name}-at-1.5.png")
    write_comparison(made(), folder=out)
    return out


def test_the_named_one_comes_first_and_few_are_drawn():
    assert to_draw(made()) == ("light", "strong")
    many = [numbers(f"more{i}", 40.0 + i, 5.0 + i, 5.0 + i) for i in range(20)]
    drawn = to_draw(made(*many))
    assert len(drawn) == MOST_DRAWN
    assert drawn[0] == "light"
    assert "weak" not in drawn
    assert portrait_of(made(), "weak") == "variants/weak-at-1.5.png"


def test_without_pictures_the_page_says_so(folder, tmp_path):
    page = write_comparison(made(), folder=folder).read_text(encoding="utf-8")
    assert page.count("<img") == 2
    assert "No pictures" not in page
    (tmp_path / "variants").mkdir()
    (tmp_path / "variants" / "light-at-1.5.png").write_text("damaged")
    assert "<img" not in write_comparison(made(), folder=tmp_path).read_text(encoding="utf-8")
    plain = write_comparison(made(), folder=tmp_path, pictures=False).read_text(encoding="utf-8")
    assert "<img" not in plain
    assert "No pictures of variants were drawn" in plain


def test_the_named_part_is_in_hand_and_a_click_brings_the_other_ones(findings, scene, folder, tmp_path):
    from fem.telling.hand import part_in_hand, write_hand

    shutil.copytree(folder / "variants", tmp_path / "variants")
    for name in COLOURS:
        write_hand(part_in_hand(scene, findings), tmp_path / "variants" / f"{name}-at-1.5{HAND}")
    path = write_comparison(made(), folder=tmp_path)
    assert path.stat().st_size < 8_000_000
    with chromium() as browser:
        page = Page(browser, path)
        page.at.wait_for_selector("#picture-1 .hand[data-drawn]")
        assert page.at.locator(".hand").count() == 1, "the others wait until they are asked for"
        assert len(set(map(tuple, page.pixels("#picture-1 .hand-stage").reshape(-1, 3)))) > 50, "it is painted"
        page.at.locator("#reserve-v2 .tip").click()
        page.at.wait_for_selector("#picture-2 .hand[data-drawn]")
        assert page.at.locator("#picture-2 .hand-stage").is_visible()
        assert not page.at.locator("#picture-1 .hand-stage").is_visible()
        assert page.said == [] and all(url.startswith(("file:", "data:", "blob:")) for url in page.asked)
        page.close()


def test_a_part_that_is_too_large_leaves_its_picture(findings, scene, folder, tmp_path, monkeypatch):
    from fem.telling.hand import part_in_hand, write_hand

    shutil.copytree(folder / "variants", tmp_path / "variants")
    write_hand(part_in_hand(scene, findings), tmp_path / "variants" / f"light-at-1.5{HAND}")
    assert 'class="hand"' in write_comparison(made(), folder=tmp_path).read_text(encoding="utf-8")
    monkeypatch.setattr("fem.telling.comparison.portraits.ROOM", 1000)
    page = write_comparison(made(), folder=tmp_path).read_text(encoding="utf-8")
    assert 'class="hand"' not in page and page.count("<img") == 2


def test_a_click_or_enter_on_a_mark_shows_its_picture_or_its_row(folder):
    with chromium() as browser:
        page = Page(browser, folder / "comparison.html")
        shown = "[...document.querySelectorAll('#pictures figure')].filter(f => !f.hidden).map(f => f.id)"
        pointed = "[...document.querySelectorAll('tr.pointed')].map(r => r.id)"
        assert (page.run(shown), page.run(pointed)) == (["picture-1"], [])
        page.at.locator("#reserve-v2 .tip").click()
        assert (page.run(shown), page.run(pointed)) == (["picture-2"], ["variant-2"])
        colour = page.pixels("#picture-2 img")[20:40, 20:70].mean(axis=(0, 1))
        assert abs(colour - COLOURS["strong"]).max() < 12
        # One without a picture: its row is scrolled to, even where a filter hid it
        page.at.locator("input[name=away]").fill("2")
        hidden = "[...document.querySelectorAll('#all tbody tr')].filter(r => r.hidden).map(r => r.id)"
        assert page.run(hidden) == ["variant-3"]
        page.at.locator("#stiffness-v3 .tip").focus()
        page.at.keyboard.press("Enter")
        assert (page.run(shown), page.run(pointed), page.run(hidden)) == ([], ["variant-3"], [])
        assert "no picture of no. 3, weak" in page.at.locator("#picture-none").inner_text()
        top, low = page.run("(r => [r.top, r.bottom])(document.getElementById('variant-3').getBoundingClientRect())")
        assert 0 <= top < low <= 900
        assert page.said == []
        page.close()
