"""Run every benchmark and print its ratios: ``python -m tests.benchmarks``."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

for script in sorted(Path(__file__).parent.glob("[!_]*.py")):
    print(f"\n{script.stem}", flush=True)
    subprocess.run([sys.executable, str(script)], check=True)
