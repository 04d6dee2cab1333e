"""Spherometers: from dial readings to the sag of a face, and what such a gauge cannot see."""
