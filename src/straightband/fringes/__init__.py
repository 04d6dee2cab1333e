"""From the square-on picture of a face to heights: starts, the fit of the whole face, the local stage and its noise."""
