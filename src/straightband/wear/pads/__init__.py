"""Self-stick pads on a polishing plate: their outlines, how evenly they wear a piece, and where they go."""
