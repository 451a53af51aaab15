"""Where linktool keeps what is the user's: settings, machine profiles, programs, the bench log.

The folders are those of the system (platformdirs). LINKTOOL_FOLDER puts them all below one folder.
Settings are read from settings.toml: port and machine, both optional. Nothing is created on reading.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from linktool.errors import UsageError
from linktool.toml_table import read_toml, shown, text_of

SETTINGS = ("port", "machine")


@dataclass(frozen=True)
class Folders:
    """config: settings.toml and machines/. data: programs/. state: the bench log, history, locks."""

    config: Path
    data: Path
    state: Path

    @property
    def machines(self) -> Path:
        return self.config / "machines"

    @property
    def programs(self) -> Path:
        return self.data / "programs"

    @property
    def settings_file(self) -> Path:
        return self.config / "settings.toml"


def folders(environment: Mapping[str, str] = os.environ) -> Folders:
    """The folders of this user."""
    given = environment.get("LINKTOOL_FOLDER")
    if given:
        base = Path(given)
        return Folders(base / "config", base / "data", base / "state")
    import platformdirs

    return Folders(
        Path(platformdirs.user_config_dir("linktool", appauthor=False)),
        Path(platformdirs.user_data_dir("linktool", appauthor=False)),
        Path(platformdirs.user_state_dir("linktool", appauthor=False)),
    )


def settings(where: Folders, environment: Mapping[str, str] = os.environ) -> dict[str, str]:
    """port and machine, from LINKTOOL_PORT, LINKTOOL_MACHINE and settings.toml, in that order."""
    found = _settings_file(where.settings_file)
    for name in SETTINGS:
        value = environment.get(f"LINKTOOL_{name.upper()}")
        if value:
            found[name] = value
    return found


def _settings_file(path: Path) -> dict[str, str]:
    try:
        data = read_toml(text_of(path, UsageError), str(path), UsageError)
    except FileNotFoundError:
        return {}
    except UsageError as error:
        raise UsageError(error.message, "Mend it or move it away") from error
    for name, value in data.items():
        if name not in SETTINGS:
            raise UsageError(f"{path}: {name} is not known; allowed: {', '.join(SETTINGS)}")
        if not isinstance(value, str):
            raise UsageError(f"{path}: {name} is {shown(value)}; allowed: text in quotes")
    return dict(data)
