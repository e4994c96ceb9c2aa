"""`beadwork orient` from end to end: what it prints, and what its files hold."""

from __future__ import annotations

import csv

import pytest
from scanned_bars import BENT, LONG, write

from fem.cli import main


def test_the_command_prints_and_writes(tmp_path, capsys):
    path = write(tmp_path, BENT.replace("6 mm", "12 mm"), length=LONG)
    out = tmp_path / "out"
    assert main(["orient", str(path), "--directions", "6", "--jobs", "1", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "highest reserve factor" in said and "overhang [mm²]" in said and "orientation.html" in said
    with open(out / "orientation.csv", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 6 + 3 + 18
    assert {r["kind"] for r in rows} == {"scan", "axis", "study", "refined"}
    along = next(r for r in rows if float(r["direction_x"]) == 1)
    assert float(along["height_mm"]) == pytest.approx(LONG, rel=1e-6)
    page = (out / "orientation.html").read_text(encoding="utf-8")
    assert along["in_words"] in page and "Bar &lt;of&gt; tests" in page
    assert (out / "orientation.png").read_bytes().startswith(b"\x89PNG")
