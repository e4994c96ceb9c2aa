"""Bolts of a case in numbers: the most of tightening for crushing and strength, the least for what opens."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from fem.caution import Caution
from fem.joining.bolt_forces import BoltForces, PressedPoints, bolt_forces
from fem.joining.bolt_judgement import judge_bolt
from fem.joining.fitting import FittedBolt
from fem.joining.held_by import TAPPED, HeldBy, held_by_of
from fem.joining.strength_along import bears_for_long, compression_along
from fem.judging.findings import BoltFindings
from fem.printing.body import PrintedBody
from fem.solving.equilibrium import Contact, Equilibrium
from fem.tensors import Array

OF_A_CASE = ("joint_opens", "bolt_yields")
"""Cautions that hold in one case; the others are of the bolt as tightened."""


def forces_of_bolts(
    equilibrium: Equilibrium, bolts: Sequence[FittedBolt], displacement: Array, *, contact: Contact | None
) -> dict[str, BoltForces]:
    """What each bolt bears in a solved case, by name."""
    joined = equilibrium.joined
    if not bolts or joined is None or joined.ties is None or contact is None or contact.locked is None:
        return {}
    state, ties = contact.state, joined.ties
    assert state is not None
    places = [joint.facing.places for joint in joined.joints]
    pressed = PressedPoints(
        np.concatenate(places) if places else np.zeros((0, 3)), joined.law.normal, state.force, joined.joint
    )
    found = bolt_forces(bolts, forces=contact.locked.each(ties, displacement), pressed=pressed)
    return {bolt.name: forces for bolt, forces in zip(bolts, found, strict=True)}


def judge_bolts(
    bolts: Sequence[FittedBolt], made: Mapping[str, PrintedBody], *, case: str, low: Mapping[str, BoltForces],
    high: Mapping[str, BoltForces],
) -> tuple[dict[str, BoltFindings], tuple[Caution, ...]]:  # fmt: skip
    """The bolts of a `case` by name, from their forces after the least and after the most tightening."""
    out: dict[str, BoltFindings] = {}
    cautions: list[Caution] = []
    for bolt in bolts:
        loose, tight = low[bolt.name], high[bolt.name]
        holder = holder_of(bolt, made)
        borne, share = _borne(bolt, made[bolt.under])
        judged = judge_bolt(
            replace(bolt.plan, name=bolt.name),
            bolt.tightened,
            force=tight.pull,
            clamp=loose.clamp,
            borne=borne,
            long_term=share,
            shear=tight.shear,
            bending=tight.bending,
            seat=bolt.seat,
            held_by=holder.strength,
        )
        cautions += [caution for caution in holder.cautions if caution not in cautions]
        out[bolt.name] = BoltFindings(
            preload_N=bolt.tightened.high,
            preload_low_N=bolt.tightened.low,
            force_N=tight.pull,
            change_N=tight.pull - bolt.tightened.high,
            shear_N=tight.shear,
            bending_Nmm=tight.bending,
            clamp_N=loose.clamp,
            stress_MPa=judged.stress.total,
            reserve=judged.reserve,
            head_pressure_MPa=judged.pressure.highest,
            head_bears_MPa=judged.pressure.borne,
            head_bears_long_MPa=judged.pressure.borne_long,
            head_reserve=judged.pressure.reserve,
            thread_reserve=judged.thread_reserve,
            held_by=bolt.held_by,
            open=judged.is_open,
            at_mm=_three(bolt.at),
            on_head_N=_three(tight.force),
            on_head_Nmm=_three(tight.moment),
            bodies=(bolt.under, bolt.into),
        )
        cautions += _loose(bolt.name, case, loose.pull)
        cautions += [
            replace(caution, text=f"Case {case}: {caution.text}", numbers={**caution.numbers, "case": case})
            if caution.kind in OF_A_CASE
            else caution
            for caution in judged.cautions
        ]
    return out, tuple(cautions)


def _three(vector: Array) -> tuple[float, ...]:
    return tuple(float(v) + 0.0 for v in vector)


def holder_of(bolt: FittedBolt, made: Mapping[str, PrintedBody]) -> HeldBy:
    """What holds a bolt's thread: nothing is known of what is not meshed. A bore in a polymer of which the study says
    no more is a printed thread. Errors: InputError for an engagement too short, or what cannot hold it there.
    """
    if not bolt.into:
        return HeldBy(None)
    body, kind = made[bolt.into], bolt.held_by
    if kind == TAPPED and not bolt.plan.held_by and body.values is not None and body.values.yield_stress is None:
        kind = "printed thread"
    return held_by_of(kind, bolt.plan, body.values, engagement=bolt.engagement, axis=axis_in_print(bolt, body))


def _borne(bolt: FittedBolt, body: PrintedBody) -> tuple[float, float]:
    """What is borne under a head for a short time [MPa], and the share of it that is borne for long."""
    assert body.values is not None
    return compression_along(body.values, axis_in_print(bolt, body)), bears_for_long(body.values)


def _loose(name: str, case: str, pull: float) -> list[Caution]:
    """A bolt whose preload is used up after the least tightening."""
    if pull > 0:
        return []
    text = (
        f"Case {case}: bolt {name}, tightened as little as its scatter allows, goes loose: its head lifts off and it "
        "bears nothing, and what goes loose comes undone. Tighten it more, or let others bear with it."
    )
    return [Caution("bolt_loose", text, {"bolt": name, "case": case})]


def axis_in_print(bolt: FittedBolt, body: PrintedBody) -> Array:
    """A bolt's axis (3,) in the axes of the print that it presses on."""
    return np.asarray(body.core.print_axes @ bolt.axis)
