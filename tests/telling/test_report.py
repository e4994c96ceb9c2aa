"""The page, the field file and the findings as a reader and a script meet them."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from xml.etree import ElementTree

import numpy as np
import pytest
from old_words import old_words, seen

from fem.telling.bead_axes import CAPTION
from fem.telling.files import field_names, safe_cell, write_fields
from fem.tensors import unpack_stress


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.images, self.links, self.text, self._quiet = [], [], [], 0

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self._quiet += tag in ("script", "style")
        self.links += [attrs[k] for k in ("src", "href", "action", "data") if attrs.get(k)]
        if tag == "img":
            self.images.append(attrs)

    def handle_endtag(self, tag):
        self._quiet -= tag in ("script", "style")

    def handle_data(self, data):
        if not self._quiet:
            self.text.append(data)


@pytest.fixture(scope="module")
def page(told):
    parsed = _Page()
    parsed.raw = told[0].read_text(encoding="utf-8")
    parsed.feed(parsed.raw)
    parsed.words = " ".join(" ".join(parsed.text).split())
    return parsed


def test_page_stays_small_and_asks_for_nothing(page, told):
    assert told[0].stat().st_size < 8_000_000
    assert all(link.startswith(("data:", "#")) for link in page.links)
    assert "connect-src 'none'" in page.raw
    assert not re.search(r"url\(\s*['\"]?https?:|@import", page.raw.split("<script", 1)[0])


def test_each_picture_is_in_the_page_with_its_numbers(page):
    pictures = [image for image in page.images if "class" not in image]  # the part in hand fills its own
    drawn = [image for image in pictures if image["src"].startswith("data:image/svg")]
    assert len(pictures) - len(drawn) == 12
    assert drawn and all(re.search(r"\d", image["alt"]) for image in pictures)


def test_what_may_turn_the_verdict_stands_above_the_tables(page):
    """The beam's findings hold one decisive caution, that its mesh is coarse; the others stand at the end alone."""
    told = "What may turn this verdict.</strong>\n<ul><li>The mesh is coarse."
    assert page.raw.index(told) < page.raw.index("<table")
    assert page.words.index("creeps under bolts") > page.words.index("Cautions")


def test_page_says_all_parts(page):
    for part in (
        "Does the beam bear its end load", "does not hold", "Requirements", "Loads and equilibrium",
        "Strength and hot spots", "Nearest to failure", "Stiffness of watched faces", "N·mm/rad",
        "Compliance of face", "Assumptions and accuracy", "Cautions", "qualified engineer", "estimates",
        "shear 23: estimate", "maximum stress", "Tsai–Wu", "none: not admissible", "Inputs and versions",
        "# <seat> & more", "converged in 14 steps", "Reactions in case", "pulls with", "of its area",
        "Failure load", "Stress at named points",
    ):  # fmt: skip
        assert part in page.words
    assert "<seat>" not in page.raw


def test_progress_rises_to_one(told):
    shares = [share for _, share in told[1]]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_everything_is_written_and_nothing_half(told, folder):
    names = {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()}
    assert {"findings.json", "fields.vtu", "report.html", "pictures/loads.png"} <= names
    assert not [n for n in names if n.endswith(".part")]
    assert json.loads((folder / "findings.json").read_text())["title"] == "Cantilever beam"


def test_field_file_holds_the_fields(told, folder, scene):
    import meshio

    read = meshio.read(folder / "fields.vtu")  # another reader than the library that wrote it
    names = field_names("landing")
    assert np.array_equal(read.cells_dict["tetra10"], scene.mesh.tets)
    fields = scene.cases["landing"]
    assert read.point_data["landing_displacement_mm"] == pytest.approx(fields.displacement, rel=1e-6)
    reserve = read.point_data[names["reserve"]]
    assert np.isinf(fields.reserve).any()
    assert reserve.max() == 1e6
    assert reserve.min() == pytest.approx(fields.reserve.min(), rel=1e-6)
    assert np.array_equal(read.cell_data_dict["body"]["tetra10"], scene.mesh.body)


def test_field_file_tells_tensors_as_its_readers_take_them(scene, tmp_path):
    """Readers of the format take six components as xx yy zz xy yz xz: principal values must be the tensor's own."""
    import meshio
    import pyvista

    mixed = np.random.default_rng(2).normal(size=(len(scene.mesh.nodes), 6))
    shown = replace(scene, cases={"a": replace(scene.cases["landing"], stress=mixed)})
    path = write_fields(shown, tmp_path / "fields.vtu")
    v = meshio.read(path).point_data[field_names("a")["stress"]].astype(float)
    meant = np.linalg.eigvalsh(unpack_stress(mixed))
    assert np.abs(np.linalg.eigvalsh(v[:, [[0, 3, 5], [3, 1, 4], [5, 4, 2]]]) - meant).max() < 1e-5
    assert np.abs(np.linalg.eigvalsh(unpack_stress(v)) - meant).max() > 0.1  # the program's own order would not do
    array = pyvista.read(path).GetPointData().GetAbstractArray(field_names("a")["stress"])
    assert [array.GetComponentName(i) for i in range(6)] == ["xx", "yy", "zz", "xy", "yz", "xz"]


def test_any_name_of_a_case_makes_a_field_file_that_can_be_read(scene, tmp_path):
    import meshio

    names = ["<b> \"x\" & 'y'", "a\x1b[31m\n\t", "²"]
    fields = next(iter(scene.cases.values()))
    path = write_fields(replace(scene, cases=dict.fromkeys(names, fields)), tmp_path / "fields.vtu")
    read = {a.get("Name") for a in ElementTree.parse(path).iter("DataArray")}
    assert {"<b> \"x\" & 'y'_displacement_mm", "a\\x1b[31m\\n\\t_displacement_mm", "²_displacement_mm"} <= read
    assert len(meshio.read(path).point_data) == 4 * len(names)


@pytest.mark.parametrize(
    ("cell", "safe"),
    [
        ("=1+1", "'=1+1"),
        ("+a", "'+a"),
        ("-x", "'-x"),
        ("@a", "'@a"),
        ("-45", "-45"),
        ("+1e3", "+1e3"),
        ("a=1", "a=1"),
    ],
)
def test_no_cell_is_taken_for_a_formula(cell, safe):
    assert safe_cell(cell) == safe


def test_no_old_word_is_left_on_the_page(page):
    assert old_words(seen(page.raw)) == []


def test_an_old_word_would_be_seen():
    page = '<p>An <b>artefact</b>: it Fails&nbsp;fast.</p><img alt="Turn it over"><style>.skin {}</style>'
    assert old_words(seen(page)) == ["artefact", "turn it over"]
    assert old_words("The foundation, skinny and beatenly.") == []


def test_bead_axes_are_not_drawn_without_beads(page):
    assert CAPTION not in page.words
