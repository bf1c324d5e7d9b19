"""Show one notice on the desktop: `python -m rounds.faces.notice TEXT`, in a process of its own.

The library (the extra `notify`) knows each system's notices. It is kept out of the session's process:
whatever a desktop does to it, a round goes on.
"""

from __future__ import annotations

import asyncio
import sys

from desktop_notifier import DesktopNotifier

LONGEST_S = 10.0


def main(text: str) -> None:
    """Hand the notice over and end."""
    notifier = DesktopNotifier(app_name="rounds", app_icon=None)
    asyncio.run(asyncio.wait_for(notifier.send(title="rounds", message=text), LONGEST_S))


if __name__ == "__main__":
    main(sys.argv[1])
