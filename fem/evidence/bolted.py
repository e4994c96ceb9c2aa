"""Bolts: tables of the standards, worked examples of a textbook, and what is left of a clamp with time."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from fem.evidence.nouns import CLOSED_FORM, FROM_MEMORY, Row
from fem.joining.bolt_plan import BoltPlan, Seat, pressing_seat
from fem.joining.bolt_sizes import Thread, bolt_grade, bolt_size
from fem.joining.bolt_stiffness import grip_stiffness
from fem.joining.clamped_joint import ClampedJoint, Grip, Member
from fem.joining.creep import HOUR, Findley, Prony
from fem.joining.preload_time import clamp_over_time
from fem.joining.thread_stripping import thread_limits
from fem.joining.tightening import preload_at, torque_for

ISO_898 = "ISO 898-1, loads of bolts with coarse threads"
ISO_965 = "ISO 965-2, limits of 6g and 6H"
VDI = "VDI 2230 part 1 (2001), tables of preloads and tightening torques"
VDI_STAINLESS = "VDI 2230 part 1 (2003) for stainless bolts, as tables of makers print it"
SHIGLEY = "Budynas and Nisbett, Shigley's Mechanical Engineering Design, 9th ed. (2011)"
WILEMAN = "Wileman, Choudhury and Green, J. Mech. Design 113 (1991) 432"
FINDLEY = "Findley, Lai and Onaran, Creep and Relaxation of Nonlinear Viscoelastic Materials (1976)"
GORENFLO = "Gorenflo and Mainardi, Fractional calculus (1997)"

LOADS = {
    "M6": {"8.8": (11600, 16100), "10.9": (16700, 20900)},
    "M12": {"8.8": (48900, 67400), "10.9": (70000, 87700)},
}
"""Proof and ultimate load [N]."""
LIMITS = {
    "crest of the bolt, least": 7.760,
    "pitch diameter of the bolt, least": 7.042,
    "pitch diameter of the nut, largest": 7.348,
    "inner diameter of the nut, largest": 6.912,
}
"""Of M8, 6g in 6H [mm]."""


def threads() -> Iterator[Row]:
    """Areas and loads of threads, and the limits that they are cut to."""
    how = "from diameter and pitch"
    for size, area in (("M5", 14.2), ("M8", 36.6), ("M10", 58.0)):
        yield Row(f"{size}: stress area", ISO_898, area, bolt_size(size).thread.stress_area, "mm²", how, 3e-3)
    for size, grades in LOADS.items():
        for grade, loads in grades.items():
            bears = bolt_grade(grade)
            for words, load, stress in zip(("proof", "ultimate"), loads, (bears.bears, bears.ultimate), strict=True):
                found = stress * bolt_size(size).thread.stress_area
                yield Row(f"{size} {grade}: {words} load", ISO_898, load, found, "N", how, 7e-3)
    limits, how = thread_limits(bolt_size("M8").thread), "formulae of ISO 965-1"
    told = (limits.crest, limits.pitch_diameter, limits.nut_pitch_diameter, limits.nut_inner)
    for (words, published), found in zip(LIMITS.items(), told, strict=True):
        yield Row(f"M8: {words}", ISO_965, published, found, "mm", how, 1e-3, FROM_MEMORY)


TABLES = (
    (VDI, "M8x1", "8.8", 0.10, 20.7, 22.8),
    (VDI, "M8x1", "10.9", 0.14, 28.9, 42.8),
    (VDI, "M10x1.25", "8.8", 0.12, 31.6, 51.0),
    (VDI_STAINLESS, "M6", "A4-70", 0.1, 7.3, 6.3),
    (VDI_STAINLESS, "M8", "A4-70", 0.3, 9.9, 30.0),
    (VDI_STAINLESS, "M8", "A4-80", 0.2, 15.5, 32.1),
    (VDI_STAINLESS, "M10", "A4-70", 0.2, 18.5, 47.7),
)
"""Size, grade, friction, preload [kN] and torque [N m] at 90 % of yield, hexagon heads."""


def at_ninety(size: str, grade: str, friction: float) -> tuple[float, float]:
    """Preload [kN] and torque [N m] at 90 % of yield of a bolt with a hexagon head over a hole of medium fit."""
    name, _, pitch = size.partition("x")
    sizes = bolt_size(name)
    thread = Thread(sizes.thread.diameter, float(pitch)) if pitch else sizes.thread
    under = (sizes.heads["hexagon"].bearing_diameter + sizes.clearance_hole) / 2
    preload = preload_at(0.9, thread, bolt_grade(grade), thread_friction=friction)
    torque = torque_for(preload, thread, thread_friction=friction, head_friction=friction, head_diameter=under).total
    return preload / 1e3, torque / 1e3


def torques() -> Iterator[Row]:
    """Preload and torque at 90 % of yield, and a worked torque."""
    worked = torque_for(10e3, bolt_size("M8").thread, thread_friction=0.12, head_friction=0.12, head_diameter=10.665)
    problem, how = "M8 pulled to 10 kN, friction 0.12: torque", "torque by pitch, thread, head"
    yield Row(problem, "VDI 2230 part 1, formula", 13.402, worked.total / 1e3, "N m", how, 5e-5, CLOSED_FORM)
    for source, size, grade, friction, preload, torque in TABLES:
        found = at_ninety(size, grade, friction)
        case, how = f"{size} {grade} at 90 % of yield, friction {friction:g}", "tension and torsion, von Mises"
        yield Row(f"{case}: preload", source, preload, found[0], "kN", how, 0.01)
        yield Row(f"{case}: torque", source, torque, found[1], "N m", "hexagon head, medium hole", 0.01)


def stiffness() -> Iterator[Row]:
    """Bolts and clamped members, in the units of the textbook."""
    where, lbf = f"{SHIGLEY}, section 8-5", "Mlbf/in"
    bolt = grip_stiffness(modulus=30, shank=0.75, shank_area=0.3068, threaded=0.75, thread_area=0.226)
    cast = Grip((Member(1.5, 14.0),), 0.9375, 0.9375, 0.625)
    yield Row("Bolt of 5/8 in: stiffness of the grip", where, 5.21, bolt, lbf, "shank and thread in a row", 2e-3)
    yield Row("Bolt of 5/8 in: cast iron clamped", where, 8.95, cast.stiffness, lbf, "two frusta", 2e-3)
    share = bolt / (bolt + cast.stiffness)
    yield Row("Bolt of 5/8 in: share of the load", where, 0.368, share, "1", "stiffnesses", 3e-3)

    where, si = f"{SHIGLEY}, problem 8-22", "MN/m"
    bolt = grip_stiffness(modulus=207, shank=30, shank_area=113.1, threaded=15, thread_area=84.3)
    both = Grip((Member(20, 207.0), Member(25, 100.0)), 18, 18, 12)
    yield Row("M12 in steel and cast iron: stiffness of the grip", where, 466.8, bolt, si, "shank and thread", 2e-3)
    yield Row("M12 in steel and cast iron: members", where, 1379, both.stiffness, si, "three frusta", 1e-3)
    share = bolt / (bolt + both.stiffness)
    yield Row("M12 in steel and cast iron: share of the load", where, 0.253, share, "1", "stiffnesses", 3e-3)

    where = f"{SHIGLEY}, example 8-2"
    mixed = Grip((Member(0.595, 30.0), Member(0.75, 14.5)), 0.75, 0.75, 0.5)
    steel = Grip((Member(1.345, 30.0),), 0.75, 0.75, 0.5)
    first = 1 / mixed.resiliences[0]
    yield Row("Bolt of 1/2 in: steel under the head", where, 30.80, first, lbf, "one frustum", 1e-3)
    yield Row("Bolt of 1/2 in: steel and cast iron", where, 9.378, mixed.stiffness, lbf, "three frusta", 1e-3)
    yield Row("Bolt of 1/2 in: steel alone", where, 14.64, steel.stiffness, lbf, "two frusta", 1e-3)
    fitted, note = 30 * 0.5 * 0.78715 * math.exp(0.62873 * 0.5 / 1.345), "fit to finite elements, holds within 3 %"
    yield Row("Bolt of 1/2 in: steel alone, fit", WILEMAN, fitted, steel.stiffness, lbf, "two frusta", 0.03, note)

    where = f"{SHIGLEY}, eq. 8-17 and 8-19"
    printed, how = Grip((Member(20, 2.0),), 12, 12, 6), "two frusta; full thread"
    bolt = grip_stiffness(modulus=193, shank=0, shank_area=1, threaded=20, thread_area=20.1)
    share, case = bolt / (bolt + printed.stiffness), "M6 through 20 mm of printed nylon"
    yield Row(f"{case}: members", where, 18.84, printed.stiffness, "kN/mm", how, 5e-4, CLOSED_FORM)
    yield Row(f"{case}: share of the load", where, 0.9115, share, "1", how, 5e-4, CLOSED_FORM)


def joints() -> Iterator[Row]:
    """A preloaded joint under load, and the pressure under washers."""
    where, joint = f"{SHIGLEY}, sections 8-7 and 8-9", ClampedJoint(5.21, 8.95, 14.4)
    factors, how = joint.load_factors(6.0, bears=85 * 0.226), "bolt and members share the load"
    for words, published, found, unit, allowed, note in (
        ("force of the bolt", 16.608, joint.bolt_force(6.0), "kip", 1e-4, CLOSED_FORM),
        ("clamp", 10.608, joint.clamp(6.0), "kip", 1e-4, CLOSED_FORM),
        ("load that opens it", 22.785, joint.opens_at, "kip", 2e-4, CLOSED_FORM),
        ("yielding factor", 1.16, factors.stress, "1", 5e-3, ""),
        ("load factor", 2.18, factors.load, "1", 3e-3, ""),
        ("factor against opening", 3.80, factors.separation, "1", 3e-3, ""),
    ):
        yield Row(f"Joint of 5/8 in bolts, 6 kip each: {words}", where, published, found, unit, how, allowed, note)
    for size, area, force, pressure in (("M6", 80.93, 5e3, 61.8), ("M8", 145.64, 10e3, 68.7)):
        washer = bolt_size(size).washers["plain"]
        seat, how = pressing_seat(BoltPlan("a", size, "8.8", preload=1.0), washer.inner), "whole washer"
        yield Row(f"Washer {size}: area", "ISO 7089", area, seat.area, "mm²", how, 1e-4, CLOSED_FORM)
        yield Row(f"Washer {size}: pressure", "ISO 7089", pressure, force / seat.area, "MPa", how, 1e-3, CLOSED_FORM)
    head = Seat(bolt_size("M6").heads["socket"].bearing_diameter, bolt_size("M6").clearance_hole)
    yield Row("Socket head M6: area", "ISO 4762 and ISO 273", 34.9, head.area, "mm²", "ring", 1e-3, FROM_MEMORY)


def clamps() -> Iterator[Row]:
    """Creep, relaxation, and a clamp between the springs of bolt and members."""
    creep, hours = Findley(0.3, 0.2), np.array([10.0, 10000])
    strains = 0.005 * creep.compliance(hours * HOUR)
    for t, published, found in zip(hours, (0.007377, 0.014464), strains, strict=True):
        problem = f"Creep after {t:g} h under 10 MPa: strain"
        yield Row(problem, FINDLEY, published, float(found), "1", "power law", 5e-5, CLOSED_FORM)
    solid, times = Prony((0.4,), (100.0,)), np.array([10.0, 100, 1000])
    for t, published, found in zip(times, (1923.870, 1494.304, 1200.036), 2000 * solid.kept(times), strict=True):
        problem = f"Standard linear solid after {t:g} s: modulus"
        yield Row(problem, FINDLEY, published, float(found), "MPa", "held strain", 1e-6, CLOSED_FORM)
    # Half of what gives creeps, by g = 0.4: (1 - g) / (1 - g / 2) is left, at the rate (1 - g / 2) / tau
    grip = Grip((Member(20, 2000.0, solid),), 16, 16, 9)
    bolt, note = sum(grip.resiliences), "differential equation of one dashpot between springs, solved by hand"
    for t in (100.0, 1000.0):
        left = 0.75 + 0.25 * math.exp(-0.8 * t / 100)
        found = float(clamp_over_time(1.0, bolt=bolt, grip=grip, times=[t])[0])
        problem = f"Clamp of a bolt on a standard linear solid after {t:g} s"
        yield Row(problem, FINDLEY, left, found, "1", "modes of the dashpots", 1e-9, note)
    square = Findley(0.5, 0.5)
    grip = Grip((Member(20, 2000.0, square),), 16, 16, 9)
    bolt = sum(grip.resiliences) / 3
    for t in (1.0, 100.0, 10000.0):
        x = 0.75 * 0.5 * math.gamma(1.5) * math.sqrt(t)
        left = _scaled_erfc(x)
        found = float(clamp_over_time(1.0, bolt=bolt, grip=grip, times=[t * HOUR])[0])
        problem = f"Clamp on a polymer that creeps with the root of time, after {t:g} h"
        yield Row(problem, GORENFLO, left, found, "1", "Mittag-Leffler", 1e-9, "exp(x²) erfc(x)")


def _scaled_erfc(x: float) -> float:
    """exp(x^2) erfc(x), also where neither can be told alone."""
    from scipy.special import erfcx

    return float(erfcx(x))
