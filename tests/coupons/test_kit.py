"""A kit is written, reads back, and becomes a card once its tables are filled in."""

from __future__ import annotations

import numpy as np
import pytest
from helpers_coupons import MACHINE, pulled, written

from fem.coupons.card_file import own_card, write_card
from fem.coupons.kinds import KINDS
from fem.coupons.kit import write_kit
from fem.coupons.reading import read_coupons
from fem.coupons.shapes import SHAPES
from fem.errors import CardError, InputError


@pytest.fixture
def kit(tmp_path):
    return write_kit(tmp_path / "kit", card="pa12-cf")


def test_every_file_is_there(kit):
    there = {path.name for path in kit.folder.iterdir()}
    assert there == set(kit.files)
    assert {"coupons.toml", "README.txt"} <= there
    for kind in KINDS:
        assert {kind.solid, f"{kind.batch}.csv"} <= there
        assert kit.volumes[kind.solid] == pytest.approx(SHAPES[kind.shape].volume, rel=1e-6)
        assert "[N]" in (kit.folder / f"{kind.batch}.csv").read_text()


def test_an_empty_kit_says_so(kit):
    with pytest.raises(InputError, match="no table holds measurements yet"):
        read_coupons(kit.folder)


def test_a_filled_kit_becomes_a_card(kit, tmp_path):
    rng = np.random.default_rng(4)
    text = (kit.folder / "coupons.toml").read_text()
    text = text.replace('date = ""', "date = 2026-11-20").replace("# machine_st", "machine_st")
    text = text.replace("8 kN/mm", f"{MACHINE / 1000:g} kN/mm").replace('width = "10 mm"', 'width = "10.05 mm"')
    text = text.replace('read = "coupon"', 'read = "crosshead"')
    (kit.folder / "coupons.toml").write_text(text)
    size = {"length": SHAPES["1A"].between_grips(115.0), "area": 10.05 * 4}
    written(kit.folder, "along.csv", [pulled(rng, E=5000, strength=50.0, nu=0.37, **size) for _ in range(5)])
    written(
        kit.folder,
        "up.csv",
        [pulled(rng, E=1700, strength=17.0, length=SHAPES["1BA"].between_grips(60.0)) for _ in range(5)],
    )
    bench = read_coupons(kit.folder)
    assert {batch.name for batch in bench.batches} == {"along", "up"}
    assert bench.base == "pa12-cf"
    card = own_card(bench, name="mine")
    state = write_card(card, tmp_path / "mine.toml").states["dry"]
    assert state.E[0] == pytest.approx(5000, rel=0.01)
    assert state.nu[0] == pytest.approx(0.37, rel=0.01)
    assert (state.E[2], state.tension[2]) == (pytest.approx(1700, rel=0.01), pytest.approx(17, rel=0.01))
    assert any("section" in c.text and "as drawn" in c.text for c in card.cautions)  # up's sizes were left as drawn
    assert not any("along" in c.text and "as drawn" in c.text for c in card.cautions)


def test_a_kit_is_never_written_over_tables(kit):
    with pytest.raises(InputError, match="already"):
        write_kit(kit.folder, card="pa12-cf")


def test_a_kit_is_of_a_polymer(tmp_path):
    with pytest.raises(CardError, match="steel is a metal"):
        write_kit(tmp_path / "kit", card="steel")


def test_the_readme_lets_expect_the_load_of_the_card(kit):
    text = (kit.folder / "README.txt").read_text()
    assert "along: 5 x 1A.step (170 x 20 x 4 mm). Gives: E, tension" in text
    assert "About 2.4 kN" in text  # 60 MPa over 10 x 4 mm
    assert "About 190 N" in text  # 19 MPa over 5 x 2 mm
    assert "STAYS AN ESTIMATE" in text
