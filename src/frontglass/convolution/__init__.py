"""Spreading light over pixels: the only room with Fourier transforms."""
