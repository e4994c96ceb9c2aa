"""How much memory this process may have: what is free, what a container allows, what limits leave."""

from __future__ import annotations

import contextlib
from pathlib import Path

UNLIMITED = 1 << 60
"""A limit above this is none: version 1 of the control groups writes a huge number instead of a word."""


def available_memory() -> float:
    """Bytes that this process may still take, by what is free, by its container and by its limits."""
    import psutil

    free = float(psutil.virtual_memory().available)
    return max(0.0, min([free, *container_room(), *limit_room()]))


def container_room(*, own: Path = Path("/proc/self/cgroup"), root: Path = Path("/sys/fs/cgroup")) -> list[float]:
    """Bytes that each control group around this process still allows; empty where there are none (not Linux).

    A group's files lie under `root` by the path that `own` names; inside a container that path may not be there, and
    the group's files lie in `root` itself. Memory that only caches files counts as free, as the system gives it back.
    Source: the kernel's documentation, admin-guide/cgroup-v2 and cgroup-v1/memory.
    """
    found = []
    with contextlib.suppress(OSError):
        for line in own.read_text(encoding="utf-8").splitlines():
            _, kinds, path = line.split(":", 2)
            if kinds and "memory" not in kinds.split(","):
                continue
            top = root / "memory" if kinds else root
            names = ("memory.limit_in_bytes", "memory.usage_in_bytes", "total_inactive_file")
            names = names if kinds else ("memory.max", "memory.current", "inactive_file")
            here = top / path.lstrip("/")
            around = [here, *(p for p in here.parents if p == top or top in p.parents)] if here.is_dir() else [top]
            found += [room for folder in around if (room := _room(folder, *names)) is not None]
    return found


def _room(folder: Path, limit: str, used: str, cache: str) -> float | None:
    """What a control group still allows [bytes], None where it sets no limit."""
    try:
        text = (folder / limit).read_text(encoding="ascii").strip()
        if text == "max" or int(text) >= UNLIMITED:
            return None
        room = float(text) - float((folder / used).read_text(encoding="ascii"))
        for line in (folder / "memory.stat").read_text(encoding="ascii").splitlines():
            if line.startswith(cache + " "):
                room += float(line.split()[1])
    except (OSError, ValueError, IndexError):
        return None
    return max(0.0, room)


def limit_room() -> list[float]:
    """Bytes that the limits of this process (`ulimit -v`, `ulimit -d`) still allow; empty where there are none."""
    try:
        import resource
    except ImportError:  # Windows
        return []
    import psutil

    held = psutil.Process().memory_info()
    rooms = []
    for name, taken in (("RLIMIT_AS", held.vms), ("RLIMIT_DATA", getattr(held, "data", held.rss))):
        limit = getattr(resource, name, None)
        soft = resource.RLIM_INFINITY if limit is None else resource.getrlimit(limit)[0]
        if soft != resource.RLIM_INFINITY:
            rooms.append(max(0.0, float(soft - taken)))
    return rooms
