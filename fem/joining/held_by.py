"""What holds a bolt at its thread, from the words of a study: a tapped hole, a nut, or a fastener in a polymer."""

from __future__ import annotations

from dataclasses import dataclass

from fem.caution import Caution
from fem.errors import InputError, nearest, shown
from fem.joining.bolt_plan import BoltPlan
from fem.joining.pull_out import PullOut, estimated_pull_out, pull_out_kinds
from fem.joining.strength_along import shear_along, thread_in_metal
from fem.joining.thread_stripping import ThreadStrength, thread_strength
from fem.printing.card.nouns import CardState
from fem.tensors import Array

TAPPED, NUT = "tapped", "nut"
IN_METAL = (TAPPED, NUT)
WIDER = {"printed thread": 1.0, "heat-set insert": 1.25, "wire insert": 1.2, "self-tapping screw": 1.0}
"""Outer diameter of what tears out of the polymer, over the bolt's (inserts: as makers' tables have them, from
memory)."""
LEAST_ENGAGED = 1.5
"""Diameters that a fastener in a polymer should reach deep (common practice: 1.5 to 2.5)."""


@dataclass(frozen=True)
class HeldBy:
    """What holds a bolt: its `strength` (None where nobody knows), and what a reader must know of it."""

    strength: ThreadStrength | PullOut | None
    cautions: tuple[Caution, ...] = ()


def held_kinds() -> tuple[str, ...]:
    """The words for what may hold a bolt."""
    return (*IN_METAL, *pull_out_kinds())


def held_by_of(
    kind: str,
    plan: BoltPlan,
    state: CardState | None,
    *,
    engagement: float | None,
    axis: Array | None = None,
    width: float | None = None,
    diameter: float | None = None,
) -> HeldBy:
    """What holds a planned bolt by a `kind` (of `held_kinds`), over an `engagement` [mm] in a material's `state`
    along an `axis` (3,) in print axes. A nut is of the bolt's grade and as high as standards say unless an engagement
    is given. `width` [mm] is twice the distance from the axis to the nearest edge of a tapped part (None: far from
    any), `diameter` [mm] an insert's outer one (None: the usual).

    Errors: InputError, under the bolt's `thread`, for an unknown kind, a thread tapped into a polymer, an insert in a
    metal, or what is missing.
    """
    if kind not in held_kinds():
        raise _wrong(plan, f"a bolt is not held by a {shown(kind)}.", nearest(str(kind), held_kinds()))
    if kind == NUT:
        return HeldBy(_nut(plan, engagement))
    if state is None or engagement is None:
        return HeldBy(None, (_unknown(plan, kind),))
    if not engagement > 0:
        raise _wrong(plan, f"an engagement of {engagement:g} mm holds nothing.", "Give how deep the thread reaches.")
    metal = state.yield_stress is not None
    if kind == TAPPED:
        if not metal:
            raise _wrong(
                plan,
                "a thread cut into a polymer is judged as a printed one.",
                'Take "printed thread", or an insert that holds more.',
            )
        try:
            return HeldBy(thread_in_metal(plan, state, engagement=engagement, width=width))
        except InputError as error:
            raise error if error.where else error.inside(plan.key("thread")) from None
    if metal:
        raise _wrong(plan, f"a {kind} is judged in a polymer alone.", 'In a metal take "tapped".')
    if axis is None:
        raise _wrong(plan, f"a {kind} needs the direction of its hole in the print.", "Give the bolt's axis.")
    return _in_polymer(kind, plan, state, engagement=engagement, axis=axis, diameter=diameter)


def _nut(plan: BoltPlan, engagement: float | None) -> ThreadStrength:
    """A nut whose material is as strong as the bolt's."""
    grade, nut = plan.material, plan.sizes.nut
    return thread_strength(
        plan.sizes.thread,
        engagement=nut.height if engagement is None else engagement,
        bolt_ultimate=grade.ultimate,
        bolt_shear=grade.thread_shear,
        nut_ultimate=grade.ultimate,
        nut_shear=grade.thread_shear,
        width=nut.across_flats,
        anchor=NUT,
    )


def _in_polymer(
    kind: str, plan: BoltPlan, state: CardState, *, engagement: float, axis: Array, diameter: float | None
) -> HeldBy:
    bolt = plan.sizes.thread.diameter
    outer = WIDER.get(kind, 1.0) * bolt if diameter is None else diameter
    if not outer >= bolt:
        raise _wrong(plan, f"a {kind} of {outer:g} mm is thinner than its bolt.", "Give its outer diameter.")
    shear = shear_along(state, axis)
    found = estimated_pull_out(kind, diameter=outer, length=engagement, shear_strength=shear)
    told = []
    if engagement < LEAST_ENGAGED * bolt:
        told.append(
            Caution(
                "engagement_short",
                f"The {kind} of bolt {plan.name} reaches {engagement:.3g} mm deep; {LEAST_ENGAGED * bolt:.3g} mm and "
                "more are usual in a polymer.",
                {"engagement_mm": engagement},
            )
        )
    told.append(
        Caution(
            "pull_out_creeps",
            f"The {kind} of bolt {plan.name} pulls on the polymer for as long as the bolt is tight: what holds for "
            "hours may come out in months. The pull-out strength is that of a quick test.",
        )
    )
    return HeldBy(found, tuple(told))


def _unknown(plan: BoltPlan, kind: str) -> Caution:
    return Caution(
        "thread_not_judged",
        f"What the {kind} thread of bolt {plan.name} bears is not judged: give its engagement and the part that "
        "holds it.",
    )


def _wrong(plan: BoltPlan, text: str, advice: str) -> InputError:
    return InputError(text, where=plan.key("thread"), advice=advice)
