"""Stills from file to file: one, or a whole folder."""
