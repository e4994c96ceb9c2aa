"""What the displacements mean: stress, reserve, hot spots, trust."""
