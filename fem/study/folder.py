"""The results folder: written beside, put in place at the end, nobody else's files touched.

What a run writes is gathered in a folder of its own (the stage) and moved into place when it is whole. Where results
lie already, several names must change: the stage then holds a journal of them, and from there on the exchange is
finished by whoever comes next, this run or any later one. A stage is locked while its run lives, so that a later run
knows what was left behind by one that is dead, and takes that away. The user's own files in the folder never move.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fem.errors import InputError
from fem.study.locks import Lock, is_held

MARKS = ("findings.json", "beads.vtu", "variants", "comparison.csv", "directions", "orientation.csv", "evidence.json")
"""A folder that holds one of these is a results folder."""
OWN = ("findings.json", "fields.vtu", "part.json", "report.html", "pictures", "review.pdf", "review.html")
"""What belongs to a run: a new one replaces it, and a review of the older one goes with that.

Anything else in a results folder is the user's and stays.
"""
STAGE = ".beadwork-"
"""How the names of stages begin; within one lie `new`, later `old`, and the journal."""
JOURNAL, LOCK = "journal.json", "lock"
YOUNG = 60.0
"""Seconds after which a stage without a lock is one whose run was ended before it could lock it."""
_ADVICE = "Name another --out."


@contextmanager
def fresh_folder(wanted: Path) -> Iterator[Path]:
    """A new folder to write a run's results into; they take their place in `wanted` when the block ends well.

    Errors: InputError, before any work, when results cannot be put there, and when the disk is full.
    """
    with _exchanged(wanted, dropped=OWN) as beside:
        yield beside


@contextmanager
def added_together(folder: Path) -> Iterator[Path]:
    """A new folder whose files are put into the results folder all together, or none of them.

    Errors: InputError as for `fresh_folder`.
    """
    with _exchanged(folder, dropped=()) as beside:
        yield beside


@contextmanager
def open_folder(wanted: Path) -> Iterator[Path]:
    """A results folder to add to, made and tried before any work. Errors: InputError."""
    folder = checked_place(wanted)
    with contextlib.ExitStack() as closing:
        with _naming(wanted):
            folder.mkdir(parents=True, exist_ok=True)
            with _stage(folder):
                pass  # the folder takes files
            _drop_halves(folder)
            lock = Lock(folder, shared=True)
        closing.callback(lock.release)
        yield folder


def checked_place(wanted: Path) -> Path:
    """The folder that results shall go to, with what a stopped run left there set right. Errors: InputError."""
    try:
        folder = wanted.resolve()
        _refuse_foreign(folder, wanted)
        recover(folder)
    except (ValueError, RuntimeError):  # a NUL in the name; a loop of links
        raise InputError("that is no place for a folder.", where=str(wanted), advice=_ADVICE) from None
    except OSError as error:
        raise _unwritten(error, wanted) from None
    return folder


def recover(folder: Path) -> None:
    """Finish the exchange of a run that was ended in its midst, and take away what dead runs have left."""
    for stage in _stages(folder):
        lock = Lock.taken(stage / LOCK)
        if lock is None:
            if not _there(stage / LOCK) and not _there(stage / "new") and time.time() - stage.stat().st_mtime > YOUNG:
                shutil.rmtree(stage, ignore_errors=True)
            continue  # else its run lives, or there is no telling
        try:
            if (stage / JOURNAL).is_file():
                _bring_in(stage, folder)
        finally:
            lock.release()
        shutil.rmtree(stage, ignore_errors=True)


# ---- one exchange


@contextmanager
def _exchanged(wanted: Path, *, dropped: Sequence[str]) -> Iterator[Path]:
    folder = checked_place(wanted)
    with contextlib.ExitStack() as closing:
        with _naming(wanted):
            folder.parent.mkdir(parents=True, exist_ok=True)
            stage = closing.enter_context(_stage(folder))
        with _naming(wanted, stage):
            yield stage / "new"
            _put_in_place(stage, folder, dropped=dropped)


@contextmanager
def _stage(folder: Path) -> Iterator[Path]:
    """A stage in the folder or, where that is not there yet, beside it; it goes in the end."""
    inside = folder.is_dir()
    stage = Path(
        tempfile.mkdtemp(
            prefix=STAGE if inside else f"{STAGE}{folder.name}-", dir=folder if inside else folder.parent
        )
    )
    lock = None
    try:
        lock = Lock(stage / LOCK)
        (stage / "new").mkdir()
        yield stage
    finally:
        if lock is not None:
            lock.release()
        # A journal that is still there says what a later run has to do
        if not (stage / JOURNAL).is_file():
            shutil.rmtree(stage, ignore_errors=True)


def _stages(folder: Path) -> list[Path]:
    """The stages, of living and dead runs, that belong to the folder."""
    found = []
    for place, start in ((folder, STAGE), (folder.parent, f"{STAGE}{folder.name}-")):
        with contextlib.suppress(FileNotFoundError, NotADirectoryError):
            # What mkdtemp adds holds no hyphen, so that no other folder's stage is taken for this one's
            named = re.compile(re.escape(start) + "[A-Za-z0-9_]{8}")
            found += [place / name for name in os.listdir(place) if named.fullmatch(name)]
    return [p for p in found if p.is_dir() and not p.is_symlink()]


def _put_in_place(stage: Path, folder: Path, *, dropped: Sequence[str]) -> None:
    """Move what is in stage/new into the folder, what is dropped out of it. Errors: OSError; nothing has moved."""
    names = sorted(p.name for p in (stage / "new").iterdir())
    plan = {"bring": names, "drop": [n for n in dropped if n not in names and _there(folder / n)]}
    try:
        if not folder.exists():
            os.replace(stage / "new", folder)  # one step
            return
        (stage / "old").mkdir()
        _write_journal(stage, plan)  # from here on the new results stand, whoever moves them
        _bring_in(stage, folder)
    except OSError:
        _take_back(stage, folder, plan)
        raise
    except KeyboardInterrupt as stop:
        if names and not _there(stage / JOURNAL) and _there(stage / "new" / names[-1]):
            raise
        try:
            _bring_in(stage, folder)
        except KeyboardInterrupt as again:
            again.args = ("the next run goes on to put the new results in place",)
            raise
        stop.args = ("the new results had just been put in place",)
        raise


def _write_journal(stage: Path, plan: dict[str, Any]) -> None:
    half = stage / f"{JOURNAL}.half"
    with half.open("w", encoding="utf-8") as file:
        json.dump(plan, file)
        file.flush()
        os.fsync(file.fileno())
    os.replace(half, stage / JOURNAL)


def _bring_in(stage: Path, folder: Path) -> None:
    """What the journal says, from wherever it was left: the old out of the way, then the new in its place.

    The findings go first and come last: where they lie, the rest lies too.
    """
    if not (stage / JOURNAL).is_file():
        return
    plan = json.loads((stage / JOURNAL).read_text(encoding="utf-8"))
    waiting = [n for n in plan["bring"] if _there(stage / "new" / n)]
    for name in sorted([*waiting, *plan["drop"]], key=lambda n: n != OWN[0]):
        if _there(folder / name) and not _there(stage / "old" / name):
            os.replace(folder / name, stage / "old" / name)
    for name in sorted(waiting, key=lambda n: n == OWN[0]):
        os.replace(stage / "new" / name, folder / name)
    os.unlink(stage / JOURNAL)


def _take_back(stage: Path, folder: Path, plan: dict[str, Any]) -> None:
    """Undo an exchange that the system refused half-way (a file that another program holds open)."""
    with contextlib.suppress(OSError):
        for name in plan["bring"]:
            if _there(folder / name) and not _there(stage / "new" / name):
                os.replace(folder / name, stage / "new" / name)
        for kept in (stage / "old").iterdir():
            os.replace(kept, folder / kept.name)
        (stage / JOURNAL).unlink(missing_ok=True)


def _there(path: Path) -> bool:
    return os.path.lexists(path)


# ---- what is refused, and what is swept


def _refuse_foreign(folder: Path, wanted: Path) -> None:
    if folder == Path.cwd() or folder in Path.cwd().parents:
        raise InputError("results would replace the folder you work in.", where=str(wanted), advice=_ADVICE)
    if folder.exists() and not folder.is_dir():
        raise InputError("that is a file, not a folder.", where=str(wanted), advice=_ADVICE)
    if not folder.is_dir():
        return
    inside = [p for p in folder.iterdir() if not p.name.startswith(STAGE)]
    staged = any((stage / JOURNAL).is_file() for stage in _stages(folder))
    if inside and not staged and not any((folder / mark).exists() for mark in MARKS):
        raise InputError(
            "the folder holds files that are not results of Beadwork.", where=str(wanted), advice=_ADVICE
        )


def _drop_halves(folder: Path) -> None:
    """Take away half-written files, when no other run works in the folder."""
    if not is_held(folder):
        for half in (*folder.glob("*.part"), *folder.glob("variants/*.part"), *folder.glob("directions/*.part")):
            with contextlib.suppress(OSError):
                half.unlink()


@contextmanager
def _naming(wanted: Path, stage: Path | None = None) -> Iterator[None]:
    """What the system does not take is told with the folder it was meant for (of work on a `stage`: only that)."""
    try:
        yield
    except OSError as error:
        if stage is None or error.filename is None or str(stage) in os.fsdecode(error.filename):
            raise _unwritten(error, wanted) from None
        raise


def _unwritten(error: OSError, wanted: Path) -> InputError:
    advice = "Make room, or name another --out." if error.errno == errno.ENOSPC else _ADVICE
    return InputError(
        f"results cannot be written there ({error.strerror or error}).", where=str(wanted), advice=advice
    )
