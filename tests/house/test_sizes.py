"""Files and functions stay small enough to be read in one go."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILE_LINES, FUNCTION_LINES = 400, 50


def long_functions(source: str) -> list[str]:
    """Return functions of more lines than allowed, their docstrings left out."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0]
            documented = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and ast.get_docstring(node)
            prose = first.end_lineno - first.lineno + 1 if documented else 0
            if node.end_lineno - node.lineno + 1 - prose > FUNCTION_LINES:
                found.append(node.name)
    return found


@pytest.mark.parametrize("folder", ["chamberwatch", "simulator"])
def test_files_and_functions_stop_at_their_limit(folder):
    """No file above 400 lines, no function above 50."""
    found = {}
    for path in (ROOT / folder).rglob("*.py"):
        source = path.read_text(encoding="utf-8")
        lines = source.count("\n")
        if faults := long_functions(source) + ([f"{lines} lines"] if lines > FILE_LINES else []):
            found[str(path.relative_to(ROOT))] = faults
    assert found == {}


def test_a_long_function_is_found():
    """The counting works: 50 lines pass, 51 don't, a docstring is free."""
    fits = 'def f():\n    """Doc.\n\n    More.\n    """\n' + "    x = 1\n" * 49
    assert long_functions(fits) == []
    assert long_functions(fits + "    x = 2\n") == ["f"]
