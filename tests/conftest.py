"""What all tests share: a slow machine is no fault, so no example of a property has a deadline."""

from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
