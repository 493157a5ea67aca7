"""Watches the air of a home cure chamber and what that air does to the meat hanging in it."""

__version__ = "0.1.0.dev0"
