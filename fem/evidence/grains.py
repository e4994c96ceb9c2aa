"""Short fibres in a resin: stiffness, expansion, shares, averages over directions."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from fem.evidence.nouns import CLOSED_FORM, Row
from fem.printing.fibre import (
    Fibre,
    Resin,
    average_stiffness,
    fourth_moment,
    grain_expansion,
    halpin_tsai,
    mix,
    mori_tanaka,
    second_moment,
)
from fem.tensors import Array, engineering_constants

Model = Callable[..., Array]

POLYCARBONATE = Resin(E=2.24, nu=0.38, density=1.20, expansion=65e-6)
E_GLASS = Fibre.isotropic(E=73, nu=0.21, density=2.55, expansion=4.9e-6)
PA12 = Resin(E=1.4, nu=0.38, density=1.01)
CARBON = Fibre.isotropic(E=230, nu=0.2, density=1.80)
"""Short carbon fibre, taken isotropic."""

TUCKER = "Tucker, Fundamentals of Fiber Orientation (Hanser 2022), worked E-glass in polycarbonate, 20 % by volume"
ADVANI = "Advani and Tucker, J. Rheology 31 (1987) 751"
BOUND = "Hashin and Shtrikman, J. Mech. Phys. Solids 11 (1963) 127"
NAMES = {mori_tanaka: "Mori and Tanaka", halpin_tsai: "Halpin and Tsai"}
FORMS = "closed form of the model"


def constants(model: Model, resin: Resin, fibre: Fibre, share: float, aspect_ratio: float) -> dict[str, float]:
    """Engineering constants of a grain of aligned fibres."""
    return engineering_constants(model(resin, fibre, share=share, aspect_ratio=aspect_ratio))


# A value known to two decimals is good to half of the last one
GLASS: tuple[tuple[Model, float, dict[str, float]], ...] = (
    (mori_tanaka, 100, {"E1": 16.03064, "E2": 3.50037, "G12": 1.19144, "G23": 1.13303, "nu12": 0.34137}),
    (halpin_tsai, 100, {"E1": 14.81141, "E2": 3.74173, "G12": 1.19, "G23": 1.13, "nu12": 0.346}),
    (mori_tanaka, 50, {"E1": 15.2412}),
    (halpin_tsai, 50, {"E1": 13.5597}),
    (mori_tanaka, 10, {"E1": 8.83101, "E2": 3.41711, "G12": 1.20206, "G23": 1.13597, "nu12": 0.36153}),
    (halpin_tsai, 10, {"E1": 8.66280, "E2": 3.74173}),
)


def glass() -> Iterator[Row]:
    """E-glass in polycarbonate by both models."""
    for model, ratio, known in GLASS:
        found = constants(model, POLYCARBONATE, E_GLASS, 0.20, ratio)
        for key, published in known.items():
            allowed = 0.005 / published if round(published, 2) == published else 2e-5
            allowed = 0.0005 / published if key == "nu12" and round(published, 3) == published else allowed
            problem = f"E-glass of aspect ratio {ratio:g} in polycarbonate, {NAMES[model]}: {key}"
            unit = "1" if key.startswith("nu") else "GPa"
            yield Row(problem, TUCKER, published, float(found[key]), unit, FORMS, allowed)
    for model, along, across in ((mori_tanaka, 12.08, 66.0), (halpin_tsai, 12.69, 42.4)):
        grain = model(POLYCARBONATE, E_GLASS, share=0.20, aspect_ratio=100)
        a = grain_expansion(grain, POLYCARBONATE, E_GLASS, share=0.20) * 1e6
        for words, published, computed, half in (("along", along, a[0], 0.006), ("across", across, a[1], 0.05)):
            problem = f"Expansion of E-glass in polycarbonate, {NAMES[model]}: {words}"
            yield Row(problem, TUCKER, published, float(computed), "1e-6/K", FORMS, half / published)


CARBON_GRAINS: tuple[tuple[Model, float, dict[str, float]], ...] = (
    (halpin_tsai, 10, {"E1": 3.95066, "E2": 1.80765, "G12": 0.60654}),
    (mori_tanaka, 10, {"E1": 4.05768, "E2": 1.77505, "G12": 0.60956}),
    (halpin_tsai, 20, {"E1": 5.85448}),
    (mori_tanaka, 20, {"E1": 7.52713, "E2": 1.82707}),
    (halpin_tsai, 30, {"E1": 7.39493}),
    (mori_tanaka, 30, {"E1": 10.63509}),
)
MODELS = {
    mori_tanaka: "Mori and Tanaka, Acta Metall. 21 (1973) 571; Tandon and Weng, Polym. Compos. 5 (1984) 327",
    halpin_tsai: "Halpin and Kardos, Polym. Eng. Sci. 16 (1976) 344",
}


def carbon() -> Iterator[Row]:
    """Short carbon fibre in PA12, 15 % by mass, by both models."""
    share, _ = mix(0.15, fibre_density=1.80, resin_density=1.01)
    for model, ratio, known in CARBON_GRAINS:
        found = constants(model, PA12, CARBON, share, ratio)
        for key, published in known.items():
            problem = f"Carbon of aspect ratio {ratio:g} in PA12, {NAMES[model]}: {key}"
            yield Row(problem, MODELS[model], published, float(found[key]), "GPa", FORMS, 1e-5, CLOSED_FORM)


def shares() -> Iterator[Row]:
    """Volume shares of fibres from shares by mass."""
    found = mix(0.40, fibre_density=2.55, resin_density=0.92)[0]
    problem, how = "Glass in polypropylene, 40 % by mass: share of the volume", "rule of mixtures"
    yield Row(problem, TUCKER.split(",")[0] + " (Hanser 2022)", 0.194, float(found), "1", how, 0.0005 / 0.194)
    found, density = mix(0.15, fibre_density=1.80, resin_density=1.01)
    name = "Carbon in PA12, 15 % by mass"
    yield Row(f"{name}: share of the volume", how, 0.09010, float(found), "1", how, 5e-4, CLOSED_FORM)
    yield Row(f"{name}: density", how, 1.0812, float(density), "g/cm³", how, 5e-5, CLOSED_FORM)


def spheres() -> Iterator[Row]:
    """Mori and Tanaka's grain of spheres is the lower bound."""
    stiff = Fibre.isotropic(E=230e3, nu=0.2, density=1.0)
    found = constants(mori_tanaka, Resin(1400, 0.38, 1.0), stiff, 0.10, 1.0)
    name, how = "Stiff spheres in nylon, 10 % by volume", "grain of aspect ratio 1"
    yield Row(f"{name}: modulus", BOUND, 1728.36, float(found["E1"]), "MPa", how, 4e-6, CLOSED_FORM)
    yield Row(f"{name}: Poisson's ratio", BOUND, 0.37077, float(found["nu12"]), "1", how, 2e-5, CLOSED_FORM)


def moments(*spread: float) -> tuple[Array, Array]:
    """Second moment of directions with these shares along the axes, and the fourth closed from it."""
    second = second_moment(spread)
    return second, fourth_moment(second)


def planar_cosine_squared() -> tuple[Array, Array]:
    """Second and fourth moments of directions in a plane spread as cos^2, by their integrals."""
    second = np.diag([0.75, 0.25, 0.0])
    fourth = np.zeros((3, 3, 3, 3))
    fourth[0, 0, 0, 0], fourth[1, 1, 1, 1] = 0.625, 0.125
    for place in ((0, 0, 1, 1), (1, 1, 0, 0), (0, 1, 0, 1), (1, 0, 1, 0), (0, 1, 1, 0), (1, 0, 0, 1)):
        fourth[place] = 0.125
    return second, fourth


AVERAGES: dict[str, tuple[tuple[Array, Array], dict[str, float]]] = {
    "aligned": (moments(1, 0, 0), {"E1": 8.83101, "E2": 3.41711, "G12": 1.20206, "nu12": 0.36153}),
    "random in a plane": (
        moments(0.5, 0.5, 0),
        {"E1": 5.07893, "E2": 5.07893, "E3": 3.71248, "G12": 1.88839, "G13": 1.16902, "nu12": 0.34478},
    ),
    "random in space": (
        moments(1 / 3, 1 / 3, 1 / 3),
        {"E1": 4.16601, "E2": 4.16601, "E3": 4.16601, "G12": 1.54608, "G23": 1.54608, "nu23": 0.34729},
    ),
    "spread as cos² in a plane": (
        planar_cosine_squared(),
        {"E1": 6.27927, "E2": 3.78915, "E3": 3.62118, "G12": 1.88839, "nu12": 0.45808},
    ),
}


def averaged(second: Array, fourth: Array) -> dict[str, float]:
    """Engineering constants of the glass grain of aspect ratio 10 averaged over directions."""
    grain = mori_tanaka(POLYCARBONATE, E_GLASS, share=0.20, aspect_ratio=10)
    return engineering_constants(average_stiffness(grain, second, fourth))


def averages() -> Iterator[Row]:
    """Averages over directions of fibres."""
    for words, (directions, known) in AVERAGES.items():
        found = averaged(*directions)
        for key, published in known.items():
            unit = "1" if key.startswith("nu") else "GPa"
            problem = f"Fibres {words}: {key}"
            how = "average of the glass grain of aspect ratio 10"
            yield Row(problem, ADVANI, published, float(found[key]), unit, how, 2e-5, CLOSED_FORM)
