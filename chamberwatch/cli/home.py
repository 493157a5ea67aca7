"""What a command works on: the settings if given, the journal, its units, zone and the time now."""

from __future__ import annotations

import argparse
import os
import time
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

from chamberwatch.errors import InputMissing, UsageError
from chamberwatch.journal.reader import Reader
from chamberwatch.settings import Settings, load
from chamberwatch.settings.load import machine_zone
from chamberwatch.words.times import parse_when

DEFAULT_CONFIG = Path("/etc/chamberwatch/chamberwatch.toml")
CONFIG_VARIABLE = "CHAMBERWATCH_CONFIG"


@dataclass(frozen=True)
class Home:
    """The house a command speaks to."""

    settings: Settings | None
    journal_path: Path

    @classmethod
    def of(cls, args: argparse.Namespace, *, need_settings: bool = False) -> Home:
        """Find settings and journal from --config, --journal, $CHAMBERWATCH_CONFIG or the usual place.

        Raises:
            UsageError: none of them names one.
        """
        config = _config(args, need_settings=need_settings)
        settings = load(config) if config is not None else None
        if args.journal is not None:
            return cls(settings, args.journal)
        if settings is None:
            raise UsageError(
                f"which chamber? Give --config FILE or --journal FILE (or set {CONFIG_VARIABLE}, "
                f"or have {DEFAULT_CONFIG})"
            )
        return cls(settings, settings.journal_path)

    def with_journal(self) -> Settings:
        """Return the settings with this home's journal in them.

        Raises:
            UsageError: there are no settings.
        """
        if self.settings is None:
            raise UsageError("this needs the settings: give --config FILE")
        return self.settings.with_journal(self.journal_path)

    @property
    def zone(self) -> tzinfo:
        """Return the zone in which times are read and shown."""
        return self.settings.zone if self.settings is not None else machine_zone()

    def reader(self) -> Reader:
        """Open the journal for reading.

        Raises:
            InputMissing: there is no journal yet.
        """
        self.need_journal()
        return Reader(self.journal_path)

    def need_journal(self) -> None:
        """See that the journal is there.

        Raises:
            InputMissing: it is not.
        """
        if not self.journal_path.exists():
            raise InputMissing(
                f"{self.journal_path}: there is no journal here yet; `watch` or `replay` makes it"
            )

    def units(self, reader: Reader | None = None) -> str:
        """Return "metric" or "us": the settings' word, else the journal's."""
        if self.settings is not None:
            return self.settings.file.units
        return reader.units() if reader is not None else "metric"

    def when(self, text: str | None, now_ms: int, option: str = "--at") -> int:
        """Read a time a person wrote (default: now)."""
        if text is None:
            return now_ms
        try:
            return parse_when(text, now_ms, self.zone)
        except ValueError as error:
            raise UsageError(f"{option}: {error}") from None


def _config(args: argparse.Namespace, *, need_settings: bool) -> Path | None:
    if args.config is not None:
        return Path(args.config)
    if args.journal is not None and not need_settings:
        return None
    named = os.environ.get(CONFIG_VARIABLE)
    if named:
        return Path(named)
    if DEFAULT_CONFIG.exists():
        return DEFAULT_CONFIG
    if need_settings:
        raise UsageError(f"this needs the settings: give --config FILE (or set {CONFIG_VARIABLE})")
    return None


def now_ms() -> int:
    """Return the wall clock, ms UTC."""
    return time.time_ns() // 1_000_000
