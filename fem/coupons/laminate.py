"""What a coupon with layers at +45 and -45 degrees in turn has to do with the shear modulus of one layer.

Lamination theory (R. M. Jones, Mechanics of Composite Materials, 2nd ed., 1999, 4.3): with Q the plane-stress
stiffness of a layer, U = (Q11 + Q22 + 2 Q12) / 4 and G the shear modulus, the laminate has A11 = U + G and
A12 = U - G, hence E = 4 U G / (U + G) and a Poisson's ratio of (U - G) / (U + G).
"""

from __future__ import annotations

from fem.errors import InputError

Three = tuple[float, float, float]


def mean_stiffness(E: Three, nu12: float) -> float:
    """U [MPa] of a layer with E [MPa] along and across the beads."""
    q = 1 - nu12**2 * E[1] / E[0]
    return (E[0] + E[1] + 2 * nu12 * E[1]) / q / 4


def modulus_at_45(E: Three, nu12: float, G12: float) -> float:
    """E [MPa] of the ±45 coupon."""
    U = mean_stiffness(E, nu12)
    return 4 * U * G12 / (U + G12)


def shear_modulus_of(E45: float, *, E: Three, nu12: float) -> float:
    """G12 [MPa] of a layer from the modulus of the ±45 coupon.

    Errors: InputError where no layer with these moduli gives it.
    """
    U = mean_stiffness(E, nu12)
    if E45 >= 0.98 * 4 * U:
        raise InputError(
            f"a modulus of {E45:.4g} MPa at ±45 does not go with {E[0]:.4g} MPa along and {E[1]:.4g} MPa across.",
            advice="Check which coupons are which.",
        )
    return E45 * U / (4 * U - E45)
