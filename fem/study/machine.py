"""What a run says of the program, its libraries and the memory it took."""

from __future__ import annotations

import sys
from importlib.metadata import PackageNotFoundError, version


def program_version() -> str:
    """The version of this program."""
    try:
        return version("beadwork")
    except PackageNotFoundError:
        return "unknown"


def library_versions() -> dict[str, str]:
    """Versions of the libraries that decide the numbers."""
    names = ("numpy", "scipy", "numba", "gmsh", "pyamg", "pyvista", "trimesh")
    out = {"python": sys.version.split()[0]}
    for name in names:
        try:
            out[name] = version(name)
        except PackageNotFoundError:
            out[name] = "absent"
    return out


def peak_memory() -> float:
    """Most memory this process has held so far [MB]; 0 where the system does not say."""
    try:
        import resource
    except ImportError:
        return 0.0
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return round(most / (1e6 if sys.platform == "darwin" else 1024), 1)
