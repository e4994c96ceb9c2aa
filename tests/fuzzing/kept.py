"""Kept files: every change of findings, variants, directions, comparisons and cells must be noticed."""

from __future__ import annotations

import random
import re
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from fem.judging.choice import VariantNumbers, compare
from fem.judging.choice_file import read_choice, write_choice
from fem.judging.findings import read_findings, write_findings
from fem.judging.orientation import DirectionNumbers
from fem.printing.infill import store
from fem.study.file import read_study
from fem.study.fingerprint import fingerprint_of_all, shown_digests
from fem.study.machine import program_version
from fem.study.orientation import store as directions
from fem.study.review import find_comparison, what_is_missing
from fem.study.run import answer
from fem.study.run import prepare as prepared
from fem.study.variants import store as variants
from fem.study.variants.expand import expand
from fuzzing.damage import EXTREME, damaged_bytes, damaged_text
from fuzzing.doors import READ, REFUSED, Wrong, refused, tried
from fuzzing.drawn import drawn_solids
from fuzzing.studies import STUDY

CELL = {"pattern": "grid", "density": 0.3}
WAYS = ((0.0, 0.0, 1.0), (0.0, 1.0, 0.0))
VARIANTS = (
    STUDY.replace("zoom = 2", "zoom = 0")
    + '[variants.thin]\n"bodies.bar.print.walls" = 1\n[variants.plain]\nreference = true\n'
)


def prepare(folder: Path) -> Path:
    """One results folder with a file of each kind, as the program leaves it."""
    drawn_solids(folder)
    (folder / "study.toml").write_text(VARIANTS, encoding="utf-8")
    out = folder / "out"
    (out / "pictures").mkdir(parents=True)
    (out / "pictures" / "a.png").write_bytes(b"a picture")
    (out / "fields.vtu").write_bytes(b"fields")
    study = read_study(folder / "study.toml")
    found = replace(answer(prepared(study)).findings, files=shown_digests(out))
    write_findings(found, out / "findings.json")
    keeps = variants.VariantStore(out)
    each = {v.name: v.study for v in expand(study)}
    made = {name: keeps.keep(own, answer(prepared(own)).findings) for name, own in each.items()}
    numbers = [
        VariantNumbers(
            name, {}, mass_g=10.0, reserve=2.0, deflection_mm=0.2, reference=name == "plain",
            findings_file=str(keeps.path_of(told, name).relative_to(out)),
        )
        for name, told in made.items()
    ]  # fmt: skip
    whole = compare(numbers, title="Bar", question="?", required_reserve=1.5, sweep={})
    whole = replace(whole, beadwork=program_version(), fingerprint=fingerprint_of_all(study, each))
    write_choice(whole, out / "comparison.json")
    scanned = directions.DirectionStore(out, mark="mark")
    for i, way in enumerate(WAYS):
        scanned.write(way, DirectionNumbers(way, reserve=1.5 + i, mode="tension 1", at_mm=(1.0, 2.0, 3.0)))
    store.save(folder / "cells", CELL, ({"stiffness": np.arange(36.0).reshape(6, 6)}, {"moves": 0.01}))
    return folder


def spoilt(chance: random.Random, base: Path, folder: Path) -> Path | None:
    """The results folder with one file damaged or in another's place; None where it came out as it was."""
    shutil.copytree(base, folder, dirs_exist_ok=True)
    out = folder / "out"
    files = sorted([*out.rglob("*.json"), *(folder / "cells").glob("*"), out / "pictures" / "a.png"])
    victim = chance.choice(files)
    whole = victim.read_bytes()
    if chance.random() < 0.1:
        victim.write_bytes(chance.choice(files).read_bytes())
    else:
        victim.write_bytes(_damaged(chance, victim, whole))
    return None if victim.read_bytes() == whole else victim


def case(chance: random.Random, base: Path, folder: Path) -> str:
    """Each door must tell of the damage, or find another file of the same content."""
    victim = spoilt(chance, base, folder)
    if victim is None:
        return READ
    before, after = _told_before(base), _told(folder)
    changed = [name for name in before if _text(before[name]) != _text(after[name])]
    if "findings" in changed and after["results"] is None and victim.read_bytes() in _sound(base):
        after["findings"] = None  # a whole file of another study is read; that it is not of this one shows elsewhere
    for name in changed:
        if after[name] is not None and not refused(after[name]):
            raise Wrong(f"{victim.relative_to(folder)} was changed, and {name} gives another answer: {after[name]}")
    if not changed:
        raise Wrong(f"{victim.relative_to(folder)} was changed, and nobody noticed")
    return REFUSED


def _sound(base: Path) -> list[bytes]:
    return [path.read_bytes() for path in (base / "out").rglob("*.json")]


def _damaged(chance: random.Random, file: Path, whole: bytes) -> bytes:
    if file.suffix != ".json" or chance.random() < 0.4:
        return damaged_bytes(chance, whole)
    text = whole.decode("utf-8")
    if chance.random() < 0.4:
        return damaged_text(chance, text).encode("utf-8", "replace")
    places = [m.span() for m in re.finditer(r"-?\d+(\.\d+)?([eE][+-]?\d+)?|true|false|null|\"unlimited\"", text)]
    start, end = chance.choice(places)
    return (text[:start] + chance.choice((*EXTREME, "931", "null", '"unlimited"', "false")) + text[end:]).encode()


@cache
def _told_before(base: Path) -> dict[str, Any]:
    return _told(base)


def _told(folder: Path) -> dict[str, Any]:
    """What each door gives: None or a refusal where it noticed something."""
    out = folder / "out"
    study = read_study(folder / "study.toml")
    each = {v.name: v.study for v in expand(study)}
    scanned = directions.DirectionStore(out, mark="mark")
    found: dict[str, Any] = {
        "findings": tried(lambda: read_findings(out / "findings.json")),
        "comparison": tried(lambda: read_choice(out / "comparison.json")),
        "cell": store.load(folder / "cells", CELL),
        "results": None if what_is_missing(study, out) else "hold",
    }
    comparison, reference, remark = find_comparison(study, out)
    found["taken"] = (
        (comparison, reference and reference.findings.cases) if comparison is not None and not remark else None
    )
    copy = folder / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(out, copy)  # what is found is told anew under its name
    for name, own in each.items():
        found[f"variant {name}"] = tried(lambda own=own: variants.VariantStore(copy).find(own))
    variants.VariantStore(out).not_taken()
    for way in WAYS:
        found[f"direction {way}"] = scanned.read(way, "scan")
    scanned.not_taken()
    return found


def _text(value: Any) -> str:
    return "refused" if refused(value) else repr(value)
