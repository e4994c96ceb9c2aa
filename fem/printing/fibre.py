"""Short-fibre micromechanics: the stiffness and expansion of a resin with fibres that lie as they were laid.

A grain is resin with fibres all along its axis 1; the printed bead is an average of grains over the directions of
its fibres. Stiffness [MPa], component order and engineering shear as in fem.tensors.

Sources: J. C. Halpin and J. L. Kardos, Polymer Engineering and Science 16 (1976) 344; T. Mori and K. Tanaka, Acta
Metallurgica 21 (1973) 571, as written by Y. Benveniste, Mechanics of Materials 6 (1987) 147; G. P. Tandon and
G. J. Weng, Polymer Composites 5 (1984) 327; M. Taya and R. J. Arsenault, Metal Matrix Composites (1989), appendix
(Eshelby's tensor); S. G. Advani and C. L. Tucker, Journal of Rheology 31 (1987) 751 (averages over directions);
S. Montgomery-Smith et al., Journal of Fluid Mechanics 680 (2011) 321 (fourth moment from the second);
V. M. Levin, Mechanics of Solids 2 (1967) 58, and B. W. Rosen and Z. Hashin, International Journal of Engineering
Science 8 (1970) 157 (expansion).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.tensors import PAIRS, Array, isotropic_stiffness, orthotropic_stiffness, pack_stress

MODELS = {"mori-tanaka": "Mori-Tanaka", "halpin-tsai": "Halpin-Tsai"}
"""Key of a model -> its name in print."""

LONGEST_FIBRE = 1e6
"""Largest length / diameter: 7 metres of a carbon fibre, beyond which nothing changes any more."""
NOT_ALONG = 1e-6
"""A share of fibre directions below this counts as none: the closure has a closed form there."""


@dataclass(frozen=True)
class Resin:
    """An isotropic resin: `E` [MPa], `nu`, `density` [tonne/mm^3], `expansion` [1/K] or None."""

    E: float
    nu: float
    density: float
    expansion: float | None = None

    @property
    def stiffness(self) -> Array:
        """Stiffness (6, 6) [MPa]."""
        return isotropic_stiffness(self.E, self.nu)


@dataclass(frozen=True)
class Fibre:
    """A fibre along axis 1, alike in all directions across: `E1`, `E2`, `G12` [MPa], `nu12`, `nu23`,
    `density` [tonne/mm^3], `expansion` (along, across) [1/K] or None."""

    E1: float
    E2: float
    nu12: float
    nu23: float
    G12: float
    density: float
    expansion: tuple[float, float] | None = None

    @classmethod
    def isotropic(cls, *, E: float, nu: float, density: float, expansion: float | None = None) -> Fibre:
        """A fibre alike in all directions, such as glass."""
        two = None if expansion is None else (expansion, expansion)
        return cls(E, E, nu, nu, E / (2 * (1 + nu)), density, two)

    @property
    def G23(self) -> float:
        """Shear modulus across the fibre [MPa]."""
        return self.E2 / (2 * (1 + self.nu23))

    @property
    def constants(self) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
        """E (1, 2, 3), nu (12, 13, 23), G (12, 13, 23) [MPa]."""
        return (
            (self.E1, self.E2, self.E2),
            (self.nu12, self.nu12, self.nu23),
            (self.G12, self.G12, self.G23),
        )

    @property
    def stiffness(self) -> Array:
        """Stiffness (6, 6) [MPa], fibre along axis 1."""
        return orthotropic_stiffness(*self.constants)


@dataclass(frozen=True)
class Composite:
    """A filled resin: `stiffness` (6, 6) [MPa], `expansion` (6,) [1/K] as a strain vector or None, `density`
    [tonne/mm^3], `fibre_share` of the volume."""

    stiffness: Array
    expansion: Array | None
    density: float
    fibre_share: float


def compose(
    resin: Resin,
    fibre: Fibre,
    *,
    mass_fraction: float,
    aspect_ratio: float,
    orientation: Any,
    model: str = "mori-tanaka",
) -> Composite:
    """Resin with `mass_fraction` of fibres of length / diameter `aspect_ratio`, without voids.

    `orientation` (3,) or (3, 3) is the second moment of the fibre directions in the axes of the result, of trace
    one; `model` one of MODELS. Errors: InputError.
    """
    share, density = mix(mass_fraction, fibre_density=fibre.density, resin_density=resin.density)
    if not 1 <= aspect_ratio <= LONGEST_FIBRE:
        raise InputError(
            f"an aspect ratio of {aspect_ratio:g} must lie from 1 to {LONGEST_FIBRE:g}.",
            advice="It is length / diameter.",
        )
    if model not in MODELS:
        raise InputError(f'"{model}" is no model of fibres.', advice=f"Known: {', '.join(MODELS)}.")
    rule = mori_tanaka if model == "mori-tanaka" else halpin_tsai
    grain = rule(resin, fibre, share=share, aspect_ratio=aspect_ratio)
    second = second_moment(orientation)
    fourth = fourth_moment(second)
    stiffness = average_stiffness(grain, second, fourth)
    expansion = None
    if resin.expansion is not None and fibre.expansion is not None:
        alone = grain_expansion(grain, resin, fibre, share=share)
        expansion = average_expansion(grain, alone, second, stiffness)
    return Composite(stiffness, expansion, density, share)


def mix(mass_fraction: float, *, fibre_density: float, resin_density: float) -> tuple[float, float]:
    """Fibre's share of the volume, and density of the mixture [that of the arguments], without voids."""
    if not 0 <= mass_fraction < 1:
        raise InputError(f"a mass fraction of {mass_fraction:g} must lie from 0 to below 1.")
    volume = mass_fraction / fibre_density + (1 - mass_fraction) / resin_density
    return mass_fraction / fibre_density / volume, 1 / volume


def eshelby_tensor(nu: float, *, aspect_ratio: float) -> Array:
    """Eshelby's tensor (6, 6) of a prolate spheroid, long axis 1, in a resin of Poisson's ratio `nu`.

    It takes a uniform strain that the inclusion would have alone to the strain it has inside the resin, both
    with engineering shear. Errors: InputError for an aspect ratio below 1.
    """
    if not (np.isfinite(aspect_ratio) and aspect_ratio >= 1):
        raise InputError(f"an aspect ratio of {aspect_ratio:g} must be 1 or more.", advice="It is length / diameter.")
    out = np.zeros((6, 6))
    if aspect_ratio < 1 + 1e-4:  # a sphere: the spheroid's terms cancel to 0 / 0
        s1111 = s2222 = (7 - 5 * nu) / (15 * (1 - nu))
        s1122 = s2211 = s2233 = (5 * nu - 1) / (15 * (1 - nu))
        s2323 = s1212 = (4 - 5 * nu) / (15 * (1 - nu))
    else:
        k = aspect_ratio**2
        m, d, u = k - 1, 1 - nu, 1 - 2 * nu
        g = aspect_ratio / m**1.5 * (aspect_ratio * np.sqrt(m) - np.arccosh(aspect_ratio))
        s1111 = (u + (3 * k - 1) / m - (u + 3 * k / m) * g) / (2 * d)
        s2222 = 3 * k / m / (8 * d) + (u - 9 / (4 * m)) * g / (4 * d)
        s2233 = (k / (2 * m) - (u + 3 / (4 * m)) * g) / (4 * d)
        s2211 = -k / m / (2 * d) + (3 * k / m - u) * g / (4 * d)
        s1122 = -(u + 1 / m) / (2 * d) + (u + 3 / (2 * m)) * g / (2 * d)
        s2323 = (k / (2 * m) + (u - 3 / (4 * m)) * g) / (4 * d)
        s1212 = (u - (k + 1) / m - (u - 3 * (k + 1) / m) * g / 2) / (4 * d)
    out[0, 0], out[1, 1], out[2, 2] = s1111, s2222, s2222
    out[0, 1] = out[0, 2] = s1122
    out[1, 0] = out[2, 0] = s2211
    out[1, 2] = out[2, 1] = s2233
    # a tensor shear strain enters twice (23 and 32), hence the factor 2
    out[3, 3], out[4, 4], out[5, 5] = 2 * s2323, 2 * s1212, 2 * s1212
    return out


def mori_tanaka(resin: Resin, fibre: Fibre, *, share: float, aspect_ratio: float) -> Array:
    """Stiffness (6, 6) [MPa] of a grain with `share` of its volume fibre (Mori-Tanaka, Benveniste 1987)."""
    c_resin, difference = resin.stiffness, fibre.stiffness - resin.stiffness
    one = np.eye(6)
    eshelby = eshelby_tensor(resin.nu, aspect_ratio=aspect_ratio)
    dilute = np.linalg.inv(one + eshelby @ np.linalg.solve(c_resin, difference))
    strain = dilute @ np.linalg.inv((1 - share) * one + share * dilute)
    out = c_resin + share * difference @ strain
    return (out + out.T) / 2


def halpin_tsai(resin: Resin, fibre: Fibre, *, share: float, aspect_ratio: float) -> Array:
    """Stiffness (6, 6) [MPa] of a grain with `share` of its volume fibre (Halpin-Tsai)."""
    nu, g_resin = resin.nu, resin.E / (2 * (1 + resin.nu))

    def between(resin_value: float, fibre_value: float, reinforcing: float) -> float:
        ratio = fibre_value / resin_value
        efficiency = (ratio - 1) / (ratio + reinforcing)
        return resin_value * (1 + reinforcing * efficiency * share) / (1 - efficiency * share)

    e1 = between(resin.E, fibre.E1, 2 * aspect_ratio)
    e2 = between(resin.E, fibre.E2, 2.0)
    g12 = between(g_resin, fibre.G12, 1.0)
    g23 = between(g_resin, fibre.G23, (1 + nu) / (3 - nu - 4 * nu**2))
    nu12 = share * fibre.nu12 + (1 - share) * nu
    nu23 = e2 / (2 * g23) - 1
    # positive definite when alike across the fibre (Lempriere 1968)
    if not (abs(nu23) < 1 and 1 - nu23 - 2 * nu12**2 * e2 / e1 > 0):
        raise InputError(
            f"Halpin-Tsai gives constants that no material can have here (nu23 = {nu23:.3g}).",
            advice='Use model = "mori-tanaka".',
        )
    return orthotropic_stiffness((e1, e2, e2), (nu12, nu12, nu23), (g12, g12, g23))


def grain_expansion(grain: Any, resin: Resin, fibre: Fibre, *, share: float) -> Array:
    """Expansion (6,) [1/K] of a grain, from its stiffness (6, 6) [MPa]: exact for two phases (Levin 1967)."""
    if resin.expansion is None or fibre.expansion is None:
        raise InputError("resin and fibre must both give their expansion.")
    along, across = fibre.expansion
    of_resin = np.array([resin.expansion] * 3 + [0.0] * 3)
    of_fibre = np.array([along, across, across, 0.0, 0.0, 0.0])
    mean = share * of_fibre + (1 - share) * of_resin
    if share == 0:
        return mean
    s_resin, s_fibre = np.linalg.inv(resin.stiffness), np.linalg.inv(fibre.stiffness)
    surplus = np.linalg.inv(np.asarray(grain, dtype=float)) - share * s_fibre - (1 - share) * s_resin
    return mean + surplus @ np.linalg.solve(s_fibre - s_resin, of_fibre - of_resin)


def second_moment(orientation: Any) -> Array:
    """The second moment (3, 3) of fibre directions from its diagonal (3,) or itself.

    Errors: InputError when a share is negative or they do not sum to one.
    """
    a = np.asarray(orientation, dtype=float)
    a = np.diag(a) if a.shape == (3,) else a
    if a.shape != (3, 3) or not np.allclose(a, a.T):
        raise InputError("an orientation must hold three shares or a symmetric 3 x 3.")
    if not np.linalg.eigvalsh(a).min() >= -1e-12:
        raise InputError("an orientation must hold no negative share.")
    if not abs(np.trace(a) - 1) <= 0.005:
        raise InputError(f"the shares of an orientation sum to {np.trace(a):g}, not to 1.")
    return a / np.trace(a)


def fourth_moment(second: Any) -> Array:
    """The fourth moment (3, 3, 3, 3) of fibre directions from their second moment (3, 3).

    The directions are taken to be spread as an angular central Gaussian, as fibres are that start out at random
    and turn with any flow; exact for aligned, planar random and fully random fibres (Montgomery-Smith 2011).
    """
    values, axes = np.linalg.eigh(np.asarray(second, dtype=float))
    pairs = _principal_pairs(np.clip(values, 0.0, None))
    out = np.zeros((3, 3, 3, 3))
    for i in range(3):
        for j in range(3):
            if i == j:
                out[i, i, i, i] = pairs[i, i]
            else:
                out[i, i, j, j] = out[i, j, i, j] = out[i, j, j, i] = pairs[i, j]
    return np.einsum("ia,jb,kc,ld,abcd->ijkl", axes, axes, axes, axes, out)


def _principal_pairs(shares: Array) -> Array:
    """Moments <p_i^2 p_j^2> (3, 3) in principal axes; `shares` (3,) = <p_i^2>."""
    present = np.flatnonzero(shares > NOT_ALONG)
    out = np.zeros((3, 3))
    if len(present) == 2:
        # the closed form in the plane
        u, w = present
        out[u, w] = out[w, u] = shares[u] * shares[w] / 2
    elif len(present) == 3:
        from scipy.integrate import quad

        spread = _spread(shares)

        def weight(x: float, i: int, j: int) -> float:
            # s = (x / (1 - x))^2 takes the half line to 0..1 and keeps the integrand smooth at both ends
            root = x / (1 - x)
            s = root * root
            return s / ((spread[i] + s) * (spread[j] + s) * np.sqrt(np.prod(spread + s))) * 2 * root / (1 - x) ** 2

        for i, j in ((0, 1), (0, 2), (1, 2)):
            out[i, j] = out[j, i] = quad(weight, 0, 1, args=(i, j), epsabs=1e-12, limit=200)[0] / 4
    # with itself: what the sum over all pairs, the second moment, leaves
    return out + np.diag(shares - out.sum(axis=1))


def _spread(shares: Array) -> Array:
    """The diagonal (3,), of product one, of the Gaussian whose directions have the second moment `shares` (3,)."""
    from scipy.optimize import root
    from scipy.special import elliprd

    def spread(x: Any) -> Array:
        return np.exp(np.array([x[0], x[1], -x[0] - x[1]]))

    def moments(b: Array) -> Array:
        return np.array([elliprd(b[1], b[2], b[0]), elliprd(b[0], b[2], b[1]), elliprd(b[0], b[1], b[2])]) / 3

    def residual(x: Any) -> Array:
        return (np.log(moments(spread(x))) - np.log(shares))[:2]

    start = -2 * np.log(shares)
    found = root(residual, (start - start.mean())[:2], tol=1e-13)
    b = spread(found.x)
    if not np.allclose(moments(b), shares, rtol=1e-7, atol=1e-10):
        raise InputError(f"no spread of directions was found for the orientation {np.round(shares, 4).tolist()}.")
    return b


def average_stiffness(grain: Any, second: Any, fourth: Any) -> Array:
    """Stiffness (6, 6) [MPa] of grains (6, 6) whose axes 1 have the moments `second`, `fourth` (Advani, Tucker)."""
    c, a2, d = np.asarray(grain, dtype=float), np.asarray(second, dtype=float), np.eye(3)
    c11, c12, c22, c23, c66 = c[0, 0], c[0, 1], c[1, 1], c[1, 2], c[5, 5]
    full = (c11 + c22 - 2 * c12 - 4 * c66) * np.asarray(fourth, dtype=float)
    for left, right in ((a2, d), (d, a2)):
        full = full + (c12 - c23) * np.einsum("ij,kl->ijkl", left, right)
    for pair in ("ik,jl->ijkl", "il,jk->ijkl", "jl,ik->ijkl", "jk,il->ijkl"):
        full = full + (c66 + (c23 - c22) / 2) * np.einsum(pair, a2, d)
    full = full + c23 * np.einsum("ij,kl->ijkl", d, d)
    for pair in ("ik,jl->ijkl", "il,jk->ijkl"):
        full = full + (c22 - c23) / 2 * np.einsum(pair, d, d)
    return np.array([[full[i, j, k, m] for k, m in PAIRS] for i, j in PAIRS])


def average_expansion(grain: Any, alone: Any, second: Any, stiffness: Any) -> Array:
    """Expansion (6,) [1/K] of grains that hold one another: mean thermal stress over mean `stiffness` (6, 6).

    `grain` (6, 6) [MPa] and `alone` (6,) [1/K] belong to the grain, fibres along axis 1.
    """
    along, across, *_ = np.asarray(grain, dtype=float) @ np.asarray(alone, dtype=float)
    stress = across * np.eye(3) + (along - across) * np.asarray(second, dtype=float)
    return np.linalg.solve(np.asarray(stiffness, dtype=float), pack_stress(stress))
