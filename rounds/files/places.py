"""Where our files live on each system, and how they are made private.

`ROUNDS_HOME` puts everything into one folder: tests and demos use it, and so can a player who
keeps rig and journal on a stick. Nothing is made on disk by asking for a path.
"""

from __future__ import annotations

import os
from pathlib import Path

HOME_VARIABLE = "ROUNDS_HOME"
SETTINGS = "settings.toml"
PRIVATE_FILE = 0o600
PRIVATE_FOLDER = 0o700


def data_folder() -> Path:
    """What must be kept: the journal and its backups."""
    home = os.environ.get(HOME_VARIABLE)
    if home:
        return Path(home)
    import platformdirs

    return platformdirs.user_data_path("rounds", appauthor=False)


def state_folder() -> Path:
    """What may be thrown away: logs of C libraries, device choices."""
    home = os.environ.get(HOME_VARIABLE)
    if home:
        return Path(home)
    import platformdirs

    return platformdirs.user_state_path("rounds", appauthor=False)


def settings_file() -> Path:
    """What the player sets once for every rig; it need not be there."""
    home = os.environ.get(HOME_VARIABLE)
    if home:
        return Path(home) / SETTINGS
    import platformdirs

    return platformdirs.user_config_path("rounds", appauthor=False) / SETTINGS


def journal_path(given: str | os.PathLike[str] | None = None) -> Path:
    """The journal named on the command line, or the usual one."""
    return Path(given) if given else data_folder() / "journal.db"


def make_folder(folder: Path) -> None:
    """Make a folder of ours, readable by nobody else; one that exists is left as it is."""
    folder.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)


def make_private_file(path: Path) -> None:
    """Make an empty file that nobody else can read.

    Raises:
        FileExistsError: the file is there already.
    """
    os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, PRIVATE_FILE))


def shipped(folder: str, name: str) -> Path:
    """A file that goes with the program: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parent.parent
    inside = package / folder / name
    return inside if inside.exists() else package.parent / folder / name
