"""What every item that a decoder gives must be: a reading or a refusal that can be stored and shown."""

from __future__ import annotations

from chamberwatch.model import PROBE_TEMP_MAX_C, PROBE_TEMP_MIN_C, Reading, Refusal
from chamberwatch.wire.measured import EARLIEST_MS, LATEST_MS


def check_item(item: Reading | Refusal, now_ms: int) -> None:
    """Fail if the item, decoded at `now_ms`, cannot be stored and shown."""
    assert item.arrived_ms == now_ms
    if isinstance(item, Reading):
        assert item.temp_c is not None or item.rh_pct is not None
        assert not item.timed or EARLIEST_MS <= item.at_ms < LATEST_MS
        assert item.temp_c is None or PROBE_TEMP_MIN_C <= item.temp_c <= PROBE_TEMP_MAX_C
        assert item.rh_pct is None or 0 <= item.rh_pct <= 100
    else:
        assert isinstance(item, Refusal)
        assert 0 < len(item.detail.encode()) <= 400
        assert item.detail.isprintable()
