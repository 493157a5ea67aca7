"""The unit files, judged by systemd's own tools.

`systemd-analyze`, `systemd-sysusers` and `systemd-tmpfiles` come with Debian's package systemd; none of them
needs a running systemd, only a folder that stands for a machine.
"""

from __future__ import annotations

import configparser
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from chamberwatch.cli.main import parser
from chamberwatch.errors import SettingsError

ROOT = Path(__file__).parents[2]
UNIT = ROOT / "systemd" / "chamberwatch.service"
SYSTEM_UNITS = Path("/usr/lib/systemd/system")

pytestmark = pytest.mark.external


def run(*argv: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a tool; its words and its exit code are judged by the test."""
    return subprocess.run(argv, capture_output=True, text=True, check=False, timeout=60)


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    """A folder like a machine: systemd's own units, a stand-in for the installed program, our unit."""
    shutil.copytree(SYSTEM_UNITS, tmp_path / "usr/lib/systemd/system", symlinks=True)
    program = tmp_path / "opt/chamberwatch/bin/chamberwatch"
    program.parent.mkdir(parents=True)
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    own = tmp_path / "etc/systemd/system"
    own.mkdir(parents=True)
    shutil.copy(UNIT, own)
    return tmp_path


def test_the_unit_is_clean(machine):
    """The tool finds nothing to say about the unit: no unknown key, no bad value, no missing program."""
    done = run("systemd-analyze", f"--root={machine}", "verify", "chamberwatch.service")
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


def test_a_fault_in_the_unit_would_be_found(machine):
    """The check works: a misspelt key is told with its line."""
    unit = machine / "etc/systemd/system/chamberwatch.service"
    unit.write_text(unit.read_text().replace("MemoryMax=", "MemoryMost="))
    done = run("systemd-analyze", f"--root={machine}", "verify", "chamberwatch.service")
    assert "MemoryMost" in done.stdout + done.stderr


def test_the_unit_exposes_little(machine):
    """The tool's exposure level is at most 2.0 of 10 (measured: 1.9, with systemd 252)."""
    done = run("systemd-analyze", "security", "--offline=true", f"--root={machine}", "--no-pager", "chamberwatch.service")
    level = re.search(r"Overall exposure level for chamberwatch\.service: ([0-9.]+)", done.stdout)
    assert level is not None, done.stdout + done.stderr
    assert float(level[1]) <= 2.0


def settings() -> dict[str, str]:
    """Return the unit's [Unit] and [Service] keys; of a key given several times the last value."""
    parser = configparser.ConfigParser(strict=False, interpolation=None)
    parser.optionxform = str
    parser.read(UNIT, encoding="utf-8")
    return dict(parser["Unit"]) | dict(parser["Service"])


def test_the_watch_is_restarted_for_ever_but_not_with_wrong_settings():
    """Restart always, no start limit; the exit code of wrong settings, and only it, ends the trying."""
    unit = settings()
    assert unit["Restart"] == "always"
    assert unit["StartLimitIntervalSec"] == "0"
    assert unit["RestartPreventExitStatus"] == str(SettingsError.exit_code)


def test_the_watchdog_outwaits_a_slow_card():
    """Three times a sync that takes a minute; a shorter watchdog would kill a watch that only waits."""
    assert settings()["Type"] == "notify"
    assert int(settings()["WatchdogSec"]) >= 180


def test_every_setting_of_the_unit_has_its_reason_above_it():
    """Nobody meets a line without learning why it is there; lines of one reason stand together."""
    bare, explained = [], False
    for line in UNIT.read_text(encoding="utf-8").splitlines():
        if line.startswith("#"):
            explained = True
        elif not line.strip() or line.startswith("["):
            explained = False
        elif not explained:
            bare.append(line.partition("=")[0])
    assert bare == ["Description", "Documentation", "ExecStart", "WantedBy"]


def test_the_unit_calls_a_command_that_exists():
    """The command line of ExecStart is one that the program takes."""
    program, *argv = settings()["ExecStart"].split()
    args = parser().parse_args(argv)
    assert program == "/opt/chamberwatch/bin/chamberwatch"
    assert (args.command, str(args.config)) == ("watch", "/etc/chamberwatch/chamberwatch.toml")


def test_the_unit_offers_the_secrets_that_the_examples_name():
    """Whoever follows an example of the settings finds the line to uncomment in the unit."""
    examples = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "config").glob("*.toml"))
    named = set(re.findall(r'^#? *credential = "([a-z0-9-]+)"', examples, re.MULTILINE))
    offered = re.findall(r"^#?LoadCredential=([a-z0-9-]+):/etc/chamberwatch/secrets/\1$", UNIT.read_text(), re.MULTILINE)
    assert named == set(offered)
    assert "mail" in named


@pytest.fixture
def accounts(tmp_path: Path) -> Path:
    """A folder like a machine with the accounts of a fresh Debian."""
    etc = tmp_path / "etc"
    etc.mkdir()
    (etc / "passwd").write_text("root:x:0:0:root:/root:/bin/sh\n")
    (etc / "group").write_text("root:x:0:\ndialout:x:20:\n")
    return tmp_path


def test_the_account_is_made_and_may_read_serial_ports(accounts):
    """A user without a login shell, a group of the same name, and membership in dialout."""
    done = run("systemd-sysusers", f"--root={accounts}", ROOT / "systemd" / "chamberwatch.sysusers")
    assert done.returncode == 0, done.stderr
    users = (accounts / "etc/passwd").read_text().splitlines()
    assert re.fullmatch(
        r"chamberwatch:x:\d+:\d+:[^:]+:/var/lib/chamberwatch:/usr/sbin/nologin",
        next(line for line in users if line.startswith("chamberwatch:")),
    )
    groups = (accounts / "etc/group").read_text().splitlines()
    assert "dialout:x:20:chamberwatch" in groups
    assert any(line.startswith("chamberwatch:x:") for line in groups)


def test_the_folders_are_made_for_the_group_and_the_secrets_for_root(accounts, tmp_path):
    """The journal's folder is group-writable and hands its group on; nobody but its owner reads the secrets.

    An ordinary user runs this test as well, and can give files only to themselves: so the owners' names are
    replaced by their numbers first, and read from the file instead.
    """
    rules = (ROOT / "systemd" / "chamberwatch.tmpfiles").read_text(encoding="utf-8")
    lines = [line.split() for line in rules.splitlines() if line and not line.startswith("#")]
    owners = {line[1]: (line[3], line[4]) for line in lines}
    assert owners == {
        "/var/lib/chamberwatch": ("chamberwatch", "chamberwatch"),
        "/etc/chamberwatch": ("root", "chamberwatch"),
        "/etc/chamberwatch/secrets": ("root", "root"),
    }
    mine = tmp_path / "mine.conf"
    mine.write_text("".join(f"{k} {path} {mode} {os.getuid()} {os.getgid()} -\n" for k, path, mode, *_ in lines))
    done = run("systemd-tmpfiles", f"--root={accounts}", "--create", mine)
    assert done.returncode == 0, done.stderr
    modes = {path: (accounts / path[1:]).stat().st_mode & 0o7777 for path in owners}
    assert modes == {
        "/var/lib/chamberwatch": 0o2770,
        "/etc/chamberwatch": 0o750,
        "/etc/chamberwatch/secrets": 0o700,
    }


def test_the_state_folder_is_the_same_for_the_service_and_for_tmpfiles():
    """Whichever makes it first, the folder has one mode."""
    rules = (ROOT / "systemd" / "chamberwatch.tmpfiles").read_text(encoding="utf-8")
    unit = settings()
    assert unit["StateDirectory"] == "chamberwatch"
    assert f"/var/lib/chamberwatch       {unit['StateDirectoryMode']} " in rules
