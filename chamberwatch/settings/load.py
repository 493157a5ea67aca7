"""Read a settings file whole: one run tells every fault, with key, value, allowed range and unit."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import ValidationError
from pydantic_settings import SettingsError as EnvironmentFault

from chamberwatch.errors import InputMissing, NotPermitted, SettingsError
from chamberwatch.model import Band, ChamberPlan, Phase, Plan, ProbePlan
from chamberwatch.settings.across import across
from chamberwatch.settings.by_kind import filled
from chamberwatch.settings.faults import describe, no_such_key
from chamberwatch.settings.tables import ENV_PREFIX, NESTED, ChamberTable, File, ProbeTable


@dataclass(frozen=True)
class Settings:
    """A settings file that has no fault."""

    source: Path
    file: File
    plan: Plan
    journal_path: Path
    """Where the journal is; a relative path in the file starts at the file."""

    def with_journal(self, path: Path) -> Settings:
        """Return these settings with another journal."""
        return replace(self, journal_path=path)

    @property
    def zone(self) -> tzinfo:
        """Return the zone in which times are shown: the setting, else the machine's."""
        name = self.file.timezone
        return ZoneInfo(name) if name is not None else machine_zone()


def machine_zone() -> tzinfo:
    """Return the machine's own time zone (UTC if it cannot be told)."""
    name = os.environ.get("TZ", "").lstrip(":")
    if name:
        try:
            return ZoneInfo(name)
        except (ValueError, OSError, KeyError):
            pass  # a POSIX rule such as CET-1CEST: the system's library knows it, zoneinfo does not
    local = Path("/etc/localtime")
    match = re.search(r"zoneinfo/(.+)$", str(local.resolve())) if local.exists() else None
    if match:
        try:
            return ZoneInfo(match.group(1))
        except (ValueError, OSError, KeyError):
            pass  # a copy without a name: fall through to the offset of today
    return datetime.now(UTC).astimezone().tzinfo or UTC


def load(path: Path) -> Settings:
    """Read and check a settings file.

    Raises:
        InputMissing: there is no such file.
        NotPermitted: this user may not read it.
        SettingsError: it is not TOML, or it has faults; the text lists every one.
    """
    data = filled(_toml(path))
    file, faults = _checked(data)
    faults += across(data if file is None else file.model_dump())
    faults += [text for name, text in _misspelt_environment() if not any(name in told for told in faults)]
    if faults or file is None:
        raise SettingsError(_listing(path, faults))
    source = path.resolve()
    return Settings(source, _settled(file, source.parent), _plan(file), source.parent / file.journal.path)


def _settled(file: File, folder: Path) -> File:
    """Return the file with the authority's path, too, starting at the settings' folder."""
    if file.broker.tls_ca is None:
        return file
    broker = file.broker.model_copy(update={"tls_ca": folder / file.broker.tls_ca})
    return file.model_copy(update={"broker": broker})


def _checked(data: dict[str, Any]) -> tuple[File | None, list[str]]:
    # Names with a leading underscore would be taken for options of the settings library itself.
    strange = [no_such_key((key,), data) for key in data if key.startswith("_")]
    try:
        return File(**{k: v for k, v in data.items() if not k.startswith("_")}), strange
    except ValidationError as error:
        return None, strange + describe(error, data)
    except EnvironmentFault:
        lists = ", ".join(n for n in sorted(os.environ) if n.startswith(ENV_PREFIX) and NESTED in n)
        return None, [*strange, f"environment: a list or table must be written as JSON (look at {lists})"]


def _toml(path: Path) -> dict[str, Any]:
    try:
        with path.open("rb") as stream:
            return tomllib.load(stream)
    except FileNotFoundError:
        raise InputMissing(f"{path}: there is no such settings file (examples are in config/)") from None
    except IsADirectoryError:
        raise InputMissing(f"{path}: this is a folder, not a settings file") from None
    except PermissionError:
        raise NotPermitted(f"{path}: you may not read this file") from None
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path}: not UTF-8 text (byte {error.start})") from None
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{path}: not valid TOML: {error}") from None


def _listing(path: Path, faults: list[str]) -> str:
    count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
    return "\n".join([f"{path}: {count}; nothing was started", *(f"  - {fault}" for fault in faults)])


def _misspelt_environment() -> Iterator[tuple[str, str]]:
    """Yield each variable with a table's form but no such table or key: it would be silently ignored."""
    for name in sorted(os.environ):
        parts = name.removeprefix(ENV_PREFIX).lower().split(NESTED)
        if name.startswith(ENV_PREFIX) and len(parts) > 1 and not _is_key(parts):
            yield name, f"environment {name}: there is no setting {'.'.join(parts)}"


def _is_key(parts: list[str]) -> bool:
    model: Any = File
    for part in parts:
        fields = getattr(model, "model_fields", {})
        if part not in fields:
            return False
        model = next((t for t in _types(fields[part].annotation) if hasattr(t, "model_fields")), None)
    return True


def _types(annotation: Any) -> tuple[Any, ...]:
    inner = getattr(annotation, "__args__", ())
    return (annotation, *inner)


def _plan(file: File) -> Plan:
    return Plan(tuple(map(_chamber, file.chamber)), tuple(map(_probe, file.probe)))


def _chamber(table: ChamberTable) -> ChamberPlan:
    t, h = table.temperature, table.humidity
    return ChamberPlan(
        table.name,
        table.kind,
        Band(t.low, t.high, t.patience),
        Band(h.low, h.high, h.patience),
        table.urgent.low,
        table.urgent.high,
        tuple(Phase(p.until_day, p.low, p.high) for p in sorted(table.phase, key=lambda p: p.until_day)),
    )


def _probe(table: ProbeTable) -> ProbePlan:
    return ProbePlan(
        table.name,
        table.chamber,
        table.every,
        table.accuracy.temperature,
        table.accuracy.humidity,
        over_broker=table.mqtt is not None,
    )
