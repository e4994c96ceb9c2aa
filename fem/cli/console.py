"""What the commands print with: tables, numbers, a bar that tells how far they are."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.errors import InputError, clean

if TYPE_CHECKING:
    from fem.caution import Caution


def screen() -> Any:
    """Where tables are printed: text as it is, never read as markup, and clean for a terminal."""
    console = _console()
    return console if console.is_terminal else _console(width=140)


def _console(**options: Any) -> Any:
    from rich.console import Console

    class Plain(Console):
        def render_str(self, text: str, **how: Any) -> Any:
            return super().render_str(clean(text), **how)

        def on_broken_pipe(self) -> None:
            raise  # to the guard

    return Plain(highlight=False, markup=False, emoji=False, **options)


def ruled(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> Any:
    """A table with a title, for `screen`."""
    from rich import box
    from rich.table import Table

    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD, header_style="bold")
    for name in columns:
        table.add_column(name, overflow="fold")
    for row in rows:
        table.add_row(*row)
    return table


def picture_place(path: Path) -> Path:
    """Where a picture goes. Errors: InputError for a folder or a device, which a picture would take the place of."""
    try:
        other = path.exists() and not path.is_file()
        path.resolve()
    except (OSError, ValueError, RuntimeError):  # a NUL, a loop of links
        raise InputError("that is no place for a file.", where=str(path)) from None
    if other:
        raise InputError("that is no file, and a picture would take its place.", where=str(path))
    return path


@contextmanager
def progress() -> Iterator[Any]:
    """One line that names the stage, how far it is and what time is left: redrawn on a terminal; a new line a stage
    in pipes and logs.
    """
    from rich.progress import BarColumn, Progress, TextColumn

    from fem.study.clock import TimeLeft

    console, time_left = _console(stderr=True), TimeLeft()
    if not console.is_terminal:
        last = [""]

        def plain(stage: str, share: float) -> None:
            head = stage.split(":")[0]
            left = time_left.words(share)
            if stage and head != last[0]:
                told = f"{100 * share:.0f} %, {left}" if left else f"{100 * share:.0f} %"
                print(f"beadwork: {clean(head)} ({told})", file=sys.stderr, flush=True)
                last[0] = head

        yield plain
        return
    columns = (
        TextColumn("{task.description:<28}", markup=False),
        BarColumn(30),
        TextColumn("{task.percentage:>3.0f} %"),
        TextColumn("{task.fields[left]}", markup=False),
    )
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("start", total=1.0, left="")

        def moving(stage: str, share: float) -> None:
            left = time_left.words(share)
            if stage:
                bar.update(task, description=clean(stage), completed=share, left=left)

        yield moving


def tell_cautions(console: Any, cautions: Iterable[Caution]) -> None:
    """A line for each caution but the standing ones; those that can turn the verdict stand out."""
    for caution in cautions:
        if caution.kind != "standing":
            head = "CAUTION" if caution.decisive else "Caution"
            console.print(f"{head}: {caution.text}", soft_wrap=True, markup=False)


def place_text(at: Any) -> str:
    """A place or a vector with one decimal."""
    return "(" + ", ".join(f"{round(v, 1) + 0.0:.1f}" for v in at) + ")"
