"""Files as phones write them: HEIF put together box by box, and JPEG with pictures behind it."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass, field

import numpy as np
import pillow_heif
from PIL import Image

from frontglass.files.boxes import items_of

GAIN_MAP = "urn:com:apple:photo:2020:aux:hdrgainmap"
DEPTH = "urn:mpeg:hevc:2015:auxid:2"
XMP_HEAD = b"http://ns.adobe.com/xap/1.0/\0"


def xmp(fields: str, space: str, uri: str) -> bytes:
    """Return a packet with one description, its fields as elements or attributes."""
    inside = f"{fields}/>" if fields.startswith(" ") else f">{fields}</rdf:Description>"
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF '
        'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" '
        f'xmlns:{space}="{uri}"{inside}</rdf:RDF></x:xmpmeta>'
    ).encode()


def gain_xmp(fields: str) -> bytes:
    return xmp(fields, "hdrgm", "http://ns.adobe.com/hdr-gain-map/1.0/")


def phone_xmp(headroom: float) -> bytes:
    text = f"<HDRGainMap:HDRGainMapHeadroom>{headroom}</HDRGainMap:HDRGainMapHeadroom>"
    return xmp(text, "HDRGainMap", "http://ns.apple.com/HDRGainMap/1.0/")


def depth_xmp(kind: str, low: float, high: float, accuracy: str = "relative") -> bytes:
    values = {
        "apdi:AuxiliaryImageType": kind,
        "apdi:FloatMinValue": low,
        "apdi:FloatMaxValue": high,
        "apdi:IntMaxValue": 255,
        "depthData:Accuracy": accuracy,
    }
    fields = "".join(f"<{name}>{value}</{name}>" for name, value in values.items())
    both = "http://ns.apple.com/pixeldatainfo/1.0/"
    return xmp(fields, f'apdi="{both}" xmlns:depthData', "http://ns.apple.com/depthData/1.0/")


def iso_numbers(least: float, most: float, gamma: float = 1.0, flags: int = 0x40) -> bytes:
    """Metadata of one channel [ISO21496-1] annex C, in millionths."""
    values = [0, round(most * 1e6), *(round(v * 1e6) for v in (least, most, gamma, 0.0, 0.0))]
    pairs = b"".join(struct.pack(">iI", value, 1_000_000) for value in values)
    return struct.pack(">HHB", 0, 0, flags) + pairs


def box(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(content), name) + content


def full_box(name: bytes, content: bytes, version: int = 0, flags: int = 0) -> bytes:
    return box(name, struct.pack(">I", version << 24 | flags) + content)


def coded(codes: np.ndarray) -> tuple[bytes, bytes]:
    """Return a picture's HEVC bytes and its decoder's configuration, lossless."""
    mode = "L" if codes.ndim == 2 else "RGB"
    file = pillow_heif.from_bytes(mode, codes.shape[1::-1], np.ascontiguousarray(codes).tobytes())
    buffer = io.BytesIO()
    file.save(buffer, quality=-1, chroma=444, matrix_coefficients=0 if codes.ndim == 3 else 2)
    data = buffer.getvalue()
    items = items_of(data)
    config = items.said(items.primary, b"hvcC")
    assert config is not None
    return items.bytes_of(items.primary, data), config


@dataclass
class Heif:
    """Items of a file in the making."""

    kinds: list[bytes] = field(default_factory=list)
    contents: list[bytes] = field(default_factory=list)
    said: list[list[int]] = field(default_factory=list)
    properties: list[bytes] = field(default_factory=list)
    references: list[bytes] = field(default_factory=list)

    def add(self, kind: bytes, content: bytes, *properties: bytes) -> int:
        self.kinds.append(kind)
        self.contents.append(content)
        first = len(self.properties) + 1
        self.properties += properties
        self.said.append(list(range(first, first + len(properties))))
        return len(self.kinds)

    def picture(self, codes: np.ndarray, *more: bytes) -> int:
        content, config = coded(codes)
        size = full_box(b"ispe", struct.pack(">II", *codes.shape[1::-1]))
        depth = 1 if codes.ndim == 2 else 3
        bits = full_box(b"pixi", bytes([depth, *[8] * depth]))
        return self.add(b"hvc1", content, box(b"hvcC", config), size, bits, *more)

    def refer(self, kind: bytes, source: int, *to: int) -> None:
        self.references.append(box(kind, struct.pack(f">HH{len(to)}H", source, len(to), *to)))

    def file(self, primary: int = 1) -> bytes:
        head = box(b"ftyp", b"heic\0\0\0\0mif1heictmap")
        start = len(head) + len(self._meta(primary, 0))
        return head + self._meta(primary, start + 8) + box(b"mdat", b"".join(self.contents))

    def _meta(self, primary: int, at: int) -> bytes:
        infos, places, said = b"", b"", b""
        for number, kind in enumerate(self.kinds, 1):
            content = self.contents[number - 1]
            name = b"application/rdf+xml\0\0" if kind == b"mime" else b""
            hidden = int(kind == b"hvc1" and number > 1)
            info = struct.pack(">HH4s", number, 0, kind) + b"\0" + name
            infos += full_box(b"infe", info, version=2, flags=hidden)
            places += struct.pack(">HHHHII", number, 0, 0, 1, at, len(content))
            at += len(content)
            own = self.said[number - 1]
            if own:
                said += struct.pack(">HB", number, len(own)) + bytes(own)
        count = sum(1 for own in self.said if own)
        inside = (
            full_box(b"hdlr", struct.pack(">I4s", 0, b"pict") + b"\0" * 13),
            full_box(b"pitm", struct.pack(">H", primary)),
            full_box(b"iinf", struct.pack(">H", len(self.kinds)) + infos),
            full_box(b"iloc", struct.pack(">HH", 0x4400, len(self.kinds)) + places, version=1),
            full_box(b"iref", b"".join(self.references)),
            box(
                b"iprp",
                box(b"ipco", b"".join(self.properties))
                + full_box(b"ipma", struct.pack(">I", count) + said),
            ),
        )
        return full_box(b"meta", b"".join(inside))


def nclx(primaries: int, transfer: int, matrix: int = 0) -> bytes:
    return box(b"colr", b"nclx" + struct.pack(">HHHB", primaries, transfer, matrix, 0x80))


def auxiliary(name: str) -> bytes:
    return full_box(b"auxC", name.encode() + b"\0")


def turned(quarters: int) -> bytes:
    return box(b"irot", bytes([quarters]))


def heic(
    codes: np.ndarray,
    *,
    colour: bytes = nclx(12, 13),
    gain: tuple[np.ndarray, bytes] | None = None,
    iso: bytes | None = None,
    depth: tuple[np.ndarray, bytes] | None = None,
    exif: bytes | None = None,
    quarters: int = 0,
) -> bytes:
    """Return a phone's still: picture, gain map and depth with what is said of them."""
    made = Heif()
    turn = (turned(quarters),) if quarters else ()
    made.picture(codes, colour, *turn)
    for kind, extra in ((GAIN_MAP, gain), (DEPTH, depth)):
        if extra is None:
            continue
        # What a map's numbers are is no light: without a colour of its own it stays as it is.
        own = made.picture(extra[0], auxiliary(kind), *turn)
        made.refer(b"auxl", own, 1)
        if extra[1]:
            made.refer(b"cdsc", made.add(b"mime", extra[1]), own)
        if kind == GAIN_MAP and iso is not None:
            made.refer(b"dimg", made.add(b"tmap", b"\0" + iso, nclx(12, 16)), 1, own)
    if exif is not None:
        made.refer(b"cdsc", made.add(b"Exif", struct.pack(">I", 0) + exif), 1)
    return made.file()


def jpeg(codes: np.ndarray, *segments: tuple[int, bytes], quality: int = 100) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(codes).save(buffer, "JPEG", quality=quality, subsampling=0)
    data = buffer.getvalue()
    middle = b"".join(b"\xff" + struct.pack(">BH", m, len(c) + 2) + c for m, c in segments)
    return data[:2] + middle + data[2:]


def jpeg_with_behind(first: bytes, *behind: bytes) -> bytes:
    """Return a JPEG file with others behind it, and the index that names them [CIPA-DC-007]."""
    total = 8 + 2 + 12 * 3 + 4 + 16 * (1 + len(behind))
    whole = len(first) + 4 + 4 + total
    entries, at = struct.pack(">IIIHH", 0x030000, whole, 0, 0, 0), whole
    for one in behind:
        # Offsets count from the byte order mark, 10 bytes into the file.
        entries += struct.pack(">IIIHH", 0, len(one), at - 10, 0, 0)
        at += len(one)
    table = struct.pack(">HHI4s", 0xB000, 7, 4, b"0100")
    table += struct.pack(">HHII", 0xB001, 4, 1, 1 + len(behind))
    table += struct.pack(">HHII", 0xB002, 7, len(entries), 50)
    index = b"MPF\0MM\0*\0\0\0\x08" + struct.pack(">H", 3) + table + b"\0\0\0\0" + entries
    segment = b"\xff\xe2" + struct.pack(">H", len(index) + 2) + index
    return first[:2] + segment + first[2:] + b"".join(behind)
