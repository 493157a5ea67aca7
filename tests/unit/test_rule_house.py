"""The monitor watching itself: the disk under the journal, the channels to people."""

from chamberwatch.engine import Engine
from chamberwatch.inputs import ChannelState, DiskFree
from chamberwatch.model import MS_PER_MIN, Band, ChamberKind, ChamberPlan, EventState, Kind, Plan, ProbePlan
from chamberwatch.rules import house

T0 = 1_793_404_800_000
PLAN = Plan(
    (ChamberPlan("cellar", ChamberKind.CURE_CHAMBER, Band(10, 15, 60), Band(70, 80, 100)),),
    (ProbePlan("rear", "cellar"),),
)


def told(items, kind, restart_at=None):
    """Return this kind's events; the engine is saved and restored before item `restart_at`."""
    engine, events = Engine(PLAN), []
    for i, item in enumerate(items):
        if i == restart_at:
            body = engine.snapshot()
            engine = Engine(PLAN)
            engine.restore(body)
        events += [e for e in engine.step(item) if e.kind is kind]
    return events


def disks(*free):
    """One look a minute."""
    return [DiskFree(T0 + i * MS_PER_MIN, pct) for i, pct in enumerate(free)]


def test_a_disk_nearly_full_is_told_once_and_over_with_room_to_spare():
    """Below 10 % it is told, at 11 % it stands, at 12 % it is over; it names no chamber."""
    events = told(disks(50, 9.9, 5, 11, 12, 50), Kind.DISK_LOW)

    assert [(e.state, e.value, e.chamber, e.probes) for e in events] == [
        (EventState.ACTIVE, 9.9, "", ()),
        (EventState.RETURNED, 12, "", ()),
    ]


def test_a_restart_in_the_middle_changes_nothing():
    """What stands for the whole house survives the snapshot."""
    items = disks(50, 9, 9, 20)

    assert told(items, Kind.DISK_LOW, restart_at=2) == told(items, Kind.DISK_LOW)


def test_a_number_that_is_none_changes_nothing():
    """NaN is no news of the disk."""
    assert told(disks(float("nan"), 50), Kind.DISK_LOW) == []


def test_a_channel_is_told_after_a_quarter_of_an_hour_and_when_it_gets_through():
    """The event's time is the failure's begin plus 15 min, whenever it was looked at; each channel is named."""
    at = T0 + house.CHANNEL_PATIENCE_MS
    events = told(
        [
            ChannelState(T0 + MS_PER_MIN, "mail", T0, 1),
            ChannelState(at + 30_000, "mail", T0, 7),
            ChannelState(at + MS_PER_MIN, "mail", None),
        ],
        Kind.CHANNEL_FAILING,
    )

    assert [(e.state, e.detail) for e in events] == [
        (EventState.ACTIVE, "mail"),
        (EventState.RETURNED, "mail"),
    ]
    assert (events[0].at_ms, events[0].since_ms, events[0].value) == (at, T0, 7.0)


def test_a_channel_that_never_failed_says_nothing():
    """Going through is no news."""
    assert told([ChannelState(T0, "mail", None)], Kind.CHANNEL_FAILING) == []
