"""What workers are given to do in tests."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path


def work(task: str, tell: Callable[[float], None]) -> str:
    """Do what a task says: name the process, hang, die, or tell megapixels and sleep."""
    if task == "hang":
        time.sleep(600)
    if task.startswith("die"):
        with Path(task.split()[1]).open("a") as tries:
            tries.write("once\n")
        os._exit(9)
    if task.startswith("tell"):
        tell(float(task.split()[1]))
        time.sleep(2)
        return "slept"
    return str(os.getpid())
