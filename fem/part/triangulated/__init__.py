"""Solids that come as triangles: read them, check them, sort them into faces, mesh them."""

from fem.part.triangulated.reading import read_triangulated, solids_in_triangles
from fem.part.triangulated.remeshing import mesh_triangulated

__all__ = ["mesh_triangulated", "read_triangulated", "solids_in_triangles"]
