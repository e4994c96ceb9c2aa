"""The commands, and the page that shows what was fitted."""

from __future__ import annotations

import re

import numpy as np
import pytest
from helpers_coupons import MACHINE, pulled, written

from fem.cli import main
from fem.study.own_card import make_card

TOML = f"""
date = 2026-11-20
from = "pa12-cf"
read = "crosshead"
machine_stiffness = "{MACHINE / 1000:g} kN/mm"
[batch.along]
file = "along.csv"
test = "tension"
direction = "along"
gauge_length = "25 mm"
width = "5 mm"
thickness = "2 mm"
[batch.peaks]
file = "peaks.csv"
test = "tension"
direction = "up"
gauge_length = "25 mm"
width = "5 mm"
thickness = "2 mm"
strength_only = true
"""


@pytest.fixture
def folder(tmp_path):
    rng = np.random.default_rng(1)
    written(tmp_path, "along.csv", [pulled(rng, E=5000, strength=50.0 + k, nu=0.37) for k in range(4)])
    (tmp_path / "peaks.csv").write_text("coupon,force [N]\n" + "".join(f"p{k},{150 + 5 * k}\n" for k in range(4)))
    (tmp_path / "coupons.toml").write_text(TOML)
    return tmp_path


def test_a_card_is_made_shown_and_read(folder, capsys):
    out = folder / "my-nylon.toml"
    assert main(["card", str(folder), "--name", "my-nylon", "--out", str(out)]) == 0
    told = capsys.readouterr().out
    assert re.search(r"tension up +4 +mean 15\.75 MPa", told)  # four peaks, 150 to 165 N over 10 mm²
    assert main(["cards", str(out)]) == 0
    assert "own coupons in tension, n = 4, 2026-11-20" in " ".join(capsys.readouterr().out.split())


def test_the_page_tells_values_and_draws_curves(folder):
    make_card(folder, name="my-nylon", out=folder / "mine.toml")
    page = (folder / "mine.html").read_text(encoding="utf-8")
    assert "5 of 21 values measured" in page  # E, nu12, tension and strain at break along, tension up
    assert "strain at break along" in page
    assert "strain_at_break" not in page
    assert "Batch along" in page
    assert page.count("data:image/svg+xml") == 2
    assert "Nothing was measured in the states conditioned, saturated" in page
    assert not re.search(r'(src|href)="https?:', page)


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        (["--name", "pla"], "ships with Beadwork"),
        (["--name", "../up"], "no name for a card"),
        (["--name", "mine", "--out", "mine.txt"], "ends in .toml"),
        (["--name", "mine", "--from", "steel"], "steel is a metal"),
        (["--name", "mine", "--from", "pa12-cg"], "no card is named"),
    ],
)
def test_slips_leave_with_status_2_and_one_line(folder, capsys, arguments, text, monkeypatch):
    monkeypatch.chdir(folder)
    assert main(["card", str(folder), *arguments]) == 2
    error = capsys.readouterr().err.strip()
    assert text in error
    assert "\n" not in error
    assert not list(folder.glob("*.html"))


def test_a_missing_folder_is_named(capsys, tmp_path):
    assert main(["card", str(tmp_path / "none"), "--name", "mine"]) == 2
    assert "there is no coupons.toml" in capsys.readouterr().err


def test_a_kit_from_the_command(tmp_path, capsys):
    assert main(["coupons", "--card", "petg", "--out", str(tmp_path / "kit")]) == 0
    out = capsys.readouterr().out
    assert "beadwork card" in out
    assert 'from = "petg"' in (tmp_path / "kit/coupons.toml").read_text()
    assert main(["coupons", "--out", str(tmp_path / "kit")]) == 2
    assert main(["coupons", "--card", "steel", "--out", str(tmp_path / "other")]) == 2
