"""Turning a file's pixels upright [Exif2.3] tag 274."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from frontglass.files.exif import upright_exif
from frontglass.files.still import FileStill
from frontglass.picture.encoding import Codes


def upright_codes(codes: Codes, orientation: int) -> Codes:
    """Codes (H, W, ...) as they are to be seen; for 5 ... 8 width and height change places."""
    if orientation == 1:
        return codes
    if orientation >= 5:
        codes = codes.swapaxes(0, 1)
    # Which axes are mirrored after that, by number.
    if orientation in {3, 4, 7, 8}:
        codes = codes[::-1]
    if orientation in {2, 3, 6, 7}:
        codes = codes[:, ::-1]
    return np.ascontiguousarray(codes)


def upright(still: FileStill) -> FileStill:
    """Apply the orientation to every array of the still, and say so in its EXIF."""
    turn = still.orientation
    if turn == 1:
        return still
    alpha, native, metadata = still.alpha, still.native, still.metadata
    if alpha is not None:
        alpha = replace(alpha, codes=upright_codes(alpha.codes, turn))
    if native is not None:
        native = replace(native, codes=upright_codes(native.codes, turn))
    gain_map, own_depth = still.gain_map, still.own_depth
    if gain_map is not None:
        gain_map = replace(gain_map, codes=upright_codes(gain_map.codes, turn))
    if own_depth is not None:
        own_depth = replace(own_depth, depth_m=upright_codes(own_depth.depth_m, turn))
    if metadata.exif is not None:
        metadata = replace(metadata, exif=upright_exif(metadata.exif))
    if metadata.dpi is not None and turn >= 5:
        metadata = replace(metadata, dpi=metadata.dpi[::-1])
    return replace(
        still,
        codes=upright_codes(still.codes, turn),
        alpha=alpha,
        native=native,
        metadata=metadata,
        gain_map=gain_map,
        own_depth=own_depth,
        orientation=1,
    )
