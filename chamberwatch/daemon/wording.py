"""Small words for people."""

from __future__ import annotations


def counted(n: int, noun: str) -> str:
    """Return '1 probe', '2 probes', '1,200 probes'."""
    return f"{n:,} {noun}" if n == 1 else f"{n:,} {noun}s"
