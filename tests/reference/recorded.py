"""What slow references found, kept beside the tests: each takes ten seconds and more to compute.

A reference is looked up by its source, its arguments and the light it was given; what is not found
is computed. With FRONTGLASS_RECORD=1 in the environment it is kept as well:

    FRONTGLASS_RECORD=1 python -m pytest -n 0 tests/elements/test_nets_accuracy.py
"""

from __future__ import annotations

import hashlib
import inspect
import os
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.reference import mask_reference, real_masks, transfer_functions

Array = NDArray[np.float64]

KEPT = Path(__file__).parents[1] / "data" / "net_references.npz"


def recorded(reference: Callable[..., Array], plane: Array, *arguments: Any, **how: Any) -> Array:
    """Return ``reference(plane, *arguments, **how)``, as it was found before if it was.

    Numbers are kept in single precision, 6e-8 of each.
    """
    key = _key(reference, plane, arguments, how)
    if key in _kept():
        return _kept()[key].astype(np.float64)
    found = reference(plane, *arguments, **how)
    if os.environ.get("FRONTGLASS_RECORD"):
        _kept()[key] = found.astype(np.float32)
        np.savez_compressed(KEPT, **_kept())  # type: ignore[arg-type]
    return found


@lru_cache(maxsize=1)
def _kept() -> dict[str, NDArray[np.float32]]:
    if not KEPT.exists():
        return {}
    with np.load(KEPT) as kept:
        return dict(kept)


def _key(reference: Callable[..., Array], plane: Array, arguments: Any, how: Any) -> str:
    digest = hashlib.sha256(plane.tobytes())
    for source in (mask_reference, real_masks, transfer_functions, reference):
        digest.update(inspect.getsource(source).encode())
    digest.update(f"{arguments} {sorted(how.items())}".encode())
    return digest.hexdigest()[:16]
