"""Learning a glass from stills of one view with and without it."""
