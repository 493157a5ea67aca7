"""Imports point down only; pure layers stay pure; heavy libraries load late; the simulator stands apart.

The rules read source, not behaviour, so that a breach is told by file and line. Each rule is also shown
a planted breach: a rule that cannot fail protects nothing.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parents[2]

LEVELS = (
    {"model", "errors"},
    {"inputs", "psychrometrics"},
    {"wire", "rules", "meat"},
    {"engine"},
    {"words"},
    {"settings"},
    {"ingest", "journal", "notify", "series", "heartbeat"},
    {"daemon"},
    {"cli"},
    {"__main__"},
)
"""Bottom first. A part imports itself and what lies on lower levels; parts of one level never meet."""
LEVEL = {part: level for level, parts in enumerate(LEVELS) for part in parts}
PURE = {"model", "errors", "inputs", "psychrometrics", "wire", "rules", "meat", "engine", "words"}
ADAPTERS = LEVELS[6]
PURE_MAY_IMPORT = {
    "__future__", "bisect", "collections", "csv", "dataclasses", "datetime", "enum", "fractions", "functools",
    "hashlib", "itertools", "json", "math", "numpy", "operator", "orjson", "re", "statistics", "types", "typing", "zlib",
    "chamberwatch",
}  # fmt: skip
"""Of the standard library only what has no clock, file, socket, thread, logger or environment."""
CLOCKS = {"now", "utcnow", "today"}
OUTWARD_CALLS = {"open", "print", "input", "exec", "eval", "__import__"}
LATE = {"numpy", "influxdb_client", "apprise", "rich", "pandas", "scipy"}
"""Dear in memory or time: imported only inside the function that uses them."""


class Import(NamedTuple):
    """One imported module: its dotted name, its line, whether it is loaded with the file."""

    module: str
    line: int
    early: bool


def imports(tree: ast.Module) -> Iterator[Import]:
    """Yield every import of a file; one under `if TYPE_CHECKING` or in a function is not loaded with it."""
    late = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda) or _only_for_types(node)
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(alias.name, node.lineno, node not in late)
        elif isinstance(node, ast.ImportFrom):
            for alias in node.names:
                yield Import(f"{node.module}.{alias.name}", node.lineno, node not in late)


def _only_for_types(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def part_of(path: str) -> str:
    """Return the part a file of the package belongs to: `wire` for `chamberwatch/wire/senml.py`."""
    return Path(path).parts[1].removesuffix(".py")


def upward(path: str, tree: ast.Module) -> Iterator[str]:
    """Yield imports that do not point down."""
    own = part_of(path)
    if own == "__init__":
        return
    for item in imports(tree):
        names = item.module.split(".")
        if names[0] in {"simulator", "tests"}:
            yield f"{path}:{item.line} imports {item.module}"
        if names[0] != "chamberwatch" or names[1] == own or names[1] == "__version__":
            continue
        if LEVEL[names[1]] >= LEVEL[own] or (own in ADAPTERS and names[1] == "engine"):
            yield f"{path}:{item.line} imports {item.module}"


def impure(path: str, tree: ast.Module) -> Iterator[str]:
    """Yield what a pure layer must not touch: modules with an outside, the clock, files, the terminal."""
    if part_of(path) not in PURE:
        return
    for item in imports(tree):
        if item.module.split(".")[0] not in PURE_MAY_IMPORT:
            yield f"{path}:{item.line} imports {item.module}"
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Attribute) and node.func.attr in CLOCKS:
            yield f"{path}:{node.lineno} reads the clock"
        if isinstance(node.func, ast.Name) and node.func.id in OUTWARD_CALLS:
            yield f"{path}:{node.lineno} calls {node.func.id}"


def heavy(path: str, tree: ast.Module) -> Iterator[str]:
    """Yield dear libraries loaded with the file."""
    for item in imports(tree):
        if item.early and item.module.split(".")[0] in LATE:
            yield f"{path}:{item.line} imports {item.module} early"


def kin(path: str, tree: ast.Module) -> Iterator[str]:
    """Yield what the simulator takes from the package beyond the model and the wire."""
    for item in imports(tree):
        names = item.module.split(".")
        if names[0] == "chamberwatch" and (len(names) == 1 or names[1] not in {"model", "wire"}):
            yield f"{path}:{item.line} imports {item.module}"


def faults(rule, folder: str) -> list[str]:
    """Return what a rule finds in all files of a folder."""
    found: list[str] = []
    for path in sorted((ROOT / folder).rglob("*.py")):
        found += rule(str(path.relative_to(ROOT)), ast.parse(path.read_text(encoding="utf-8")))
    return found


@pytest.mark.parametrize("rule", [upward, impure, heavy])
def test_the_package_keeps_the_rule(rule):
    """No file of the package breaks it."""
    assert faults(rule, "chamberwatch") == []


@pytest.mark.parametrize("rule", [kin, heavy])
def test_the_simulator_keeps_the_rule(rule):
    """The simulator shares the model and the wire with the package and nothing else: no shared mistakes."""
    assert faults(rule, "simulator") == []


@pytest.mark.parametrize(
    ("rule", "path", "source"),
    [
        (upward, "chamberwatch/wire/senml.py", "from chamberwatch.engine import Engine"),
        (upward, "chamberwatch/wire/senml.py", "from chamberwatch import rules"),
        (upward, "chamberwatch/notify/notifier.py", "from chamberwatch.journal.outbox import Outbox"),
        (upward, "chamberwatch/series/writer.py", "def f():\n    import chamberwatch.engine"),
        (upward, "chamberwatch/daemon/loop.py", "import simulator.plant"),
        (impure, "chamberwatch/engine.py", "import time"),
        (impure, "chamberwatch/rules/limit.py", "def f():\n    from pathlib import Path"),
        (impure, "chamberwatch/words/times.py", "from datetime import datetime\nx = datetime.now()"),
        (impure, "chamberwatch/model.py", "x = open('a')"),
        (impure, "chamberwatch/rules/limit.py", "import logging"),
        (upward, "chamberwatch/meat/risk.py", "from chamberwatch.rules import limit"),
        (heavy, "chamberwatch/meat/drying.py", "import numpy as np"),
        (heavy, "chamberwatch/series/writer.py", "from influxdb_client import Point"),
        (heavy, "simulator/drive.py", "class A:\n    import rich.progress"),
        (kin, "simulator/plant.py", "from chamberwatch.psychrometrics import dew_point_c"),
        (kin, "simulator/plant.py", "import chamberwatch"),
    ],
)
def test_the_rule_catches_a_breach(rule, path, source):
    """A planted breach is found, once, with its file."""
    found = list(rule(path, ast.parse(source)))
    assert len(found) == 1
    assert found[0].startswith(path)


@pytest.mark.parametrize(
    ("rule", "path", "source"),
    [
        (upward, "chamberwatch/engine.py", "from chamberwatch.rules import limit\nimport chamberwatch.model"),
        (heavy, "chamberwatch/series/writer.py", "def f():\n    from influxdb_client import Point"),
        (heavy, "chamberwatch/a/b.py", "if TYPE_CHECKING:\n    import numpy"),
        (kin, "simulator/speak.py", "from chamberwatch.wire.senml import encode\nfrom chamberwatch.model import Reading"),
    ],
)
def test_the_rule_lets_the_lawful_pass(rule, path, source):
    """What the rule allows is not found."""
    assert list(rule(path, ast.parse(source))) == []


def test_every_part_of_the_package_has_a_level():
    """A new part must be given its place before anybody imports it."""
    parts = {part_of(str(p.relative_to(ROOT))) for p in (ROOT / "chamberwatch").rglob("*.py")}
    assert parts - {"__init__"} <= set(LEVEL)


def test_loading_the_whole_package_loads_no_dear_library():
    """Importing every module leaves numpy, influxdb_client, apprise and rich out of the process."""
    script = (
        "import importlib, pkgutil, sys, chamberwatch\n"
        "for module in pkgutil.walk_packages(chamberwatch.__path__, 'chamberwatch.'):\n"
        "    module.name.endswith('__main__') or importlib.import_module(module.name)\n"
        "print(*sorted(set(sys.argv[1:]) & sys.modules.keys()))\n"
    )
    argv = [sys.executable, "-c", script, *LATE]
    done = subprocess.run(argv, capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.stderr == ""
    assert done.stdout.strip() == ""
