"""Plain words for every event, and the units and times people write. Pure."""

from chamberwatch.words.say import say
from chamberwatch.words.scene import Message, Scene

__all__ = ["Message", "Scene", "say"]
