"""Modules that are loaded when somebody uses them, and not when they are only named."""

from __future__ import annotations

import sys
from importlib.util import LazyLoader, find_spec, module_from_spec


def put_off(name: str) -> None:
    """Let a submodule be loaded when something in it is asked for, unless it is there already.

    Parameters
    ----------
    name : str
        Its full name, such as ``numpy.f2py``. The package it is in is loaded.

    Notes
    -----
    For what libraries draw in with all else and never use in a command. It is Python's own
    `importlib.util.LazyLoader`, which asks of one thread only that it uses it first.
    """
    # Of one that has been put off, a look for its place would already be use.
    spec = None if name in sys.modules else find_spec(name)
    if spec is None or spec.loader is None:
        return
    package, _, own = name.rpartition(".")
    spec.loader = LazyLoader(spec.loader)
    module = module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    setattr(sys.modules[package], own, module)
