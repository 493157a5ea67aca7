"""The sign of life by HTTP: whoever waits for it tells when this board is dead."""

from chamberwatch.heartbeat.pulse import Pulse, PulsePlan, PulseStatus, ping

__all__ = ["Pulse", "PulsePlan", "PulseStatus", "ping"]
