"""``python -m frontglass``: the same as the ``frontglass`` command."""

from frontglass.cli import main

main()
