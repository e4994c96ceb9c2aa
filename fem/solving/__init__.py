"""Displacements that balance the loads."""
