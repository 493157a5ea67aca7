"""The exception tree, and the exit code each branch ends a command with.

    ChamberwatchError            70  our own fault, or one not foreseen
    ├── UsageError               64  the command line cannot be understood
    ├── FactRefused              65  a fact that cannot be true (overlap, weight gained, unknown piece …)
    ├── InputMissing             66  a named file does not exist or cannot be read
    ├── Unavailable              69  a check failed: port, broker, server, channel
    ├── JournalError             74  the journal cannot be read or written
    ├── JournalHeld              75  another process holds the journal; try again later
    ├── NotPermitted             77  the file is there, this user may not touch it
    └── SettingsError            78  the settings are wrong; every fault is listed
    OutOfRange (a ValueError)        a formula was asked outside its valid range

The numbers are those of BSD's sysexits.h, so that scripts and systemd read them alike.
"""

from __future__ import annotations

from typing import ClassVar


class ChamberwatchError(Exception):
    """Whatever a command ends with; its text is meant for the person at the terminal."""

    exit_code: ClassVar[int] = 70


class UsageError(ChamberwatchError):
    """The command line cannot be understood."""

    exit_code = 64


class FactRefused(ChamberwatchError):  # noqa: N818  it is a refusal, and reads as one where it is raised
    """A fact was refused: it cannot be true, or contradicts one already recorded."""

    exit_code = 65


class InputMissing(ChamberwatchError):  # noqa: N818
    """A named input file is missing or unreadable."""

    exit_code = 66


class Unavailable(ChamberwatchError):  # noqa: N818
    """Something outside (port, broker, server, channel) does not answer as it should."""

    exit_code = 69


class JournalError(ChamberwatchError):
    """The journal cannot be read or written."""

    exit_code = 74


class JournalHeld(ChamberwatchError):  # noqa: N818
    """Another process holds the journal."""

    exit_code = 75


class NotPermitted(ChamberwatchError):  # noqa: N818
    """The file exists but this user may not read or write it."""

    exit_code = 77


class SettingsError(ChamberwatchError):
    """The settings are wrong. The text lists every fault: key, value, allowed range, unit."""

    exit_code = 78


class OutOfRange(ValueError):  # noqa: N818
    """A formula was asked outside its valid range (NaN included)."""
