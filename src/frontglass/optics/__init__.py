"""Physics on numbers and angles: no pictures, no pixels but the camera's, no files."""
