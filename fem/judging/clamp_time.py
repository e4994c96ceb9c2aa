"""What is left of a bolt's clamp with time, for both ends of the tightening scatter, and what would save it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fem.caution import Caution
from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan
from fem.joining.clamped_joint import Grip, Member
from fem.joining.creep import HOUR, Findley, Prony
from fem.joining.members import creep_cautions, growth_by_heat, member_of
from fem.joining.preload_time import DAY, SEASON, clamp_over_time
from fem.joining.remedies import ALUMINIUM_EXPANSION, SLEEVE, Built, Way, large_washer_way, sleeve_way, washer_way
from fem.joining.tightening import Tightened
from fem.printing.card.nouns import CardState
from fem.tensors import Array

TIMES = (HOUR / 60, HOUR / 6, HOUR, 6 * HOUR, DAY, 7 * DAY, 30 * DAY, SEASON)
"""When the clamp is told [s]; a season is 90 days."""
HALF = 0.5
"""Of a clamp that keeps less than this share it is told that it fades."""


@dataclass(frozen=True)
class Layer:
    """One of the parts that a bolt clamps, from head to thread: its material's `state` when it is tightened and in
    `service` (None: the same), `thickness` [mm] and the bolt's `axis` (3,) in print axes; `creep` where it is known
    (None: by default for a polymer); `modulus` [MPa] along the bolt as it is tightened where it is another than that
    of the material, as of infill."""

    state: CardState
    thickness: float
    axis: Array
    service: CardState | None = None
    creep: Findley | Prony | None = None
    modulus: float | None = None

    @property
    def member(self) -> Member:
        """As it is tightened."""
        return self._member(self.state)

    @property
    def later(self) -> Member:
        """As it is in service."""
        return self._member(self.service or self.state)

    def _member(self, state: CardState) -> Member:
        """In a state; infill softens with its material."""
        member = member_of(state, thickness=self.thickness, axis=self.axis, creep=self.creep)
        if self.modulus is None:
            return member
        whole = member_of(self.state, thickness=self.thickness, axis=self.axis).modulus
        return replace(member, modulus=self.modulus * member.modulus / whole)


@dataclass(frozen=True)
class ClampKept:
    """What one way to build a joint keeps: the `pressure_MPa` by the highest preload `on` the part or sleeve, and
    what is left of the lowest and the highest preload, `low_N` and `high_N` (k,), at each time."""

    on: str
    pressure_MPa: float
    low_N: tuple[float, ...]
    high_N: tuple[float, ...]


@dataclass(frozen=True)
class ClampWithTime:
    """A bolt's clamp with time: `preload_low_N` and `preload_high_N` as tightened, `hours` (k,) after that, what is
    left `as_planned` and by `remedies`; why a remedy does not fit is told in `left_out`. `estimate` whether how
    something creeps is a default, by `creep_source`; `states` of the materials in service.
    """

    preload_low_N: float
    preload_high_N: float
    hours: tuple[float, ...]
    as_planned: ClampKept
    remedies: dict[str, ClampKept]
    left_out: dict[str, str]
    estimate: bool
    creep_source: str
    states: tuple[str, ...]
    cautions: tuple[Caution, ...] = field(default=())

    def kept(self, hours: float, way: ClampKept | None = None) -> float:
        """The share of the lowest preload that is left at one of the `hours`."""
        return (way or self.as_planned).low_N[self.hours.index(hours)] / self.preload_low_N


def clamp_with_time(
    plan: BoltPlan,
    tightened: Tightened,
    layers: Sequence[Layer],
    *,
    built: Built | None = None,
    clamped_stiffness: float | None = None,
    settling: float = 0.0,
    warmer: float = 0.0,
    times: Sequence[float] = TIMES,
) -> ClampWithTime:
    """What is left of a bolt's clamp on `layers`, from head to thread, at `times` (k,) [s].

    `built` says how the joint is built (None: a nut, a hole of medium clearance); `clamped_stiffness` [N/mm] how
    stiff the layers were found to be (None: by frusta); `settling` [mm] as from `embedding`; in service all is
    `warmer` [K] than when it was tightened. Errors: InputError for no layers, or a washer that does not fit.
    """
    built = built or Built(plan.sizes.clearance_hole)
    now, told = _of_one_law([layer.member for layer in layers], plan)
    later, _ = _of_one_law([layer.later for layer in layers], plan)
    planned = washer_way("as planned", plan, now, built)
    found = 1.0 if clamped_stiffness is None else clamped_stiffness / planned.grip.stiffness
    growth, unknown = _growth(plan, layers, warmer)
    ways, left_out = _remedies(plan, now, built)
    kept = {}
    for way in (planned, *ways):
        metal = way.on == SLEEVE
        grip = way.grip if metal else replace(way.grip, members=_scaled(now, found))
        service = way.grip if metal else replace(way.grip, members=_scaled(later, found))
        grows = _sleeve_growth(plan, way.grip, warmer) if metal else growth
        both = [
            clamp_over_time(
                preload, bolt=way.bolt, grip=grip, times=times, settling=settling, later=service, growth=grows
            )
            for preload in (tightened.low, tightened.high)
        ]
        low, high = (tuple(float(v) for v in np.asarray(one)) for one in both)
        kept[way.name] = ClampKept(way.on, tightened.high / way.area, low, high)
    as_planned = kept.pop(planned.name)
    laws = [m.creep for m in later if m.creep is not None]
    return ClampWithTime(
        preload_low_N=tightened.low,
        preload_high_N=tightened.high,
        hours=tuple(t / HOUR for t in times),
        as_planned=as_planned,
        remedies=kept,
        left_out=left_out,
        estimate=any(law.estimate for law in laws),
        creep_source=laws[0].source if laws else "",
        states=tuple(dict.fromkeys((layer.service or layer.state).name for layer in layers)),
        cautions=(
            *creep_cautions(replace(planned.grip, members=tuple(later)), bolt=plan.name),
            *told,
            *unknown,
            *_fading(plan, as_planned, kept, tightened.low),
        ),
    )


def _fading(
    plan: BoltPlan, planned: ClampKept, remedies: dict[str, ClampKept], preload: float
) -> tuple[Caution, ...]:
    """What is told where less than half of the lowest preload [N] stays in the end."""
    left = planned.low_N[-1] / preload
    if left >= HALF:
        return ()
    better = [name for name, way in remedies.items() if way.low_N[-1] > max(HALF * preload, planned.low_N[-1])]
    advice = f" More stays with {' or '.join(better)}." if better else ""
    return (
        Caution(
            "clamp_fades",
            f"Of the clamp of bolt {plan.name} {100 * left:.0f} % stay in the end: retighten it.{advice}",
            {"kept": left},
            decisive=left <= 0,
        ),
    )


def _scaled(members: Sequence[Member], factor: float) -> tuple[Member, ...]:
    """Members that are stiffer by a factor."""
    return tuple(replace(member, modulus=factor * member.modulus) for member in members)


def _of_one_law(members: Sequence[Member], plan: BoltPlan) -> tuple[tuple[Member, ...], tuple[Caution, ...]]:
    """The members with the law of the one that creeps most for all that creep: on the safe side."""
    laws = {m.creep for m in members if m.creep is not None}
    if len(laws) < 2:
        return tuple(members), ()
    most = min(laws, key=lambda law: float(law.kept(SEASON)))
    told = Caution(
        "creep_joined",
        f"Bolt {plan.name} clamps materials that creep differently: all are taken to creep like the worst one.",
    )
    return tuple(m if m.creep is None else replace(m, creep=most) for m in members), (told,)


def _growth(plan: BoltPlan, layers: Sequence[Layer], warmer: float) -> tuple[float, tuple[Caution, ...]]:
    """How much more than the bolt the layers grow [mm] when all is `warmer` [K]."""
    if not warmer:
        return 0.0, ()
    known = [layer for layer in layers if layer.state.expansion is not None]
    grown = sum(
        growth_by_heat(
            layer.state,
            thickness=layer.thickness,
            axis=layer.axis,
            bolt_expansion=plan.material.expansion,
            warmer=warmer,
        )
        for layer in known
    )
    if len(known) == len(layers):
        return grown, ()
    text = f"How some of what bolt {plan.name} clamps grows with heat is not known, and left out of its clamp."
    return grown, (Caution("growth_unknown", text),)


def _sleeve_growth(plan: BoltPlan, grip: Grip, warmer: float) -> float:
    """How much more than the bolt a sleeve grows [mm]."""
    return (ALUMINIUM_EXPANSION - plan.material.expansion) * grip.length * warmer


def _remedies(plan: BoltPlan, members: Sequence[Member], built: Built) -> tuple[list[Way], dict[str, str]]:
    """The remedies that fit, and why the others do not; none for what does not creep."""
    if all(member.creep is None for member in members):
        return [], {}
    ways, left_out = [], {}
    for name, make in (("large washers", large_washer_way), ("metal sleeve", sleeve_way)):
        if name == "large washers" and plan.washer == "large":
            continue
        try:
            ways.append(make(plan, members, built))
        except InputError as error:
            left_out[name] = error.message
    return ways, left_out
