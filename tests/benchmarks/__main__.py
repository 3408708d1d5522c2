"""Run every benchmark and print its ratios: ``python -m tests.benchmarks``.

`same_pictures.py` compares with another revision, and wants to hear which.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

for script in sorted(Path(__file__).parent.glob("[!_]*.py")):
    if script.stem == "same_pictures" or script.stem.startswith("traced_"):
        continue  # it compares two programs; these need a tracer's Python
    print(f"\n{script.stem}", flush=True)
    subprocess.run([sys.executable, str(script)], check=True)
