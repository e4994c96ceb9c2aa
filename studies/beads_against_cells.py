"""How near blocks of infill, laid and computed bead by bead, come to the cells that stand for them. Prints a table.

    python studies/beads_against_cells.py [PATTERN ...]

One period of each pattern is laid by the function that fills parts, tied to itself and solved under six mean strains,
in boxes a quarter of a bead wide (two a layer) and in halved ones. Told are the moduli over the cell's, and the least
mean stress at which a bead's mean stress fails over the cell's, for tension, compression and shear. Woodpile and grid
are laid twice: with walls that fill whole boxes, and shifted by half a box, so that boxes are filled in part.
"""

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from helpers_lattice import WIDTH, Period, fitting_density

from fem.printing.infill.cell_strength import unit_states
from fem.printing.infill.patterns import PATTERNS, period_length
from fem.tensors import engineering_constants

MODULI = ("E1", "E2", "E3", "G12", "G13", "G23")
STATES = ("t1", "t2", "t3", "c1", "c2", "c3", "s23", "s13", "s12")
BOXES = ((WIDTH / 4, 2), (WIDTH / 8, 2))


def ratios(period: Period) -> tuple[list[float], list[float]]:
    """Moduli and strengths of a period over its cell's."""
    cell, solved = period.body.made.cell, period.solved
    found, told = (engineering_constants(c) for c in (solved.stiffness, cell.stiffness))
    bears = np.concatenate([cell.strength_MPa[k] for k in ("tension", "compression", "shear")])
    both = np.array([[solved.first_bead(way * s)[0].reserve for way in (1, -1)] for s in unit_states()])
    first = np.concatenate([both[:6, 0], both[6:].min(axis=1)])
    return [float(found[k] / told[k]) for k in MODULI], (first / bears).tolist()


def main() -> None:
    """Print a line for each pattern and size of boxes."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("patterns", nargs="*", default=PATTERNS)
    names = " ".join(f"{n:>5}" for n in (*MODULI, *STATES))
    print(f"{'pattern':<18} {'density':>7} {'box mm':>7} {names}")
    for pattern in parser.parse_args().patterns:
        density = fitting_density(pattern, 0.3)
        for side, per_layer in BOXES:
            phases = {"": (0.0, 0.0, 0.0)}
            if pattern in ("woodpile", "grid"):
                half = side / 2 / period_length(pattern, density=density, bead_width=WIDTH)
                phases[" half a box on"] = (half, half, 0.0)
            for where, phase in phases.items():
                moduli, strengths = ratios(Period(pattern, density, side, per_layer, phase))
                told = " ".join(f"{v:5.3f}" for v in (*moduli, *strengths))
                print(f"{pattern + where:<18} {density:7.4f} {side:7.4f} {told}", flush=True)


if __name__ == "__main__":
    main()
