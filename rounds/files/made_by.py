"""Which program on which machine made a report, so that two can be compared."""

from __future__ import annotations

import platform

from rounds import __version__


def made_by() -> str:
    """Version, Python, system and machine in a few words."""
    return (
        f"rounds {__version__}, Python {platform.python_version()}, {platform.system()} {platform.machine()}"
    )
