"""How much memory a large still takes."""

from __future__ import annotations

import subprocess
import sys

import pytest

MEASURE = """
import re
from pathlib import Path
import numpy as np
import frontglass as fg
from frontglass.picture.encoding import Container, Encoding, Sample
from frontglass.picture.picture import Picture

def peak():
    # Not ru_maxrss, which a child inherits from its parent.
    return 1024 * int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1])

encoding = Encoding(container=Container.EXR, sample=Sample.FLOAT)
def picture(height, width):
    light = np.full((height, width, 3), 0.1, dtype=np.float32)
    light[height // 3, width // 3] = 1e4
    return Picture(radiance=light, encoding=encoding)

look = fg.read_look("harbour-night")
fg.render(picture(64, 96), [look])  # what libraries take is not the picture's
still = picture(4000, 6000)
before = peak()
fg.render(still, [look])
print((peak() - before) / still.radiance.nbytes)
"""


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_24_megapixels_take_less_than_8_copies_above_the_input() -> None:
    done = subprocess.run(
        [sys.executable, "-c", MEASURE], capture_output=True, text=True, check=True
    )
    copies = float(done.stdout)
    assert 1 < copies < 8  # the result alone is one
