"""Picture files: the only room that knows formats."""

from frontglass.files.non_finite import NonFinite
from frontglass.files.plan import EXTENSIONS
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture

__all__ = ["EXTENSIONS", "NonFinite", "read_picture", "write_picture"]
