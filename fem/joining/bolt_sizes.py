"""Sizes and grades of metric bolts, read from the tables of their standards (standards.toml).

What follows from a thread's diameter and pitch is computed: ISO 724 (diameters), ISO 898-1 (stress area).
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from fem.errors import InputError, nearest, shown

STANDARDS = Path(__file__).parent / "standards.toml"
HEAD_SHAPES = ("socket", "hexagon")
WASHERS = ("none", "plain", "large")


@dataclass(frozen=True)
class Thread:
    """An ISO metric thread: `diameter` d and `pitch` P [mm]; all else follows by ISO 724 and ISO 898-1.

    Errors: InputError for a pitch that leaves no core.
    """

    diameter: float
    pitch: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.diameter) and 0 < self.pitch < self.diameter / 2):
            raise InputError(f"no thread has a diameter of {self.diameter:g} mm and a pitch of {self.pitch:g} mm.")

    @property
    def pitch_diameter(self) -> float:
        """d2 = d - 3/4 H [mm], H the height of the sharp triangle."""
        return self.diameter - 0.75 * self.height

    @property
    def inner_diameter(self) -> float:
        """D1 = d - 5/4 H [mm], to which a nut's thread reaches in."""
        return self.diameter - 1.25 * self.height

    @property
    def core_diameter(self) -> float:
        """d3 = d - 17/12 H [mm], the root of the bolt's thread."""
        return self.diameter - 17 / 12 * self.height

    @property
    def height(self) -> float:
        """Height of the sharp triangle of 60 degrees [mm]."""
        return math.sqrt(3) / 2 * self.pitch

    @property
    def stress_diameter(self) -> float:
        """d0 = (d2 + d3) / 2 [mm], of the cylinder that is as strong as the thread."""
        return (self.pitch_diameter + self.core_diameter) / 2

    @property
    def stress_area(self) -> float:
        """As [mm^2] (ISO 898-1)."""
        return circle(self.stress_diameter)

    @property
    def core_area(self) -> float:
        """Area [mm^2] at the root of the thread."""
        return circle(self.core_diameter)

    @property
    def shank_area(self) -> float:
        """Area [mm^2] of a shank of the nominal diameter."""
        return circle(self.diameter)


@dataclass(frozen=True)
class Head:
    """A bolt's head: `shape` (HEAD_SHAPES), `bearing_diameter` dw and `height` [mm]."""

    shape: str
    bearing_diameter: float
    height: float


@dataclass(frozen=True)
class Washer:
    """`inner` and `outer` diameter, `thickness` [mm]."""

    inner: float
    outer: float
    thickness: float


@dataclass(frozen=True)
class Nut:
    """`height`, width `across_flats`, `bearing_diameter` [mm]."""

    height: float
    across_flats: float
    bearing_diameter: float


@dataclass(frozen=True)
class BoltSize:
    """All that standards say of one size: `heads` and `washers` by name, `clearance_hole` [mm] of medium fit, the
    `nut`; `sources` by table, `from_memory` the values ("large_washer") that were not seen in print."""

    name: str
    thread: Thread
    heads: dict[str, Head]
    washers: dict[str, Washer]
    clearance_hole: float
    nut: Nut
    sources: dict[str, str]
    from_memory: tuple[str, ...]


@dataclass(frozen=True)
class Grade:
    """What a grade of bolts bears: `ultimate` Rm, `yield_stress` Rp0.2, `proof_stress` Sp [MPa] (None where the
    standard sets none: Rp0.2 stands for it), `modulus` [MPa], `expansion` [1/K], `thread_shear` the shear strength of
    its thread over Rm; `from_memory` and `estimates` name the values that are so."""

    name: str
    ultimate: float
    yield_stress: float
    proof_stress: float | None
    modulus: float
    expansion: float
    thread_shear: float
    source: str
    from_memory: tuple[str, ...]
    estimates: tuple[str, ...]

    @property
    def bears(self) -> float:
        """Proof stress, or Rp0.2 where there is none [MPa]."""
        return self.yield_stress if self.proof_stress is None else self.proof_stress


def circle(diameter: float) -> float:
    """Area [mm^2] of a circle."""
    return math.pi / 4 * diameter**2


def bolt_size_names() -> tuple[str, ...]:
    """Names of the sizes, small to large."""
    return tuple(name for name in _standards()["pitch"] if name.startswith("M"))


def grade_names() -> tuple[str, ...]:
    """Names of the grades."""
    return tuple(_standards()["grades"])


def bolt_size(name: str, *, where: str = "") -> BoltSize:
    """What standards say of a size ("M8"). Errors: InputError with the nearest sizes when it is not among them."""
    if name not in bolt_size_names():
        raise InputError(
            f"there is no bolt of size {shown(name)}.", where=where, advice=_near(name, bolt_size_names())
        )
    tables = _standards()
    rows = {key: _row(table, name) for key, table in tables.items() if key not in ("grades", "pitch")}
    return BoltSize(
        name=name,
        thread=Thread(float(name[1:]), tables["pitch"][name]),
        heads={shape: Head(shape, **rows[f"{shape}_head"]) for shape in HEAD_SHAPES},
        washers={kind: Washer(**rows[f"{kind}_washer"]) for kind in WASHERS[1:]},
        clearance_hole=tables["clearance_hole"][name],
        nut=Nut(**rows["nut"]),
        sources={key: table["source"] for key, table in tables.items() if key != "grades"},
        from_memory=tuple(_remembered(tables, name)),
    )


def bolt_grade(name: str, *, where: str = "") -> Grade:
    """What a grade ("A4-80") bears. Errors: InputError with the nearest grades when it is not among them."""
    if name not in grade_names():
        raise InputError(f"there is no grade {shown(name)}.", where=where, advice=_near(name, grade_names()))
    values = dict(_standards()["grades"][name])
    remembered, estimates = tuple(values.pop("from_memory")), tuple(values.pop("estimates"))
    proof = values.pop("proof_stress", None)
    return Grade(name=name, proof_stress=proof, from_memory=remembered, estimates=estimates, **values)


def _near(name: object, names: tuple[str, ...]) -> str:
    """The sizes or grades next to a name, by number where it has one."""
    text = str(name).strip()
    if text[:1] in ("M", "m") and names[0].startswith("M"):
        try:
            size = float(text[1:].split("x")[0].split("×")[0])
        except ValueError:
            size = math.nan
        if math.isfinite(size):
            by_distance = sorted(names, key=lambda known: abs(float(known[1:]) - size))
            fine = " Threads are of the coarse series." if "x" in text or "×" in text else ""
            return f"Nearest: {by_distance[0]}.{fine} Known: {', '.join(names)}."
    return nearest(text, names)


def _row(table: dict[str, Any], name: str) -> dict[str, float]:
    return dict(zip(table["columns"], table[name], strict=True)) if "columns" in table else {}


def _remembered(tables: dict[str, Any], name: str) -> list[str]:
    """Tables, or their columns, that are from memory for this size."""
    out = []
    for key, table in tables.items():
        if key == "grades":
            continue
        told = table["from_memory"]
        out += [key] if name in told else [f"{key}.{column}" for column in told if column in table.get("columns", ())]
    return out


@cache
def _standards() -> dict[str, Any]:
    return tomllib.loads(STANDARDS.read_text(encoding="utf-8"))
