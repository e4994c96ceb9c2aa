"""Study files: read, expanded, checked, some of them solved; each quantity against an independent reading."""

from __future__ import annotations

import math
import random
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

from fem.study.check import check_study
from fem.study.file import read_study, study_of
from fem.study.fingerprint import fingerprint
from fem.study.run import answer
from fem.study.run import prepare as prepared
from fem.study.variants.expand import count_variants, expand
from fuzzing.damage import NASTY, damaged_bytes, damaged_text, quoted, varied_text
from fuzzing.doors import READ, REFUSED, Wrong, refused, tried
from fuzzing.drawn import drawn_solids
from fuzzing.meaning import difference, unread, with_plain_numbers

STUDY = """
title = "Bar"
question = "Does it hold?"
[bodies.bar]
solid = "drilled.step"
mesh = { size = "8 mm" }
[bodies.bar.print]
polymer = "pa12-cf"
build_direction = [0, 0, 1]
bead = { width = "0.5 mm", height = "0.2 mm" }
walls = 2
covers = 3
raster = [45, -45]
infill = "solid"
speed = "60 mm/s"
[faces]
foot = { plane = { normal = [0, 0, -1], at = "min" } }
head = { plane = { normal = [0, 0, 1], at = "8 mm" } }
bore = { cylinder = { radius = "3 mm", axis = [0, 0, 1] } }
side = { plane = { normal = [1, 0, 0] }, cut = { low = ["-1 mm", "2 mm", "2 mm"], high = ["99 mm", "9 mm", "6 mm"] } }
[supports.foot]
face = "foot"
fixed = ["x", "y", "z"]
[loads.push]
face = "head"
force = ["12.5 N", "-40 N", "0.1 kN"]
[loads.pin]
face = "bore"
bearing = ["0.05 kN", "0 N", "0 N"]
[loads.water]
face = "side"
pressure = "0.2 MPa"
[loads.weight]
acceleration = ["0 m/s^2", "0 m/s^2", "-9.81 m/s^2"]
[loads.heat]
temperature_change = { by = "20 K" }
[cases]
service = { push = 1.0, pin = 1.5, weight = 1.0 }
storm = { push = 2.5, water = -1.0, heat = 1.0 }
[points]
tip = ["20 mm", "12 mm", "8 mm"]
[watch]
faces = ["head"]
[requirements]
reserve = 1.5
displacement = { head = "0.5 mm" }
mass = "20 g"
[judge]
zoom = 2
whole = false
voxel = "0.125 mm"
"""
OTHER = """
title = "Lid"
[bodies.lid]
solid = "angle.stl"
unit = "mm"
metal = "6082-t6"
[faces.wall]
plane = { normal = [-1, 0, 0] }
[faces.top]
near = ["1.5 mm", "4 mm", "18 mm"]
[supports.wall]
face = "wall"
foundation = { normal = "400 N/mm^3", tangential = "80 N/mm^3", push_only = false }
[supports.spring]
face = "top"
spring = "200 N/mm"
[loads.water]
face = "top"
pressure = { at_zero = ["0 mm", "0 mm", "20 mm"], gradient = "10 kPa/m", direction = [0, 0, -1] }
[loads.twist]
face = "top"
wrench = { force = ["0 N", "3 N", "0 N"], moment = ["0 N*m", "0 N*m", "0.4 N*m"], at = ["10 mm", "4 mm", "18 mm"] }
[variants.thick]
"bodies.lid.mesh.size" = "5 mm"
[variants.soft]
"supports.wall.foundation.normal" = "100 N/mm^3"
[sweep]
"loads.water.pressure.gradient" = ["5 kPa/m", "20 kPa/m"]
"""
MOST_CHECKED = 300
"""Variants up to which all of them are spelled out here."""


def prepare(folder: Path) -> dict[str, Any]:
    drawn_solids(folder)
    out = {}
    for name, text in (("drilled", STUDY), ("angle", OTHER)):
        (folder / "study.toml").write_text(text, encoding="utf-8")
        study = read_study(folder / "study.toml")
        out[name] = (text, study, check_study(study))
    return {"studies": out, "solids": folder}


def spoilt(chance: random.Random, base: dict[str, Any], folder: Path) -> tuple[Path, str]:
    """A damaged study in `folder`, with its solids; and the name of the sound one."""
    own = chance.choice(sorted(base["studies"]))
    text = base["studies"][own][0]
    for solid in base["solids"].glob("*.st*"):
        (folder / solid.name).write_bytes(solid.read_bytes())
    way = chance.random()
    if way < 0.25:
        raw = damaged_bytes(chance, text.encode())
    elif way < 0.32:
        raw = _vast(chance, text).encode("utf-8", "surrogatepass")
    else:
        raw = chance.choice((damaged_text, varied_text))(chance, text).encode("utf-8", "surrogatepass")
    path = folder / chance.choice(("study.toml", "study.toml", "[bold]s.toml", "ä .toml", "\x1b[31m.toml"))
    path.write_bytes(raw)
    return path, own


def case(chance: random.Random, base: dict[str, Any], folder: Path) -> str:
    """The study is refused, or says what its text says and is checked and solved without contradiction."""
    path, own = spoilt(chance, base, folder)
    text, whole, answer = base["studies"][own]
    study = tried(lambda: read_study(path))
    if refused(study):
        return REFUSED
    tree, before = tomllib.loads(path.read_text(encoding="utf-8-sig")), tomllib.loads(text)
    _compare(study, tree, before, whole)
    if count_variants(study) > MOST_CHECKED:
        return READ
    if count_variants(study):
        tried(lambda: expand(study))
    if any(b.print is not None and b.print.infill_pattern != "solid" for b in study.bodies.values()):
        return READ  # to solve a cell takes its time
    checked = tried(lambda: check_study(study))
    if refused(checked):
        return REFUSED
    if tree == before and not _near(checked.totals, answer.totals):
        raise Wrong(f"the text means the same, but the answer differs: {checked.totals} / {answer.totals}")
    _totals(checked)
    if sum(checked.unknowns.values()) < 8000 and chance.random() < 0.3:
        _solved(study)
    return READ


def _compare(study: Any, tree: Any, before: Any, whole: Any) -> None:
    """The study that was read says what its text says."""
    if odd := unread(tree, before):
        raise Wrong(f"a quantity was read that has no one reading: {odd}")
    plain = tried(lambda: study_of(with_plain_numbers(tree), file=study.path, text="plain"))
    if refused(plain):
        raise Wrong(f"written plainly it is refused: {plain}")
    if told := difference(_nouns(study), _nouns(plain)):
        raise Wrong(f"a quantity was read otherwise than it is meant: {told}")
    same = fingerprint(study) == fingerprint(whole)
    if (same or tree == before) and (told := difference(_nouns(study), _nouns(whole))):
        raise Wrong(f"the text, or its fingerprint, is the same, but the study differs: {told}")


def _near(one: Any, other: Any) -> bool:
    a, b = (np.array([np.concatenate(each[name]) for name in other]) for each in (one, other))
    return list(one) == list(other) and bool(np.abs(a - b).max() <= 1e-9 * np.abs(b).max())


def _nouns(study: Any) -> dict[str, Any]:
    names = ("bodies", "faces", "supports", "loads", "cases", "points", "watch", "solver")
    return {name: getattr(study, name) for name in names}


def _totals(checked: Any) -> None:
    """Each case's total force is the sum of its forces as the study gives them."""
    study = checked.study
    for case, factors in study.cases.items():
        simple = all(study.loads[k].kind in ("force", "bearing", "temperature_change") for k in factors)
        if not simple:
            continue
        wanted = np.zeros(3)
        for name, factor in factors.items():
            if study.loads[name].kind != "temperature_change":
                what = study.loads[name].what
                wanted = wanted + factor * np.array(getattr(what, study.loads[name].kind))
        force = checked.totals[case][0]
        size = max(sum(abs(f) for f in factors.values()), 1e-300) * max(
            [float(np.linalg.norm(getattr(study.loads[k].what, study.loads[k].kind, (0,)))) for k in factors],
            default=0,
        )
        heat = any(study.loads[k].kind == "temperature_change" for k in factors)
        if not heat and np.linalg.norm(force - wanted) > 1e-6 * size:
            raise Wrong(f"case {case}: total {force}, but its forces are {wanted}")


def _solved(study: Any) -> None:
    judged = tried(lambda: answer(prepared(study)))
    if refused(judged):
        return
    for name, found in judged.findings.cases.items():
        numbers = [found.maximum_displacement_mm, *found.applied_N, *found.reaction_N, found.strain_energy_mJ]
        if not all(map(math.isfinite, numbers)) or math.isnan(found.reserve.minimum) or found.reserve.minimum < 0:
            raise Wrong(f"case {name}: {numbers}, reserve {found.reserve.minimum}")


def _vast(chance: random.Random, text: str) -> str:
    way = chance.randrange(5)
    if way == 0:
        return (
            text
            + "[sweep]\n".join(["", ""])
            + "".join(f'"bodies.bar.print.{key}" = {list(range(100))}\n' for key in ("walls", "covers", "raster"))
        )
    if way == 1:
        return text.replace(
            "[cases]", "".join(f'[faces."f{i}"]\nnear = ["1 mm","1 mm","1 mm"]\n' for i in range(3000)) + "[cases]"
        )
    if way == 2:
        return text.replace("title = ", f"title = {quoted(chance.choice(NASTY) * 500)}\n#")
    if way == 3:
        return text + "".join(f"[variants.v{i}]\n" for i in range(chance.choice((100, 30_000))))
    return text + "#" * chance.choice((10_000, 5_000_000))
