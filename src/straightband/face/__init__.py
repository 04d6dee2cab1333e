"""The face of a mirror: its shape, its frame (u along the minor axis, v along the major axis) and polynomials orthonormal on it."""
