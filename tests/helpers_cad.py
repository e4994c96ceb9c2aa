"""Solids drawn by the CAD kernel for a test."""

import gmsh

from fem.part.cad import keep_broken_pipes_harmless


def draw(path, build):
    """Write what `build` (a function of gmsh's kernel) draws to `path`; the suffix says the format."""
    gmsh.initialize(interruptible=False)
    gmsh.option.setNumber("General.Terminal", 0)
    try:
        build(gmsh.model.occ)
        gmsh.model.occ.synchronize()
        gmsh.write(str(path))
    finally:
        gmsh.finalize()
        keep_broken_pipes_harmless()
    return path
