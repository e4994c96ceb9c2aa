"""`beadwork coupons` and `beadwork card`: from estimates to one's own numbers."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from fem.cli.console import ruled, screen
from fem.errors import printable


def add_to(sub: Any) -> None:
    """The options of both commands."""
    coupons = sub.add_parser("coupons", help="write a kit of coupons to print and test, with tables to fill in")
    coupons.add_argument("--card", default="pa12-cf", help="the card nearest to your material (default: pa12-cf)")
    coupons.add_argument("--out", type=Path, default=Path("coupons"), help="folder of the kit (default: coupons)")
    coupons.set_defaults(command=write_coupons)

    card = sub.add_parser("card", help="make a material card from the curves of your own coupons, and its page")
    card.add_argument("folder", type=Path, help="folder with coupons.toml and its tables (CSV)")
    card.add_argument("--name", required=True, help="name of the card, such as my-nylon")
    card.add_argument(
        "--from", dest="base", help="card that gives what was not measured (default: what coupons.toml says)"
    )
    card.add_argument("--out", type=Path, help="where the card goes (default: NAME.toml here; its page beside it)")
    card.add_argument(
        "--characteristic", action="store_true", help="put characteristic strengths on the card instead of means"
    )
    card.set_defaults(command=write_own_card)


def write_coupons(options: argparse.Namespace) -> int:
    """Write a kit and say what is in it."""
    from fem.coupons.kinds import KINDS
    from fem.coupons.kit import README, write_kit

    kit = write_kit(options.out, card=options.card)
    console = screen()
    rows = [[k.batch, str(k.copies), k.solid, k.print["raster"].split(":")[0], k.gives] for k in KINDS]
    console.print(ruled("Coupons", ["batch", "copies", "solid", "beads", "what it gives"], rows))
    place = printable(str(kit.folder))
    console.print(f"Kit: {place} ({README} says what to heed)", soft_wrap=True)
    console.print(
        f"Next: print, test, fill in the tables; then beadwork card {place} --name my-material", soft_wrap=True
    )
    return 0


def write_own_card(options: argparse.Namespace) -> int:
    """Fit the coupons, write card and page, and say what was measured."""
    from fem.coupons.card_file import KEYS
    from fem.coupons.values import axis, described
    from fem.study.own_card import make_card

    out = options.out or Path(f"{options.name}.toml")
    made = make_card(
        options.folder, name=options.name, base=options.base, out=out, characteristic=options.characteristic
    )
    console = screen()
    for state in made.states:
        rows = [
            [f"{key} {axis(key, i)}", str(entry.sample.n), described(key, entry.sample), entry.doubt]
            for key in KEYS
            for i in range(3)
            if (entry := state.entries.get((key, i))) is not None and entry.sample is not None
        ]
        if rows:
            console.print(ruled(f"{options.name}, {state.name}: measured", ["value", "n", "", ""], rows))
    for caution in made.cautions:
        print(f"caution: {printable(caution.text)}", file=sys.stderr)
    for check in made.infill:
        console.print(check.words, soft_wrap=True)
    console.print(f"Card: {printable(str(out))}; all else on it is an estimate over {made.base.name}", soft_wrap=True)
    console.print(f"Page: {printable(str(out.with_suffix('.html')))}", soft_wrap=True)
    return 0
