"""Whether a mirror is good enough: wavefront at 45 degrees, Strehl, ISO 10110-5, and a decision that allows for doubt."""
