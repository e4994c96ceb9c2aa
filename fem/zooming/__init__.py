"""Zooming: a cube of beads, or the whole part of them, solved and judged as printed."""
