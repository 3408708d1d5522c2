"""Files that come with frontglass, found in a checkout and in an installed wheel alike."""

from __future__ import annotations

from pathlib import Path

from frontglass.errors import FrontglassError


def shipped_folder(name: str) -> Path:
    """Folder `name` ("presets" or "examples") that comes with frontglass.

    An installed wheel carries it inside the package; in a checkout it stands beside src/.

    Raises
    ------
    FrontglassError
        If the installation has lost it.
    """
    package = Path(__file__).parent
    beside_src = package.parents[1]
    checkout = beside_src / name
    # A stranger's folder of the same name two levels above site-packages is not ours.
    if (beside_src / "pyproject.toml").is_file() and checkout.is_dir():
        return checkout
    installed = package / name
    if installed.is_dir():
        return installed
    msg = f"frontglass was installed without its {name}; install it again."
    raise FrontglassError(msg)
