"""Solids that come as triangles: read them, check them, sort them into faces, mesh them."""

from fem.part.triangulated.reading import read_triangulated
from fem.part.triangulated.remeshing import mesh_triangulated

__all__ = ["mesh_triangulated", "read_triangulated"]
