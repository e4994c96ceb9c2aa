"""What a run says of the program, its libraries and the memory it took."""

from __future__ import annotations

import sys
from functools import cache
from importlib.metadata import PackageNotFoundError, version

NUMERIC = ("numpy", "scipy", "numba", "gmsh", "pyamg", "trimesh")
"""Libraries whose version may change a number."""


@cache
def version_of(package: str) -> str:
    """The version of an installed package, "absent" where it is not."""
    try:
        return version(package)
    except PackageNotFoundError:
        return "absent"


def program_version() -> str:
    """The version of this program."""
    return version_of("beadwork")


def library_versions() -> dict[str, str]:
    """Versions of the libraries that make the numbers, and of those that draw them."""
    return {"python": sys.version.split()[0], **{name: version_of(name) for name in (*NUMERIC, "pyvista")}}


def peak_memory() -> float:
    """Most memory this process has held so far [MB]; 0 where the system does not say."""
    try:
        import resource
    except ImportError:
        return 0.0
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return round(most / (1e6 if sys.platform == "darwin" else 1024), 1)
