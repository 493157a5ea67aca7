"""What is written for people names everything there is, and nothing that isn't."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from chamberwatch import errors
from chamberwatch.cli.main import parser
from chamberwatch.model import Kind
from chamberwatch.settings.tables import File, RehearsalTable

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def commands() -> set[str]:
    """Return the subcommands of the command line."""
    subparsers = next(action for action in parser()._actions if action.dest == "command")
    return set(subparsers.choices)


def exit_codes() -> set[int]:
    """Return every exit code a command can end with by an error of ours."""
    found = {errors.ChamberwatchError}
    for _ in range(3):
        found |= {sub for error in found for sub in error.__subclasses__()}
    return {error.exit_code for error in found}


def settings_keys(table: type[BaseModel] = File) -> set[str]:
    """Return every key of the settings, tables included; the rehearsal's are the simulator's business."""
    keys: set[str] = set()
    for name, field in table.model_fields.items():
        inner = [t for t in _types(field.annotation) if isinstance(t, type) and issubclass(t, BaseModel)]
        if RehearsalTable not in inner:
            keys |= {name}.union(*(settings_keys(t) for t in inner))
    return keys


def _types(annotation) -> list:
    inner = getattr(annotation, "__args__", ())
    return [annotation, *(t for arg in inner for t in _types(arg))]


def test_every_command_is_in_the_readme():
    """Nobody has to read code to learn that a command exists."""
    table = README[README.index("## Commands") : README.index("## What goes in")]
    assert commands() - {c for c in commands() if re.search(rf"`{c}\b", table)} == set()


def test_every_command_of_the_readme_exists():
    """The first word of each row's code is a command."""
    table = README[README.index("| command |") : README.index("Times are `18:00`")]
    named = {m for row in table.splitlines()[2:] for m in re.findall(r"`([a-z-]+)", row.split("|")[1] if "|" in row else "")}
    assert named == commands()


def test_every_exit_code_is_in_the_readme():
    """Scripts and people find what a number means."""
    assert {code for code in exit_codes() if f"| {code} |" not in README} == set()


def test_every_kind_of_event_is_in_the_readme():
    """Whoever reads event lines knows all kinds."""
    assert {kind for kind in Kind if f"`{kind}`" not in README} == set()


def test_the_test_command_is_the_one_ci_runs():
    """CI runs README's test command, to the letter."""
    commands_shown = re.search(r"```sh\n(.*?)```", README, re.DOTALL)[1]
    shown = [line for line in commands_shown.splitlines() if not line.startswith("#")][1]
    ci = (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()
    assert [line.partition(" || ")[0] for line in ci].count(shown) == 1
    assert (ROOT / shown).stat().st_mode & 0o111


def test_every_setting_is_explained_in_the_examples():
    """A key that can be set stands in one of the example files, used or commented out."""
    examples = "\n".join(p.read_text(encoding="utf-8") for p in (ROOT / "config").glob("*.toml"))
    assert {key for key in settings_keys() if not re.search(rf"\b{key}\b", examples)} == set()


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_file_that_is_named_exists(text):
    """No link and no path in the documents leads nowhere."""
    paths = set(re.findall(r"\]\(([\w./-]+)\)", text))
    paths |= set(re.findall(r"(?<!/)\b((?:config|systemd|tests|simulator|daemon|rules|words|journal)/[\w./-]*\w)", text))
    missing = {p for p in paths if not (ROOT / p).exists() and not (ROOT / "chamberwatch" / p).exists()}
    assert missing == set()
