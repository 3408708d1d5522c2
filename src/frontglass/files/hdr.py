"""Radiance HDR: the header is read and written here, the pixels by OpenCV."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.limits import check_size
from frontglass.files.outgoing import Outgoing
from frontglass.files.still import FileStill
from frontglass.picture.curves import LINEAR
from frontglass.picture.encoding import Codes, Container
from frontglass.picture.primaries import BT709, Chromaticity, Primaries

SIGNATURES = (b"#?RADIANCE", b"#?RGBE")
_RGBE, _XYZE = "32-bit_rle_rgbe", "32-bit_rle_xyze"
_RESOLUTION = re.compile(rb"([+-])([XY]) +(\d{1,9}) +([+-])([XY]) +(\d{1,9})")
_LONGEST_HEADER = 1 << 20


def read_hdr(data: bytes) -> FileStill:
    """Read a Radiance HDR file.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short or too large.
    """
    lines, rest = _header(data)
    values = dict(line.split("=", 1) for line in lines if "=" in line and line[0] != "#")
    pixel_format = values.get("FORMAT", _RGBE).strip()
    if pixel_format not in {_RGBE, _XYZE}:
        raise PictureFileError(f"Radiance HDR files of format {pixel_format!r} cannot be read.")
    match = _RESOLUTION.match(rest)
    if match is None or match[2] == match[5]:
        raise PictureFileError("The Radiance HDR file is damaged: no resolution line.")
    rows, columns = int(match[3]), int(match[6])
    check_size(columns, rows)
    body = rest[rest.index(b"\n") + 1 :] if b"\n" in rest else b""
    codes = _pixels(body, rows, columns)
    # Scanlines may run any way; seen so far: one line per row, top row first.
    if match[1] == (b"+" if match[2] == b"Y" else b"-"):
        codes = codes[::-1]
    if match[4] == (b"-" if match[5] == b"X" else b"+"):
        codes = codes[:, ::-1]
    if match[2] == b"X":
        codes = codes.transpose(1, 0, 2)
    notices: tuple[str, ...] = ()
    primaries = _primaries(values.get("PRIMARIES"))
    if pixel_format == _XYZE:
        codes = (codes @ np.linalg.inv(BT709.xyz_from_rgb).T).astype(np.float32)
        primaries, notices = BT709, ("XYZ codes are converted to BT.709 and written back so.",)
    return FileStill(
        container=Container.HDR,
        codes=np.ascontiguousarray(codes),
        primaries=primaries,
        curves=(LINEAR,) * 3,
        carried={"hdr_lines": tuple(line for line in lines if not line.startswith("FORMAT="))},
        notices=notices,
    )


def hdr_bytes(still: Outgoing) -> bytes:
    """Return a Radiance HDR file of (H, W, 3) float32 codes, none negative."""
    import cv2

    is_written, data = cv2.imencode(".hdr", np.ascontiguousarray(still.codes[..., ::-1]))
    if not is_written:
        raise PictureFileError("The picture cannot be stored as Radiance HDR.")
    raw = data.tobytes()
    pixels = raw[raw.index(b"\n\n") + 2 :]
    lines = list(still.carried.get("hdr_lines", ("#?RADIANCE",)))
    if not any(line.startswith("PRIMARIES=") for line in lines):
        p = still.primaries
        points = (p.red, p.green, p.blue, p.white)
        lines.append("PRIMARIES=" + " ".join(f"{x:.4f} {y:.4f}" for x, y in points))
    lines.append(f"FORMAT={_RGBE}")
    return "\n".join(lines).encode("latin-1") + b"\n\n" + pixels


def _header(data: bytes) -> tuple[list[str], bytes]:
    end = data.find(b"\n\n", 0, _LONGEST_HEADER)
    if end < 0:
        raise PictureFileError("The Radiance HDR file is cut short or damaged: no end of header.")
    return data[:end].decode("latin-1").split("\n"), data[end + 2 :]


def _pixels(body: bytes, rows: int, columns: int) -> Codes:
    import cv2

    # OpenCV knows one scanline order only; it is given that one.
    plain = f"#?RADIANCE\nFORMAT={_RGBE}\n\n-Y {rows} +X {columns}\n".encode() + body
    try:
        with _quiet_opencv():
            codes = cv2.imdecode(np.frombuffer(plain, np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error as error:
        if error.code == cv2.Error.StsNoMem:
            raise MemoryError from None
        # OpenCV has limits of its own: 2**20 pixels a side, and 2**30 in all.
        raise PictureFileError(
            f"{columns} x {rows} pixels are more than can be read of Radiance HDR."
        ) from error
    if codes is None or codes.shape != (rows, columns, 3):
        raise PictureFileError("The Radiance HDR file is cut short or damaged.")
    return codes[..., ::-1]


@contextmanager
def _quiet_opencv() -> Iterator[None]:
    """Keep OpenCV's own log off the terminal; the error is ours to tell."""
    import cv2

    logging = cv2.utils.logging
    level = logging.getLogLevel()
    logging.setLogLevel(logging.LOG_LEVEL_SILENT)
    try:
        yield
    finally:
        logging.setLogLevel(level)


def _primaries(line: str | None) -> Primaries:
    if line is None:
        # The format names primaries of its own; what writes such files today means BT.709.
        return BT709
    try:
        v = [float(word) for word in line.split()]
        if v == [0.0] * 8:  # some writers' word for unknown
            return BT709
        points: list[Chromaticity] = [(v[k], v[k + 1]) for k in range(0, 8, 2)]
        return Primaries(*points)
    except (ValueError, IndexError, ParameterError):
        raise PictureFileError("The Radiance HDR file's PRIMARIES line makes no sense.") from None
