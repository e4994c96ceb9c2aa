"""A solid file becomes tetrahedra with named faces."""
