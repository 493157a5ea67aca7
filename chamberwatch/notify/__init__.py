"""Telling people: one thread a channel works off the notices the journal owes it.

Contract: at least once, never lost, never in the watch loop's way. The outbox, the clock and the way to the
broker are injected (`notifier.OutboxLike`, `now_ms`, `publish`); nothing here imports another adapter.
"""

from chamberwatch.notify.channels import ChannelPlan, channel_problem, probe_channel
from chamberwatch.notify.notifier import ChannelStatus, Notifier, Pace
from chamberwatch.notify.outbox_like import OutboxLike, OwedLike

__all__ = [
    "ChannelPlan",
    "ChannelStatus",
    "Notifier",
    "OutboxLike",
    "OwedLike",
    "Pace",
    "channel_problem",
    "probe_channel",
]
