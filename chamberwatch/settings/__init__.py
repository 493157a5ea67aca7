"""The only reader of the settings file, the environment and credentials."""

from chamberwatch.settings.load import Settings, load
from chamberwatch.settings.secrets import secret

__all__ = ["Settings", "load", "secret"]
