"""`beadwork draft`: a first study of a solid."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from fem.cli.console import place_text, ruled, screen
from fem.cli.which_solid import ask_for_solid, chosen_solid
from fem.errors import printable


def add_to(sub: Any) -> None:
    """The command's options."""
    draft = sub.add_parser(
        "draft", help="write a first study of a solid: its faces named, supports and loads guessed"
    )
    ask_for_solid(draft, otherwise=" (default: all)")
    draft.add_argument("--out", type=Path, help="where the study goes, a new file (default: <solid>.toml here)")
    draft.set_defaults(command=write_draft)


def write_draft(options: argparse.Namespace) -> int:
    """Write the study and say what it guesses and what is to be edited."""
    from fem.study.drafting.story import draft_study
    from fem.study.drafting.text import MARK

    draft = draft_study(options.solid, out=options.out, **chosen_solid(options))
    console = screen()
    for body in draft.bodies:
        rows = [
            [
                n.offer.name,
                n.offer.what,
                f"{n.offer.area:,.1f}",
                place_text(n.offer.centre),
                "" if n.offer.radius is None else f"{n.offer.radius:.3f}",
            ]
            for n in body.faces
            if n.offer.named
        ]
        spare = sum(not n.offer.named for n in body.faces)
        title = f"{body.name}: faces named" + (f", and {spare} more as comments" if spare else "")
        console.print(ruled(title, ["face", "what", "area [mm²]", "centre [mm]", "radius [mm]"], rows))
    place = printable(str(draft.path))
    marked = [(i, line) for i, line in enumerate(draft.text.splitlines(), start=1) if MARK in line]
    console.print(f"Study: {place}", soft_wrap=True)
    console.print("These lines are guesses: edit them, then delete the line draft = true.", soft_wrap=True)
    for i, line in marked:
        console.print(f"  line {i}: {line.split(MARK)[0].rstrip()}", soft_wrap=True)
    console.print(f"Next: beadwork check {place}, then beadwork run {place}", soft_wrap=True)
    return 0
