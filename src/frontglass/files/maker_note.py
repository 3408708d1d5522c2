"""Two numbers of a phone's maker note, without which its older gain maps say nothing."""

from __future__ import annotations

from frontglass.errors import PictureFileError
from frontglass.files.exif import sub_directory
from frontglass.files.gain_maps import headroom_of_maker_note
from frontglass.files.tags import EXIF_DIRECTORY, Header, Order, directory_at

_MAKER_NOTE = 37500
_SIGNATURE = b"Apple iOS\0"
_AT = 14
_GAIN, _BOOST = 33, 48


def phone_headroom(exif: bytes | None) -> float | None:
    """Headroom of a phone's gain map by its maker note; None where that does not tell.

    Offsets in the note count from its start; its directory stands behind a head of 14 bytes.
    """
    camera = sub_directory(exif, EXIF_DIRECTORY)
    note = camera.tags.get(_MAKER_NOTE) if camera else None
    if note is None or not note.raw.startswith(_SIGNATURE):
        return None
    order: Order = ">" if note.raw[12:14] == b"MM" else "<"
    try:
        entries = directory_at(note.raw, Header(order, is_big=False, first=_AT), _AT)
    except PictureFileError:
        return None
    gain, boost = entries.numbers(_GAIN), entries.numbers(_BOOST)
    if len(gain) != 1 or len(boost) != 1:
        return None
    return headroom_of_maker_note(gain[0], boost[0])
