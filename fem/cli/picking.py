"""`beadwork pick`: a page on which faces, points, patches and a build direction are picked."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from fem.cli.console import screen
from fem.cli.which_solid import ask_for_solid, chosen_solid
from fem.errors import printable


def add_to(sub: Any) -> None:
    """The command's options."""
    pick = sub.add_parser("pick", help="write a page on which faces are picked, with the lines that a study needs")
    ask_for_solid(pick)
    pick.add_argument("--out", type=Path, help="where the page goes (default: <solid>_<format>_pick.html here)")
    pick.set_defaults(command=write_page)


def write_page(options: argparse.Namespace) -> int:
    """Write the page and say what is on it."""
    from fem.study.picking import MOST_NAMED, write_pick_page

    place, choices = write_pick_page(options.solid, out=options.out, **chosen_solid(options))
    console, count = screen(), len(choices.faces)
    console.print(f"Page: {printable(str(place))}", soft_wrap=True)
    console.print(
        f"{printable(choices.title)}: {count} faces, each with a query that matches just it.", soft_wrap=True
    )
    if count > MOST_NAMED:
        console.print(f"With more than {MOST_NAMED} faces all go by their numbers.", soft_wrap=True)
    console.print("Open it in a browser, click on faces, and copy their lines into a study.", soft_wrap=True)
    return 0
