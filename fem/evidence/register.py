"""The one list of all published checks, and the verb that runs them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from fem.errors import InputError
from fem.evidence import (
    beams,
    bolted,
    corners,
    distances,
    experiments,
    grains,
    holes,
    laminates,
    lattices,
    limits,
    patches,
    pins,
    plates,
    pressed,
    rates,
    rounds,
    rubbing,
)
from fem.evidence.nouns import Check, Finished

Progress = Callable[[str, float], None]

BARS, PLANES, SOLIDS = "Bars and beams", "Plates and holes", "Solids"
LAYERS, INFILL, FIBRES, STRENGTH = "Layers and laminates", "Infill", "Short fibres", "Strength"
LENGTHS, BOLTS, CONTACT = "Stress over a length", "Bolts", "Contact"
EXPERIMENTS = "Experiments"

CHECKS: tuple[Check, ...] = (
    Check(SOLIDS, "Patch test: uniform stress", patches.unit_patch),
    Check(SOLIDS, "Patch test: an orthotropic material askew", patches.turned_patch),
    Check(SOLIDS, "Thick cylinder under pressure", rounds.cylinder),
    Check(SOLIDS, "Thick sphere under pressure", rounds.sphere),
    Check(SOLIDS, "Spherical cavity", rounds.cavity),
    Check(SOLIDS, "LE11: cylinder, taper and sphere that warm", rounds.solid_of_revolution),
    Check(SOLIDS, "Rates of convergence", rates.smooth),
    Check(SOLIDS, "Grid convergence index", rates.three_grids),
    Check(BARS, "Slender cantilever", beams.slender),
    Check(BARS, "Beams that give by shear", beams.with_shear),
    Check(BARS, "Orthotropic bar in pure bending", patches.pure_bending),
    Check(BARS, "Bar under its own weight", beams.own_weight),
    Check(BARS, "Bar between rigid walls that warms", beams.warm_bar),
    Check(BARS, "Torsion of rectangular bars", beams.torsion),
    Check(PLANES, "LE1: elliptic membrane", plates.elliptic_membrane),
    Check(PLANES, "LE10: thick elliptic plate", plates.thick_elliptic_plate),
    Check(PLANES, "Cook's tapered panel", plates.tapered_panel),
    Check(PLANES, "Round plates under pressure", plates.discs),
    Check(PLANES, "Disc that spins", plates.spinning),
    Check(PLANES, "Hole in an endless isotropic plate", holes.isotropic),
    Check(PLANES, "Hole in an endless orthotropic plate", holes.orthotropic),
    Check(PLANES, "Strip with a hole", holes.finite_width),
    Check(LENGTHS, "Holes of all sizes", distances.size_effect),
    Check(LENGTHS, "Laminates with a hole, by the published distance", distances.published_distance),
    Check(LENGTHS, "A laminate that was tested with holes", distances.measured),
    Check(LENGTHS, "Right angle cut out of a solid", corners.right_angle),
    Check(LAYERS, "Coupons pulled off their axes", patches.off_axis),
    Check(LAYERS, "R0031/1: laminated strip in bending", plates.layers_bent),
    Check(LAYERS, "Turned layers", laminates.layers),
    Check(LAYERS, "Plane stress of layers and laminates", laminates.laminated),
    Check(LAYERS, "Laminates as solids", laminates.in_space),
    Check(INFILL, "Standing walls pulled up the build", lattices.up_the_build),
    Check(INFILL, "Grids and cubes with real walls", lattices.real_walls),
    Check(INFILL, "Gyroid sheets", lattices.gyroids),
    Check(INFILL, "Laws of thin walls", lattices.thin_walls),
    Check(FIBRES, "E-glass in polycarbonate", grains.glass),
    Check(FIBRES, "Carbon fibre in PA12", grains.carbon),
    Check(FIBRES, "Shares of the volume", grains.shares),
    Check(FIBRES, "Stiff spheres", grains.spheres),
    Check(FIBRES, "Averages over directions", grains.averages),
    Check(STRENGTH, "Criteria in a layer", limits.textbook),
    Check(STRENGTH, "Strength off the fibres", limits.off_axis),
    Check(STRENGTH, "Criteria in space", limits.in_space),
    Check(CONTACT, "A stop, and a seam of different meshes", pressed.touch),
    Check(CONTACT, "Hertz's cylinder and sphere", pressed.hertz),
    Check(CONTACT, "Rings in a press fit", pressed.press_fit),
    Check(CONTACT, "A lug on its pin", pins.lugs),
    Check(CONTACT, "Friction on an incline and around a post", rubbing.friction),
    Check(CONTACT, "Halves of a beam, glued and sliding", rubbing.glued),
    Check(CONTACT, "Meshed blocks that a bolt clamps", rubbing.clamped),
    Check(BOLTS, "Metric threads", bolted.threads),
    Check(BOLTS, "Tightening to 90 % of yield", bolted.torques),
    Check(BOLTS, "Stiffness of bolts and members", bolted.stiffness),
    Check(BOLTS, "Preloaded joints and washers", bolted.joints),
    Check(BOLTS, "Creep and the clamp that is left", bolted.clamps),
    Check(EXPERIMENTS, "Prisms of infill pressed up the build", experiments.prisms),
    Check(EXPERIMENTS, "Bars of PLA along, across, at 45 degrees and upright", experiments.rasters),
    Check(EXPERIMENTS, "Bars of short-fibre nylon", experiments.nylons),
)


def chosen(only: str, *, checks: Sequence[Check] = CHECKS) -> tuple[Check, ...]:
    """The checks whose field or title contains a text, in whatever case. Errors: InputError when there is none."""
    found = tuple(c for c in checks if only.casefold() in f"{c.field}: {c.title}".casefold())
    if not found:
        fields = ", ".join(dict.fromkeys(c.field for c in checks))
        raise InputError(f"no check is called so: {only}.", where="--only", advice=f"There are: {fields}.")
    return found


def run_checks(checks: Sequence[Check], *, progress: Progress | None = None) -> tuple[Finished, ...]:
    """Compute the rows of the checks, one check after the other."""
    say = progress or (lambda _text, _share: None)
    out = []
    for k, check in enumerate(checks):
        say(check.title, k / len(checks))
        out.append(Finished(check, tuple(check.rows())))
    return tuple(out)
