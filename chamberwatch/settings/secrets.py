"""Secrets by name: a systemd credential first, then the environment. Never from the file, never argv."""

from __future__ import annotations

import os
from pathlib import Path

from chamberwatch.settings.tables import ENV_PREFIX


def variable(name: str) -> str:
    """Return the environment variable that may hold the credential `name`."""
    return ENV_PREFIX + name.upper().replace("-", "_")


def secret(name: str) -> str | None:
    """Return the credential `name` without a trailing line end, or None if it is nowhere or empty."""
    folder = os.environ.get("CREDENTIALS_DIRECTORY")
    if folder:
        try:
            return (Path(folder) / name).read_text("utf-8").rstrip("\r\n") or None
        except (OSError, UnicodeDecodeError):
            pass  # not among this unit's credentials, or no text: the environment may have it
    return os.environ.get(variable(name)) or None
