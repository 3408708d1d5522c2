"""Picture files: the only room that knows formats."""

from frontglass.files.plan import EXTENSIONS, READABLE
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.picture.non_finite import NonFinite

__all__ = ["EXTENSIONS", "READABLE", "NonFinite", "read_picture", "write_picture"]
