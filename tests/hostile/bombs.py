"""Small files that claim or hold far more than they should: refused before memory is taken.

python -m tests.hostile.bombs
"""

from __future__ import annotations

import io
import struct
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import tifffile
from PIL import Image

from frontglass.files.png import SIGNATURE, chunk_bytes
from tests.files.conftest import exr, planes
from tests.hostile.reader import Reader

HUGE = 2**31 - 1
MOST_S = 5.0


def png(width: int, height: int, data: bytes, *more: bytes) -> bytes:
    """Return a PNG file with these pixels, packed, and further chunks before them."""
    head = chunk_bytes(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"".join((SIGNATURE, head, *more, chunk_bytes(b"IDAT", data), chunk_bytes(b"IEND", b"")))


def packed_zeros(megabytes: int) -> bytes:
    """Return zeros, packed."""
    pack = zlib.compressobj(9)
    return b"".join([*(pack.compress(bytes(1 << 20)) for _ in range(megabytes)), pack.flush()])


def jpeg() -> bytes:
    """Return a small JPEG file."""
    file = io.BytesIO()
    Image.fromarray(np.full((16, 16, 3), 90, np.uint8)).save(file, "JPEG")
    return file.getvalue()


def two_frames() -> bytes:
    """Return a JPEG file with a second frame header, of 65,500 pixels a side."""
    data = jpeg()
    at = data.index(b"\xff\xc0")
    end = at + 2 + struct.unpack_from(">H", data, at + 2)[0]
    other = bytearray(data[at:end])
    struct.pack_into(">HH", other, 5, 65500, 65500)
    return data[:end] + bytes(other) + data[end:]


def channels(count: int, side: int) -> bytes:
    """Return an OpenEXR file of black channels."""
    plane = np.zeros((side, side), np.float32)
    names = ("R", "G", "B", *(f"aov{n}" for n in range(count - 3)))
    with TemporaryDirectory() as folder:
        path = Path(folder, "a.exr")
        exr({name: plane for name in names})(path)
        return path.read_bytes()


def enlarged(data: bytes, window: bytes) -> bytes:
    """Return an OpenEXR file whose windows claim 2^31 pixels a side."""
    return data.replace(window, struct.pack("<4i", 0, 0, HUGE - 1, HUGE - 1))


def bombs(*, small: bool = False) -> Iterator[tuple[str, str, bytes]]:
    """Yield name, suffix and content; small ones take no time to make."""
    yield "png that claims 2^31 by 2^31", ".png", png(HUGE, HUGE, packed_zeros(1))
    yield "png that inflates to 2 GB", ".png", png(64, 48, packed_zeros(100 if small else 2048))
    second = chunk_bytes(b"IHDR", struct.pack(">IIBBBBB", 60000, 60000, 8, 2, 0, 0, 0))
    yield "png of two headers", ".png", png(64, 48, packed_zeros(1), second)
    yield "jpeg of two frames", ".jpg", two_frames()
    at = (data := jpeg()).index(b"\xff\xc0")
    yield "jpeg of 65535 squared", ".jpg", data[: at + 5] + b"\xff" * 4 + data[at + 9 :]
    with TemporaryDirectory() as folder:
        path = Path(folder, "a.exr")
        exr(planes("RGB", "f2"))(path)
        data = path.read_bytes()
    at = data.index(b"dataWindow\0box2i\0") + 21
    yield "exr that claims 2^31 by 2^31", ".exr", enlarged(data, data[at : at + 16])
    file = io.BytesIO()
    tifffile.imwrite(file, np.zeros((16, 16, 3), np.uint8), photometric="rgb")
    data = bytearray(file.getvalue())
    for code in (256, 257):
        at = data.index(struct.pack("<H", code))
        data[at : at + 12] = struct.pack("<HHII", code, 4, 1, HUGE)
    yield "tiff that claims 2^31 by 2^31", ".tif", bytes(data)
    head = b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n"
    yield "hdr that claims 2^31 by 2^31", ".hdr", head + b"-Y 2147483647 +X 2147483647\n"
    if not small:
        profile = b"x\0\0" + packed_zeros(1024)
        yield (
            "png with a profile of 1 GB",
            ".png",
            png(64, 48, zlib.compress(bytes(48 * 193)), chunk_bytes(b"iCCP", profile)),
        )
        yield "exr of 63 channels", ".exr", channels(63, 4300)


def main() -> int:
    """Read all, print what became of them; 1 if anything went wrong."""
    wrong = 0
    with TemporaryDirectory() as folder:
        for name, suffix, data in bombs():
            path = Path(folder, f"bomb{suffix}")
            path.write_bytes(data)
            reader = Reader(Path(folder, "noise.txt"))
            said, took = reader.read("picture", path)
            reader.close()
            is_wrong = not said.startswith(("line", "read")) or took > MOST_S
            wrong += is_wrong
            mark = "WRONG " if is_wrong else ""
            print(f"{mark}{name} ({len(data)} bytes): {said.replace(str(path), '')} ({took:.1f} s)")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
