"""Which way to build it: build directions over the half sphere, what each gives, and which stand out.

A direction and its opposite lay the same beads (with raster and infill angles negated, which for a raster of +45 and
-45 degrees changes nothing), so that they have one reserve factor and one deflection; what hangs over differs, and is
given for both. The nouns are plain numbers; the verbs are pure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from fem.caution import Caution
from fem.digits import reserve_text
from fem.tensors import Array, unit

Vector = tuple[float, ...]
AXES = "xyz"
APART = 20.0
"""Two directions nearer than this [degrees] count as one when the best are named."""
NEARLY = 0.9
"""Where no direction meets all that is asked for, those with at least this share of the best reserve factor are
compared by what they cost in support."""


@dataclass(frozen=True)
class DirectionNumbers:
    """What one build direction gives.

    `direction` (3,) of length one in part axes; `kind` is "scan", "refined", "axis", "flat" (a large flat lies
    on the bed) or "study" (the study's own).
    `reserve` is the minimum over the cases, in `reserve_case`, by `mode` in the `zone` at `at_mm`; `reserve_away` the
    minimum away from singularities. They bear no band: what their one mesh is off by, all directions on it have in
    common. `deflection_mm` is the largest over the cases, `interlayer_MPa` the largest tension between layers at the
    cases' own loads. `displacement_mm`, `rotation_deg` by watched face. `overhang_mm2` hangs over when it is built
    along `direction`, `overhang_opposite_mm2` along the opposite. `missed` says which requirements are not met, in
    words; `error` why the direction was not computed ("": it was).
    """

    direction: Vector
    kind: str = "scan"
    error: str = ""
    reserve: float = math.inf
    reserve_away: float = math.inf
    reserve_case: str = ""
    mode: str = ""
    zone: str = ""
    at_mm: Vector = ()
    deflection_mm: float = 0.0
    deflection_case: str = ""
    interlayer_MPa: float = 0.0
    interlayer_case: str = ""
    displacement_mm: dict[str, float] = field(default_factory=dict)
    rotation_deg: dict[str, float] = field(default_factory=dict)
    overhang_mm2: float = 0.0
    overhang_opposite_mm2: float = 0.0
    height_mm: float = 0.0
    mass_g: float = 0.0
    time_h: float = 0.0
    cost: float = 0.0
    missed: tuple[str, ...] = ()

    @property
    def advised(self) -> float:
        """The reserve factor that directions are ranked by: away from singular places, where any is left."""
        return self.reserve if math.isinf(self.reserve_away) else self.reserve_away

    @property
    def support_mm2(self) -> float:
        """What hangs over, built the better way up."""
        return min(self.overhang_mm2, self.overhang_opposite_mm2)

    @property
    def build_direction(self) -> Vector:
        """The direction, or its opposite where less hangs over then."""
        turned = self.overhang_opposite_mm2 < self.overhang_mm2 - 1e-9
        return tuple(-v + 0.0 for v in self.direction) if turned else self.direction


@dataclass(frozen=True)
class Pick:
    """A direction that stands out: `why` in words; `scanned` its numbers on the scan's mesh, `own` those on the
    study's own mesh by which it was chosen (None: the scan's mesh was that one).
    """

    why: tuple[str, ...]
    scanned: DirectionNumbers
    own: DirectionNumbers | None = None

    @property
    def numbers(self) -> DirectionNumbers:
        """The more trustworthy of the two."""
        return self.scanned if self.own is None or self.own.error else self.own


@dataclass(frozen=True)
class Orientation:
    """A scan of build directions of `body`.

    `axis` (0, 1, 2) is the part axis that the half sphere is seen along. `directions` are all that were looked at on
    a mesh of `unknowns` and elements of `size_mm`, the first `spread` of them evenly; `coarser` tells whether that
    mesh is coarser than the study's own. `picks` are the best few and the study's own direction.
    """

    title: str
    question: str
    body: str
    required_reserve: float
    reserve_asked: bool
    axis: int
    directions: tuple[DirectionNumbers, ...]
    spread: int
    size_mm: float
    unknowns: int
    coarser: bool
    own_unknowns: int
    picks: tuple[Pick, ...]
    reason: str
    mirrored: bool
    cautions: tuple[Caution, ...] = ()
    beadwork: str = ""
    seconds: float = 0.0

    @property
    def answered(self) -> tuple[DirectionNumbers, ...]:
        """The directions that were computed."""
        return tuple(d for d in self.directions if not d.error)


# ---- directions


def half_sphere(count: int, *, axis: int) -> Array:
    """Directions (count, 3) spread evenly over the half sphere around a part axis: a spiral whose turns are the
    golden angle and whose heights are evenly spaced, so that each has the same area to itself.

    Source: R. Swinbank and R. J. Purser, Q. J. R. Meteorol. Soc. 132 (2006) 1769.
    """
    height = 1 - (np.arange(count) + 0.5) / count
    radius = np.sqrt(1 - height**2)
    turn = np.arange(count) * np.pi * (3 - np.sqrt(5.0))
    local = np.column_stack([radius * np.cos(turn), radius * np.sin(turn), height])
    return local[:, np.argsort([(axis + 1) % 3, (axis + 2) % 3, axis])]


def spacing(count: int) -> float:
    """Angle [rad] between neighbours of so many directions spread over the half sphere, as if in a triangular net."""
    return math.sqrt(2 * math.pi / count * 2 / math.sqrt(3))


def ring(centre: Iterable[float], *, angle: float, count: int = 6, axis: int) -> Array:
    """Directions (count, 3) at an angle [rad] around a centre, each turned into the half sphere around `axis`."""
    up = unit(np.asarray(tuple(centre), dtype=float))
    side = np.eye(3)[int(np.abs(up).argmin())]
    first = unit(side - (side @ up) * up)
    second = np.cross(up, first)
    turn = 2 * np.pi * np.arange(count) / count
    around = np.cos(turn)[:, None] * first + np.sin(turn)[:, None] * second
    return upper(np.cos(angle) * up + np.sin(angle) * around, axis=axis)


def upper(directions: Array, *, axis: int) -> Array:
    """Directions (k, 3), those below the half sphere around `axis` replaced by their opposites."""
    return np.where(directions[:, axis : axis + 1] < 0, -directions, directions) + 0.0


def angle_between(a: Iterable[float], b: Iterable[float]) -> float:
    """Angle [degrees] between two build axes, 0 to 90: a direction and its opposite are one axis."""
    first, second = unit(tuple(a)), unit(tuple(b))
    return math.degrees(math.atan2(float(np.linalg.norm(np.cross(first, second))), abs(float(first @ second))))


def direction_words(direction: Iterable[float]) -> str:
    """A direction in words: "along z", "30° from z towards -x", "30° from z towards x, 20° round to -y"."""
    d = unit(tuple(direction))
    main = int(np.abs(d).argmax())
    name = _axis_name(main, d[main])
    tilt = math.degrees(math.acos(min(1.0, abs(float(d[main])))))
    if tilt < 0.5:
        return f"along {name}"
    others = [(i, float(d[i])) for i in range(3) if i != main]
    others.sort(key=lambda item: -abs(item[1]))
    (near, much), (far, less) = others
    aside = math.degrees(math.atan2(abs(less), abs(much)))
    if aside < 0.5:
        return f"{tilt:.0f}° from {name} towards {_axis_name(near, much)}"
    return f"{tilt:.0f}° from {name} towards {_axis_name(near, much)}, {aside:.0f}° round to {_axis_name(far, less)}"


def _axis_name(axis: int, sign: float) -> str:
    return ("-" if sign < 0 else "") + AXES[axis]


def vector_text(direction: Iterable[float]) -> str:
    """A direction as the study file takes it: "[0.5, 0, 0.866]"."""
    return "[" + ", ".join(f"{round(v, 4) + 0.0:g}" for v in direction) + "]"


def mirrored_alike(raster: Sequence[float], *, pattern: str, infill_angle: float) -> bool:
    """Whether a part turned upside down has the same beads with the plan unchanged: raster and infill angles
    [degrees] negated are the same set.
    """
    own = sorted(round(a % 180, 6) % 180 for a in raster)
    other = sorted(round(-a % 180, 6) % 180 for a in raster)
    # Under a half turn about the raster's zero a lattice comes to lie at minus its angle; by its symmetry in the
    # layer that may be the lattice itself
    period = {"solid": 0.0, "woodpile": 90.0, "grid": 90.0, "gyroid": 90.0, "triangle": 60.0, "honeycomb": 60.0}
    turn = period.get(pattern)
    if turn is None:
        return False
    same = turn == 0.0 or min((2 * infill_angle) % turn, -(2 * infill_angle) % turn) < 1e-6
    return own == other and same


# ---- which stand out


def leaders(directions: Sequence[DirectionNumbers], *, count: int, apart: float = APART) -> list[DirectionNumbers]:
    """The directions with most in reserve away from singular places, no two nearer than `apart` [degrees]; equal ones
    by less deflection.
    """
    order = sorted((d for d in directions if not d.error), key=lambda d: (-d.advised, d.deflection_mm))
    kept: list[DirectionNumbers] = []
    for d in order:
        if len(kept) < count and all(angle_between(d.direction, k.direction) > apart for k in kept):
            kept.append(d)
    return kept


def contenders(
    directions: Sequence[DirectionNumbers], *, required: float, asked: bool, count: int, apart: float
) -> list[DirectionNumbers]:
    """The directions of a scan that are worth a finer mesh: what stands out, the study's own, and `count` leaders no
    two nearer than `apart` [degrees].
    """
    first = [p.scanned for p in picks_of(directions, required=required, asked=asked)]
    led = leaders(directions, count=count, apart=apart)
    return [*first, *(d for d in led if d not in first)]


def picks_of(directions: Sequence[DirectionNumbers], *, required: float, asked: bool) -> tuple[Pick, ...]:
    """The directions that stand out, each once with all that it stands out for, and the study's own last."""
    known = [d for d in directions if not d.error]
    if not known:
        return ()
    chosen: dict[int, list[str]] = {}

    def note(d: DirectionNumbers, why: str) -> None:
        chosen.setdefault(known.index(d), []).append(why)

    first, *second = leaders(known, count=2)
    note(first, "highest reserve factor")
    meeting = [d for d in known if meets(d, required=required, asked=asked)]
    if meeting:
        cheapest = min(meeting, key=lambda d: (d.support_mm2, -d.advised))
        note(cheapest, "minimum overhang among directions that meet all requirements")
    else:
        fair = [d for d in known if d.advised >= NEARLY * first.advised]
        cheapest = min(fair, key=lambda d: (d.support_mm2, -d.advised))
        note(
            cheapest,
            f"minimum overhang among directions with at least {100 * NEARLY:.0f} % of the highest reserve factor",
        )
    note(min(known, key=lambda d: (d.deflection_mm, -d.advised)), "minimum deflection")
    if second:
        note(second[0], f"next highest reserve factor, more than {APART:.0f}° away")
    for d in known:
        if d.kind == "study":
            note(d, "the study's own direction")
    return tuple(Pick(tuple(why), known[i]) for i, why in chosen.items())


def meets(d: DirectionNumbers, *, required: float, asked: bool) -> bool:
    """Whether a direction meets all requirements; without a required reserve factor the usual target counts."""
    return not d.error and not d.missed and (asked or d.reserve >= required)


def reason_of(picks: Sequence[Pick], *, required: float, asked: bool) -> str:
    """Which way to build it and why, from the more trustworthy numbers, and how it compares with the study's own."""
    usable = [p.numbers for p in picks if not p.numbers.error]
    if not usable:
        return "No direction could be computed, so none can be named."
    meeting = [d for d in usable if meets(d, required=required, asked=asked)]
    most = max(usable, key=lambda d: (d.advised, -d.deflection_mm))
    limit = f"{required:g} {'required' if asked else 'taken as target, since the study requires none'}"
    if meeting:
        best = min(meeting, key=lambda d: (round(d.support_mm2), -d.advised))
        among = "has the minimum overhang among the directions listed here that meet all requirements"
        if len(meeting) == 1:
            among = "is the only one listed here that meets all requirements"
        text = f"Build the part {_told(best)}: this direction {among}, {_numbers(best)} ({limit})."
        if most is not best:
            text += f" The highest reserve factor has the direction {_told(most)}, {_numbers(most)}."
    else:
        best = most
        text = f"No direction meets all requirements. The highest reserve factor ({limit}) has the direction "
        text += f"{_told(best)}, {_numbers(best)}."
        if best.missed:
            text += f" It misses: {'; '.join(best.missed)}."
    own = next((d for d in usable if d.kind == "study"), None)
    if own is not None and own is not best and own is not most:
        text += f" The study's own direction, {_told(own, turned=False)}, has {_numbers(own, turned=False)}."
    if any(_rests_elsewhere(d) for d in usable):
        text += " Directions are ranked by the minimum away from singular places; requirements count all places."
    return text


def _rests_elsewhere(d: DirectionNumbers) -> bool:
    """Whether the minimum is read at a singular place, and the direction is ranked by another."""
    return d.advised > 1.001 * d.reserve


def _told(d: DirectionNumbers, *, turned: bool = True) -> str:
    way = d.build_direction if turned else d.direction
    return f"{direction_words(way)} {vector_text(way)}"


def _numbers(d: DirectionNumbers, *, turned: bool = True) -> str:
    over = d.support_mm2 if turned else d.overhang_mm2
    verb = "with " if turned else ""
    away = f" ({reserve_text(d.advised)} away from singular places)" if _rests_elsewhere(d) else ""
    return (
        f"{verb}a minimum reserve factor of {reserve_text(d.reserve)}{away}, a maximum deflection of "
        f"{d.deflection_mm:.3g} mm and an overhang of {over:,.0f} mm²"
    )
