"""The print plan becomes stiffness and strength at every point."""
