"""Probes that do not speak SenML, on their way into the journal: the same care as for any reading."""

from __future__ import annotations

import pytest
from daemon_parts import T0, TWO, House, line

from chamberwatch.ingest.packet import Packet
from chamberwatch.model import Reason
from chamberwatch.wire.speech import Format, Speech


@pytest.fixture
def house(tmp_path):
    """Two probes: the rear one speaks in pairs, the front one SenML."""
    house = House(tmp_path, plan=TWO, speeches={"rear": Speech(Format.KEY_VALUE, "t", "rh", "at")})
    yield house
    house.close()


def test_each_probe_is_read_as_it_speaks(house):
    """Each in its own format, none in the other's."""
    house.send(f"t=12.4 rh=75.1 at={T0}".encode(), "rear", ack="first")
    house.send(line(12.6, 74.9, at_ms=T0), "front")
    house.send(line(12.6, 74.9, at_ms=T0), "rear")
    house.send(b"t=12.4 rh=75.1 at=1793404800", "front")
    assert house.acked == []
    assert house.pipeline.commit()
    assert house.acked == ["first"]
    assert sorted(house.air()) == [("front", 0, 12.6, 74.9), ("rear", 0, 12.4, 75.1)]
    assert sorted(house.refusals()) == [("front", Reason.NOT_JSON, 1), ("rear", Reason.NO_QUANTITY, 1)]


def test_two_messages_of_one_time_are_one_reading(house):
    """As in SenML: temperature and humidity are merged, never dropped; a second delivery is no new reading."""
    for text in ("t=12.4", "rh=75.1", "t=12.4"):
        house.send(f"{text} at={T0 / 1000:.0f}".encode())
    assert house.pipeline.commit()
    assert house.air() == [("rear", 0, 12.4, 75.1)]


def test_a_kept_message_without_a_time_tells_nothing_about_now(tmp_path):
    """As in SenML: the broker may have kept it for days."""
    house = House(tmp_path, speeches={"rear": Speech(Format.JSON, "/t")})
    house.send(b'{"t":30.0}', retained=True)
    house.send(b'{"t":12.4}')
    assert house.pipeline.commit()
    assert [temp_c for _, _, temp_c, _ in house.air()] == [12.4]
    house.close()


def test_a_recorded_line_is_senml_whatever_the_probe_speaks(house):
    """A replay file has one format, in which each line names its probe."""
    house.pipeline.packet(Packet("file", None, line(12.5, 75.0, at_ms=T0, name="rear"), T0))
    assert house.pipeline.commit()
    assert house.air() == [("rear", 0, 12.5, 75.0)]
