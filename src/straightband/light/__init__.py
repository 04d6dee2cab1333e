"""Lamps, spectral lines, air, height per band and the rules that tell a hill from a hole."""
