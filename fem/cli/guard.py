"""What stands around every command: whatever happens inside ends in one line and the right status."""

from __future__ import annotations

import codecs
import contextlib
import errno
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from typing import Any

from fem.errors import BeadworkError, clean, printable

STOPPED, ENDED = 130, 143
"""Exit status after Ctrl-C and after SIGTERM, by the custom of shells: 128 and the signal's number."""
_PLAIN = {"²": "2", "³": "3", "×": "x", "−": "-", "–": "-", "—": "-", "°": "deg ", "µ": "u", "μ": "u", "≥": ">="}
_PLAIN |= {"≤": "<=", "·": ".", "…": "...", "“": '"', "”": '"', "’": "'", "τ": "tau", "σ": "sigma", "ν": "nu"}


class Ended(KeyboardInterrupt):
    """SIGTERM or SIGHUP asked the command to end: it cleans up as after Ctrl-C."""


def guarded(command: Callable[[], int]) -> int:
    """Run a command and return its exit status; every failure is told in one line on standard error."""
    with _sound_streams(), _signals(), warnings.catch_warnings():
        from fem.fault import NO_MEMORY, fault_line, quiet_libraries

        quiet_libraries()
        try:
            status = command()
            sys.stdout.flush()
            return status
        except SystemExit:  # --help and the like: what they printed may have no reader either
            try:
                sys.stdout.flush()
            except OSError:
                _close_output()
            raise
        except BeadworkError as error:
            return told(str(error), error.exit_status)
        except MemoryError:
            return told(NO_MEMORY, 4)
        except KeyboardInterrupt as stop:
            return stopped(stop)
        except Exception as error:
            if _wants_memory(error):
                return told(NO_MEMORY, 4)
            if isinstance(error, OSError) and _reader_has_left():
                _close_output()
                return 0
            if isinstance(error, OSError) and error.strerror:
                place = error.filename if error.filename is not None else "a file or standard output"
                return told(f"{printable(os.fsdecode(place))}: {error.strerror}.", 2)
            return told(fault_line(error), 1)


def _wants_memory(error: Exception) -> bool:
    """Whether memory ran out where Python does not say so: in the system, or as a library was loaded."""
    if isinstance(error, OSError):
        return error.errno == errno.ENOMEM
    words = ("failed to map", "annot allocate", "can't start new thread")
    return isinstance(error, ImportError | RuntimeError) and any(word in str(error) for word in words)


def told(line: str, status: int) -> int:
    """Print a line (a failure of many parts: a line each) on standard error and give the status back."""
    with contextlib.suppress(OSError, ValueError):
        print(f"beadwork: {clean(line)}", file=sys.stderr, flush=True)
    return status


def stopped(stop: KeyboardInterrupt, state: str = "earlier results are as they were") -> int:
    """Say that the command was stopped and how the results stand; what knows better has said so in the interrupt."""
    known = next((text for text in stop.args if isinstance(text, str)), state)
    return told(f"stopped; {known}.", ENDED if isinstance(stop, Ended) else STOPPED)


@contextlib.contextmanager
def _signals() -> Iterator[None]:
    """SIGTERM and SIGHUP end the command as Ctrl-C does, with all that is cleaned up then; a second one at once."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before: dict[Any, Any] = {}

    def end(number: int, _frame: Any) -> None:
        signal.signal(number, signal.SIG_DFL)
        raise Ended

    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:  # what nohup set stays
            before[number] = signal.signal(number, end)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextlib.contextmanager
def _sound_streams() -> Iterator[None]:
    """Standard streams that take any character, and that are there: one that was closed leads nowhere.

    Else the next file that is opened would take the closed one's number, and get what libraries print.
    """
    codecs.register_error("plain", _plain)
    while (number := os.open(os.devnull, os.O_RDWR)) <= 2:
        os.set_inheritable(number, True)
    os.close(number)
    for name, file in (("stdout", 1), ("stderr", 2)):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, os.fdopen(file, "w", encoding="utf-8", errors="plain", closefd=False))
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="plain")
    yield


def _plain(error: UnicodeError) -> tuple[str, int]:
    """What a terminal gets for characters that it does not know."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_PLAIN.get(c, "?") for c in error.object[error.start : error.end]), error.end


def _reader_has_left() -> bool:
    """Whether what reads standard output (`| head`) is gone."""
    import select

    if not hasattr(select, "poll"):
        return isinstance(sys.exception(), BrokenPipeError) if hasattr(sys, "exception") else True
    try:
        poll = select.poll()
        poll.register(sys.stdout.fileno(), select.POLLOUT)
        return any(what & select.POLLERR for _, what in poll.poll(0))
    except (OSError, ValueError, AttributeError):
        return False


def _close_output() -> None:
    """What is still held back for a reader that has left goes nowhere, without a word at the end of Python."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
