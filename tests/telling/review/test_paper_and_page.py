"""The review of the beam as its readers meet it: on paper, on screen, with a comparison and without."""

from __future__ import annotations

import dataclasses
import datetime
import io
import math
import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1]))

from browser import Page as Window
from browser import chromium
from old_words import old_words, seen
from reading import Page, fonts_of_pdf, letters, words_of_pdf

from fem.errors import BeadworkError
from fem.judging.choice import VariantNumbers, compare
from fem.telling.bead_axes import CAPTION
from fem.telling.blocks import Figure, Section, Text, every
from fem.telling.review.document import QUALITIES, document_of
from fem.telling.review.material import CAUTION, Reference
from fem.telling.review.sections import SECTIONS, sections_of
from fem.telling.review.to_html import html_text, write_html
from fem.telling.review.to_pdf import pdf_bytes

DATE = datetime.date(2031, 2, 3)
LOW = QUALITIES[-1]


@pytest.fixture(scope="module")
def pages(reviewed):
    return words_of_pdf(reviewed[0])


@pytest.fixture(scope="module")
def page(reviewed):
    return Page(reviewed[1].read_text(encoding="utf-8"))


def _page_of(material):
    """The page without its pictures, which no test of words needs."""
    few = dataclasses.replace(material, pictures={})
    return Page(html_text(document_of(few, date=DATE), width=LOW[0], quality=LOW[1]))


def test_every_page_says_which_it_is_and_what_it_belongs_to(pages, material):
    for k, text in enumerate(pages, start=1):
        assert f"page {k} of {len(pages)}" in text
        assert "3 February 2031" in text
        assert letters(material.findings.title) in letters(text)


def test_the_first_page_has_question_verdict_and_caution(pages, material):
    first = letters(pages[0])
    for text in (material.findings.question, "Fails", "No, the part does not hold", CAUTION):
        assert letters(text) in first


def test_the_file_is_small_and_its_fonts_are_inside(reviewed):
    assert reviewed[0].stat().st_size < 10_000_000
    assert reviewed[1].stat().st_size < 8_000_000
    fonts = fonts_of_pdf(reviewed[0])
    assert len(fonts) >= 3
    assert all(fonts.values())


def test_pictures_have_print_resolution(material):
    from PIL import Image

    shots = [b for b in every(sections_of(material)) if isinstance(b, Figure) and b.file]
    assert len(shots) >= 5
    for shot in shots:
        pixels = min(Image.open(shot.file).width, QUALITIES[0][0])
        assert pixels / (shot.width / 25.4) >= 200


def test_all_sections_are_on_paper_and_on_screen(pages, page):
    whole = letters(" ".join(pages))
    for title in (
        "Question and verdict", "Requirements", "Loads and equilibrium", "Stiffness", "Strength and hot spots",
        "Mass, time and cost", "Comparison", "Assumptions and accuracy", "Cautions", "Signatures",
        "Inputs and versions", "Prepared", "Checked", "Approved",
    ):  # fmt: skip
        assert letters(title) in whole
        assert title in page.words


def test_the_numbers_are_those_of_the_findings(pages, page, material):
    f = material.findings
    least = min(c.reserve.minimum for c in f.cases.values())
    # The beam by hand: 600 N x 100 mm at its root is 60000 N mm, over 20 x 16^2 / 6 = 853.3 mm^3 is 70.3 MPa of 60
    assert least == pytest.approx(60 / 70.3125, rel=1e-9)
    # 3e7 N mm/rad about x; 120000 N/mm along x
    for text in ("0.853", "33.9 g", "3.000e7", "120000", "80000", "shear 23: estimate", "Table 1.", "Figure 1."):
        assert letters(text) in letters(" ".join(pages))
        assert text in page.words


def test_a_changed_finding_changes_the_text(material):
    bodies = {**material.findings.bodies}
    bodies["beam"] = dataclasses.replace(bodies["beam"], mass_g=1234.0)
    changed = dataclasses.replace(material, findings=dataclasses.replace(material.findings, bodies=bodies))
    assert "1234" in _page_of(changed).words
    assert "1234" not in _page_of(material).words


def test_nothing_is_fetched_and_the_page_is_for_all(page):
    assert all(link.startswith(("data:image/", "#")) for link in page.links)
    assert {link[1:] for link in page.links if link.startswith("#")} <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))
    bare = re.sub(r'"data:[^"]*"', '""', page.raw)
    words = re.sub(r"<script.*?</script>", "", bare, flags=re.S)  # the part in hand
    assert not re.search(r"https?:|url\((?!#)|@import|javascript:", words)
    assert "default-src 'none'" in page.raw and "connect-src 'none'" in page.raw
    assert all(head.get("scope") in ("row", "col") for head in page.heads)
    assert all(re.search(r"\d", image["alt"]) for image in page.images if "class" not in image)
    regions = [attrs for tag, attrs in page.tags if attrs.get("role") == "region"]
    assert regions
    assert all(
        r.get("tabindex") == "0" and (r.get("aria-label") or r.get("aria-labelledby") in page.ids) for r in regions
    )
    assert ("html", {"lang": "en"}) in page.tags


def test_a_title_full_of_signs_stays_as_it_is(pages, page, material):
    assert letters(material.findings.title) in letters(pages[0])
    assert material.findings.title in page.words
    assert "<b>&amp; [x]" not in page.raw and "&lt;b&gt;&amp;amp; [x]" in page.raw


def test_drawings_are_vectors_with_their_numbers_beside_them(material):
    drawn = [b for b in every(sections_of(material)) if isinstance(b, Figure) and b.svg]
    assert len(drawn) >= 3
    for figure in drawn:
        assert "<image" not in figure.svg
        assert "<path" in figure.svg
        assert re.search(r"\d", figure.alt)


def test_another_section_is_one_more_function(material, monkeypatch):
    def joints(given):
        return Section("joints", "Joints", (Text(f"{len(given.findings.cases)} cases hold."),))

    monkeypatch.setattr("fem.telling.review.sections.SECTIONS", (*SECTIONS, joints, lambda _: None))
    page = _page_of(material)
    assert "Joints" in page.words
    assert "2 cases hold." in page.words


def test_letters_of_other_scripts_do_not_stop_the_paper(material):
    title = "梁の検討"
    found = dataclasses.replace(material.findings, title=title, inputs={"text": f'title = "{title}"'})
    few = dataclasses.replace(material, findings=found, pictures={}, hand=None)
    assert pdf_bytes(document_of(few, date=DATE), width=LOW[0], quality=LOW[1]).startswith(b"%PDF")


# ---- the comparison and the reference part


def _variant(name, mass, **more):
    usual = {"settings": {"walls": name[-1]}, "time_h": 2.0, "cost": 3.0, "deflection_mm": 5.0, "reserve": 2.5}
    return VariantNumbers(name, mass_g=mass, **{**usual, **more})


@pytest.fixture(scope="module")
def compared(material):
    """The beam among three ways to print it and a machined one ten times as stiff."""
    metal = _variant(
        "machined", 90.0, settings={"metal": "x"}, reference=True, printed=False, time_h=None, cost=80.0,
        deflection_mm=0.5, reserve=9.0,
    )  # fmt: skip
    variants = [
        metal,
        _variant("walls=2", 30.0, reserve=1.2, missed=("reserve 1.20, at least 1.5 required",)),
        _variant("walls=3", 34.0, reserve=1.6),
        _variant("walls=4", 38.0, reserve=math.inf, deflection_mm=4.0),
        VariantNumbers("walls=x", {"walls": "x"}, error="walls must be a whole number."),
    ]
    comparison = compare(variants, title="t", question="q", required_reserve=1.5, sweep={"walls": ("2", "3", "4")})
    found = material.findings
    matrix = tuple(tuple(10 * v for v in row) for row in found.stiffness["tip"].matrix)
    stiff = {"tip": dataclasses.replace(found.stiffness["tip"], matrix=matrix)}
    cases = {
        name: dataclasses.replace(c, maximum_displacement_mm=c.maximum_displacement_mm / 10)
        for name, c in found.cases.items()
    }
    reference = Reference("machined", dataclasses.replace(found, stiffness=stiff, cases=cases))
    return dataclasses.replace(material, comparison=comparison, reference=reference)


def test_the_reference_part_stands_beside(compared, material):
    page = _page_of(compared)
    # Ten times the stiffness of the beam: 800,000 N/mm along y and 3e8 N mm/rad about x, ratios of 0.1
    for text in ("reference part machined", "800000", "3.000e8", "this part / machined", "0.100"):
        assert text in page.words
    assert "There is no reference part" in _page_of(material).words
    assert "There is no reference part" not in page.words


def test_the_choice_and_its_reason_are_told(compared):
    page = _page_of(compared)
    for text in (
        "Print walls=3", "misses reserve", "walls must be a whole number", "reference part",
        "Beyond the plot: 1 (machined)", "Effect of each step",
    ):  # fmt: skip
        assert text in page.words
    assert "No finished comparison" not in page.words


def test_paper_holds_the_comparison_too(compared):
    few = dataclasses.replace(compared, pictures={})
    data = pdf_bytes(document_of(few, date=DATE), width=LOW[0], quality=LOW[1])
    text = letters(" ".join(words_of_pdf(io.BytesIO(data))))
    for told in ("Print walls=3", "reference part machined", "800000", "walls must be a whole number"):
        assert letters(told) in text


def test_no_old_word_is_left_and_the_bead_axes_are_drawn_once(reviewed, compared, pages):
    for html in (reviewed[1].read_text(encoding="utf-8"), _page_of(compared).words):
        assert old_words(seen(html)) == []
    assert letters(" ".join(pages)).count(letters(CAPTION)) == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_review_has_the_part_in_hand_and_nothing_serious(reviewed, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    with chromium() as browser:
        page = Window(browser, reviewed[1], color_scheme=scheme)
        page.at.wait_for_selector("#part[data-drawn]")
        assert page.at.locator("#part .hand-mark").count() >= 2
        told = axe.Axe().run(page.at).response["violations"]
        assert [v["id"] for v in told if v["impact"] in ("serious", "critical")] == []
        for wide in (360, 1300):
            page.at.set_viewport_size({"width": wide, "height": 900})
            assert page.run("() => document.documentElement.scrollWidth") <= wide
        shared_mesh = page.run("() => getComputedStyle(document.body).backgroundColor.match(/\\d+/g).map(Number)")
        assert min(shared_mesh) > 230 if scheme == "light" else max(shared_mesh) < 60
        page.at.emulate_media(media="print")
        assert page.at.locator("#part .hand-print").is_visible()
        assert page.said == [] and all(url.startswith(("file:", "data:", "blob:")) for url in page.asked)
        page.close()


def test_a_page_that_would_be_too_large_leaves_the_part_out(material, tmp_path, monkeypatch):
    document = document_of(dataclasses.replace(material, pictures={}), date=DATE)
    whole = html_text(document, width=LOW[0], quality=LOW[1], hand=document.hand)
    bare = html_text(document, width=LOW[0], quality=LOW[1])
    assert len(whole) - len(bare) > 500_000 and 'id="part"' in whole
    monkeypatch.setattr("fem.telling.review.to_html.LIMIT_BYTES", len(whole.encode()) - 1)
    assert 'id="part"' not in write_html(document, tmp_path / "a.html").read_text(encoding="utf-8")
    monkeypatch.setattr("fem.telling.review.to_html.LIMIT_BYTES", len(bare.encode()) - 1)
    with pytest.raises(BeadworkError, match="larger"):
        write_html(document, tmp_path / "b.html")
