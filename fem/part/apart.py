"""Files from outside are read and meshed in a process apart: what crashes, hangs or swells there ends there.

`apart` is the one verb. A child process serves one request after another (its libraries take a third of a second
to load) and leaves when nothing has come for a while; one that died is replaced at the next request. Requests and
answers are pickles behind their length, over the child's standard input and output. The child is a fresh Python that
imports no main module, so that a script needs no guard and daemons, ranks and cluster workers may have one too.

It ends with its parent: its input closes then, and where a copy of it stays open elsewhere, it sees that its parent
is another. (The system's own signal at a parent's death follows the thread that started the child, not the process.)
"""

from __future__ import annotations

import atexit
import contextlib
import json
import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

from fem.errors import BeadworkError, InputError, SolidError

T = TypeVar("T")
PATIENCE_VARIABLE = "BEADWORK_PATIENCE"
"""Environment variable: by what factor the time limits are stretched, for slow machines and huge files."""
IDLE = 10.0
"""Seconds without a request after which the child leaves, and its memory with it."""
START = 60.0
"""Seconds that a child may take to come up."""
SWOLLEN = 77
"""The status with which a child leaves that has outgrown its memory, where the system sets no limit by itself."""
_BEGIN = "import sys, json; sys.path[:] = json.loads(sys.argv[1]); from fem.part.apart import serve; serve()"
_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
_ADVICE = "The file is damaged, or holds shapes that cannot be handled: export it again."


def apart(
    function: Callable[..., T],
    *given: Any,
    seconds: float,
    what: str = "reading it",
    where: str = "",
    refusal: type[InputError] = SolidError,
    memory: float | None = None,
    **named: Any,
) -> T:
    """What `function(*given, **named)` gives in the child; a function that can be found by its module and name.

    It may take `seconds` and `memory` more bytes (None: what this process may have). `what` and `where` say in
    errors what was tried on which file. Ctrl-C here ends the child.
    Errors: those that the function names, as they are; `refusal` when it crashes, takes too long or too much memory.
    """
    if _serving or not sys.executable:
        return function(*given, **named)
    from fem.memory import available_memory

    seconds *= patience()
    free = 0.9 * available_memory()
    room = free if memory is None else min(memory, free)
    request = pickle.dumps((os.getcwd(), seconds, room, function, given, named), protocol=5)
    with _lock:
        answer = _ask(request, seconds)
    if answer[0] == "done":
        found: T = answer[1]
        return found
    if answer[0] == "named":
        raise answer[1]
    if answer[0] == "failed":
        raise refusal(f"{what} failed ({answer[1]}).", where=where, advice=_ADVICE) from RuntimeError(answer[2])
    told, advice = _in_words(answer[1], seconds, room)
    raise refusal(f"{what} {told}.", where=where, advice=advice)


def patience() -> float:
    """By what factor the user stretches time limits. Errors: InputError."""
    text = os.environ.get(PATIENCE_VARIABLE, "1")
    with contextlib.suppress(ValueError):
        if 0 < float(text) < 1e6:
            return float(text)
    raise InputError(f"{text!r} is no factor above 0.", where=PATIENCE_VARIABLE)


def _in_words(status: int | None, seconds: float, room: float) -> tuple[str, str]:
    """What became of a child that gave no answer (None: its time was over), and what to do."""
    late = f"took longer than {seconds:.0f} s and was stopped"
    if status is None or status == -getattr(signal, "SIGXCPU", 0):
        return late, f"{_ADVICE} If it is really that large, set {PATIENCE_VARIABLE}=10 for ten times as long."
    if status in (SWOLLEN, -getattr(signal, "SIGABRT", 6), -getattr(signal, "SIGKILL", 9)):
        return f"was given up, most likely for want of memory ({room / 1e9:.1f} GB were allowed)", _ADVICE
    try:
        name = signal.Signals(-status).name if status < 0 else f"status {status}"
    except ValueError:
        name = f"status {status}"
    return f"crashed ({name})", _ADVICE


# ---- this side


class _Child:
    """A child process and the pipes to it."""

    def __init__(self) -> None:
        paths = [str(Path(__file__).resolve().parents[2]), *(p for p in sys.path if isinstance(p, str))]
        try:
            self.process = subprocess.Popen(
                [sys.executable, "-c", _BEGIN, json.dumps(paths)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env={**os.environ, **_ONE_THREAD},
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )
        except OSError as error:
            raise InputError(
                f"the system starts no further process ({error.strerror}).", advice="Close other programs."
            ) from None

    def send(self, request: bytes) -> bool:
        """Whether the child took it."""
        with _harmless_pipes():
            try:
                assert self.process.stdin is not None
                self.process.stdin.write(len(request).to_bytes(8, "little") + request)
                self.process.stdin.flush()
            except OSError:
                return False
        return True

    def receive(self, seconds: float) -> Any:
        """The child's next message; None when it ended before, by itself or because the time was over."""
        self.late = False
        timer = threading.Timer(seconds, self._too_late)
        timer.daemon = True
        timer.start()
        try:
            return _read(self.process.stdout)
        finally:
            timer.cancel()

    def _too_late(self) -> None:
        self.late = True
        self.process.kill()

    def end(self) -> int:
        """The status it ended with; it is ended now if it has not ended before."""
        with _harmless_pipes(), contextlib.suppress(OSError):
            self.process.stdin.close()  # type: ignore[union-attr]
        try:
            return self.process.wait(timeout=1.0)
        except subprocess.TimeoutExpired:
            self.process.kill()
            return self.process.wait()
        finally:
            self.process.stdout.close()  # type: ignore[union-attr]

    def kill(self) -> None:
        """End it at once."""
        self.process.kill()
        self.end()


@contextlib.contextmanager
def _harmless_pipes() -> Iterator[None]:
    """A broken pipe is an error here, also where a library (gmsh is one) has made it deadly to the whole process."""
    if not hasattr(signal, "SIGPIPE") or not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGPIPE})
    try:
        yield
    finally:
        if signal.SIGPIPE not in before:
            if signal.SIGPIPE in signal.sigpending():
                signal.sigwait({signal.SIGPIPE})
            signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGPIPE})


_child: _Child | None = None
_lock = threading.Lock()
_serving = False


def _ask(request: bytes, seconds: float) -> tuple[Any, ...]:
    """The child's answer, or ("ended", status). One that ended before it took the request in hand is replaced."""
    global _child
    for _ in range(3):
        if _child is None:
            _child = _Child()
        child = _child
        try:
            if child.send(request) and child.receive(START) == "taken":
                answer = child.receive(seconds)
                if answer is not None:
                    return tuple(answer)
                _child = None
                status = child.end()
                return ("ended", None if child.late else status)
        except BaseException:
            _child = None
            child.kill()
            raise
        _child = None
        child.kill()
    raise InputError("the process that reads and meshes solids does not come up.", advice="Is memory short?")


def end_child() -> None:
    """Let the child go; the next request starts another."""
    global _child
    child, _child = _child, None
    if child is not None:
        child.kill()


def _forget_child() -> None:
    """A fork has none of its own: its parent's goes on serving the parent."""
    global _child, _lock
    if _child is not None:
        # Closed here, so that the child ends with its parent though this process lives on
        for pipe in (_child.process.stdin, _child.process.stdout):
            with contextlib.suppress(OSError):
                pipe.close()  # type: ignore[union-attr]
    _child, _lock = None, threading.Lock()


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_forget_child)


atexit.register(end_child)


# ---- the child's side


def serve() -> None:
    """Do what comes over standard input, one request after another; never returns."""
    global _serving
    _serving = True
    requests, answers = os.dup(0), os.dup(1)
    nowhere = os.open(os.devnull, os.O_RDWR)
    for usual in (0, 1, 2):
        os.dup2(nowhere, usual)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent's business, which ends this process
    waiting: queue.Queue[Any] = queue.Queue()
    threading.Thread(target=_listen, args=(os.fdopen(requests, "rb"), waiting), daemon=True).start()
    threading.Thread(target=_watch, args=(os.getppid(),), daemon=True).start()
    out = os.fdopen(answers, "wb")
    while True:
        try:
            request = waiting.get(timeout=IDLE)
        except queue.Empty:
            os._exit(0)
        _write(out, "taken")
        _write(out, _answer(request))


def _answer(request: bytes) -> tuple[Any, ...]:
    try:
        folder, seconds, room, function, given, named = pickle.loads(request)
        os.chdir(folder)
        _limit(seconds, room)
        return ("done", function(*given, **named))
    except MemoryError:
        os._exit(SWOLLEN)
    except (BeadworkError, OSError) as error:
        return ("named", error)
    except BaseException as error:
        words = " ".join(f"{type(error).__name__}: {error}".split())
        return ("failed", words[:200], traceback.format_exc())


_most = [float("inf")]  # resident bytes, where the system sets no limit by itself


def _limit(seconds: float, room: float) -> None:
    """Hold this process to `room` more bytes and to the processor time that `seconds` can hold."""
    import psutil

    held = psutil.Process()
    _most[0] = held.memory_info().rss + room
    try:
        import resource
    except ImportError:  # Windows: `_watch` looks after the memory
        return
    spent = time.process_time()
    for kind, wanted in (
        (resource.RLIMIT_AS, held.memory_info().vms + room + 5e8),  # libraries to come take half a gigabyte of places
        (resource.RLIMIT_CPU, spent + 2 * seconds + 10),
    ):
        hard = resource.getrlimit(kind)[1]
        soft = int(wanted) if hard == resource.RLIM_INFINITY else min(int(wanted), hard)
        with contextlib.suppress(ValueError, OSError):  # macOS takes no limit of addresses
            resource.setrlimit(kind, (soft, hard))


def _watch(parent: int) -> None:
    """End this process when its parent has ended, or when it has outgrown its memory."""
    import psutil

    own = psutil.Process()
    while True:
        time.sleep(0.5)
        if hasattr(os, "getppid") and os.name == "posix" and os.getppid() != parent:
            os._exit(1)
        if own.memory_info().rss > _most[0]:
            os._exit(SWOLLEN)


def _listen(pipe: Any, waiting: queue.Queue[Any]) -> None:
    while True:
        length = pipe.read(8)
        request = pipe.read(int.from_bytes(length, "little")) if len(length) == 8 else b""
        if not request:
            os._exit(0)  # the parent is gone
        waiting.put(request)


# ---- both sides


def _write(pipe: Any, message: Any) -> None:
    text = pickle.dumps(message, protocol=5)
    pipe.write(len(text).to_bytes(8, "little") + text)
    pipe.flush()


def _read(pipe: Any) -> Any:
    """The next message, None at the end of the pipe."""
    length = pipe.read(8)
    if len(length) < 8:
        return None
    text = pipe.read(int.from_bytes(length, "little"))
    return pickle.loads(text) if len(text) == int.from_bytes(length, "little") else None
