"""What to do next on the lap: strokes, their wear, the shortest list that flattens, and what earlier runs taught."""
