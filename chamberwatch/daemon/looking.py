"""To look without touching: whether a watch runs, and a broker connection that leaves no trace."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from chamberwatch.daemon.clock import MachineClock
from chamberwatch.errors import ChamberwatchError, JournalHeld
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.broker_plan import BrokerPlan
from chamberwatch.ingest.packet import Inbox
from chamberwatch.journal.lock import hold


def is_watched(journal_path: Path) -> bool:
    """Return whether a watch runs on this journal."""
    # Looking must not leave a lock file behind that belongs to whoever looked first.
    if not journal_path.with_name(journal_path.name + ".lock").exists():
        return False
    try:
        hold(journal_path).release()
    except JournalHeld:
        return True
    except ChamberwatchError:
        return False
    return False


def looker(plan: BrokerPlan, inbox: Inbox, topics: Mapping[str, str]) -> BrokerLink:
    """Return a link with a name of its own that reads `topics` only: the watch's session is not ours to take.

    Raises:
        SettingsError: the authority's file cannot be used.
    """
    name = f"{plan.client_id}-check-{os.getpid()}"
    quiet = replace(
        plan, client_id=name, session_expiry_s=1, topics=topics, acknowledge_topic=None, status_topic=None
    )
    return BrokerLink(quiet, inbox, MachineClock().now_ms)
