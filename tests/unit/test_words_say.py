"""What the messages promise a person who reads one at night."""

from __future__ import annotations

from dataclasses import replace

import pytest
from words_parts import BEGAN_MS, CELLAR, FRONT, LOIN, MIN_MS, SALTING, SCENE, SEEN, SHED, event, noted

from chamberwatch.model import EventState, Hanging, Kind, Note
from chamberwatch.words import say

WARM = event(Kind.TEMPERATURE_HIGH, value=16.42, limit=15.0)
DRY = event(Kind.HUMIDITY_LOW, value=58.2, limit=70.0)


def test_the_first_line_tells_what_how_far_and_since_when():
    """A lock screen is enough to know: chamber, state, figure, beginning with its day, plan."""
    assert say(WARM, SCENE).headline == "cellar is too warm: 16.4 °C since Sat 23:52, planned at most 15 °C."
    assert say(DRY, SCENE).headline == "cellar is too dry: 58 % since Sat 23:52, planned at least 70 %."


def test_a_message_of_the_same_day_needs_no_weekday():
    """The day is named only when it isn't the day of telling."""
    later = replace(WARM, since_ms=BEGAN_MS + 60 * MIN_MS)
    assert "since 00:52," in say(later, SCENE).headline


def test_an_american_house_reads_its_own_degrees():
    """With units "us" every temperature is °F, the advice included; humidity stays per cent."""
    message = say(WARM, replace(SCENE, units="us", **FRONT))
    assert message.headline == "cellar is too warm: 61.6 °F since Sat 23:52, planned at most 59 °F."
    assert "°C" not in message.text
    assert "57.4 °F, 76 %" in message.body


def test_the_piece_hung_last_is_the_worry_when_it_is_warm():
    """Among several pieces the youngest has the wettest middle; alone, a piece isn't compared."""
    assert "Bresaola 2, hung last, is the worry" in say(WARM, SCENE).body
    assert "is the worry" not in say(WARM, replace(SCENE, pieces=(LOIN,))).body


def test_an_empty_chamber_is_said_to_be_empty():
    """Without pieces nobody is sent to look them over."""
    empty = replace(SCENE, pieces=())
    over = replace(WARM, state=EventState.RETURNED, value=14.0, worst=22.0)
    assert "As far as I know nothing hangs there." in say(WARM, empty).body
    assert "Look the pieces over" not in say(over, empty).body


def test_warmth_past_the_urgent_limit_shouts_and_cannot_wait():
    """Past the limit that wakes people the first line says so, whether it began or became so."""
    hot = replace(WARM, value=18.3)
    became = replace(noted(Kind.TEMPERATURE_HIGH, Note.RAISED), value=18.3, limit=18.0)
    for urgent in (hot, became):
        message = say(urgent, SCENE)
        assert message.headline == "CELLAR IS HOT: 18.3 °C, past 18 °C; too warm since Sat 23:52."
        assert "Wait till morning: no" in message.body
        assert "fridge at 2-4 °C" in message.body
    assert "Wait till morning: only while it stays below 18 °C" in say(WARM, SCENE).body


def test_frost_shouts_too():
    """Below the low urgent limit the meat may freeze."""
    message = say(event(Kind.TEMPERATURE_LOW, value=0.4, limit=10.0), SCENE)
    assert message.headline == "CELLAR NEAR FREEZING: 0.4 °C, below 1 °C; too cold since Sat 23:52."
    assert "Wait till morning: no" in message.body


@pytest.mark.parametrize("plan", [CELLAR, SALTING, SHED])
def test_warmth_always_carries_its_cautions(plan):
    """That it can't be undone, that looks and smell prove nothing, what to do in doubt."""
    for told in (WARM, replace(WARM, note=Note.STILL, state=EventState.NOTED)):
        body = say(told, replace(SCENE, chamber=plan)).body
        assert "can't be undone" in body
        assert "toxins have no smell and cooking doesn't remove them" in body
        assert "If in doubt, discard." in body
        assert "local food rules" in body


def test_no_message_calls_meat_safe():
    """After warmth past the urgent limit it says that it cannot say so."""
    over = replace(WARM, state=EventState.RETURNED, value=14.0, worst=19.4, at_ms=BEGAN_MS + 190 * MIN_MS)
    message = say(over, SCENE)
    assert message.headline == "cellar is back as planned: 14.0 °C, after 3 h 10 min too warm."
    assert "The furthest was 19.4 °C. It began Sat 23:52." in message.body
    assert "I cannot tell you that they are safe." in message.body
    assert "the one hung last first" in message.body


def test_mild_warmth_ends_mildly():
    """Below the urgent limit a look at the next opening is enough; spoilage signs are still named."""
    body = say(replace(WARM, state=EventState.RETURNED, value=14.0, worst=16.5), SCENE).body
    assert "at the next door opening" in body
    assert "Bad smell, slime or odd colour: discard" in body


def test_the_salting_fridge_is_never_left_till_morning():
    """Salting meat has only the cold to protect it."""
    body = say(replace(WARM, value=6.0, limit=4.0), replace(SCENE, chamber=SALTING)).body
    assert "Wait till morning: no." in body
    assert "nothing else protects it" in body


def test_a_room_has_no_thermostat():
    """Advice for a room is windows, floor and another corner."""
    for kind in (Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW, Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW):
        body = say(event(kind, value=50.0, limit=40.0), replace(SCENE, chamber=SHED)).body
        assert "windows" in body
        assert "thermostat" not in body.replace("thermostat and hygrometer", "")
        assert "compressor" not in body


def test_dry_air_can_wait_and_nobody_sprays_the_meat():
    """Hours of dry air do no lasting harm; the message says what days do."""
    body = say(DRY, SCENE).body
    assert "Wait till morning: yes. Don't spray the meat." in body
    assert "crust" in body


def test_damp_air_explains_a_piece_just_hung():
    """In the first three days a new piece wets the air by itself; later it is about mold."""
    damp = event(Kind.HUMIDITY_HIGH, value=88.0, limit=80.0)
    fresh = say(damp, replace(SCENE, pieces=(Hanging("Neck 4", 1), LOIN))).body
    assert "Neck 4 was hung lately and gives off much water" in fresh
    later = say(damp, SCENE).body
    assert "was hung lately" not in later
    assert "under the casing: discard" in later


def test_a_lone_probe_is_doubted_and_warmth_not_slept_over():
    """One probe may lie: either it is wrong or the chamber is hot, look now."""
    assert "either the probe is wrong or it is hot in there. Look now." in say(WARM, SCENE).body
    dry = say(DRY, SCENE).body
    assert "either the probe is wrong or it is too dry" in dry
    assert "Look now" not in dry


def test_two_probes_are_compared():
    """The other probe's figures stand beside; a contradiction is named, a small difference isn't."""
    apart = say(WARM, replace(SCENE, **FRONT)).body
    assert "Measured by rear at 01:10; front reads 14.1 °C, 76 %. They don't agree" in apart
    close = say(replace(WARM, value=15.05), replace(SCENE, **FRONT)).body
    assert "front reads 14.1 °C" in close
    assert "They don't agree" not in close
    both = say(replace(WARM, probes=("front", "rear")), SCENE).body
    assert "Measured by front and rear at 01:10." in both


def test_a_silent_probe_leaves_the_chamber_unseen_or_in_anothers_sight():
    """Blind: what was seen last, and 'I don't know'. With another probe: what that one sees."""
    silent = event(Kind.PROBE_SILENT, value=1.5, limit=1.5)
    blind = say(silent, replace(SCENE, **SEEN))
    assert blind.headline == "I can't see cellar: last reading 13.1 °C, 76 % at Sat 23:50."
    assert "The meat may be fine, I don't know." in blind.body
    assert "unknown in the record of Loin 1, Bresaola 2" in blind.body
    assert "a young piece hangs there" in blind.body
    assert "Wait till morning: yes" in say(silent, replace(SCENE, pieces=(LOIN,))).body
    seen = say(silent, replace(SCENE, **FRONT, **SEEN))
    assert seen.headline == "rear has gone silent; front still sees cellar: 14.1 °C, 76 %."
    assert "From rear: last reading 13.1 °C, 76 % at Sat 23:50." in seen.body


def test_a_probe_never_heard_is_told_without_a_last_reading():
    """Without any reading the beginning of the silence is all there is."""
    assert say(event(Kind.PROBE_SILENT), SCENE).headline == "I can't see cellar: nothing since Sat 23:52."


def test_a_probe_heard_again_says_who_kept_watch():
    """The end tells how long it was and whether those hours are unknown."""
    back = event(Kind.PROBE_SILENT, state=EventState.RETURNED, after_min=200)
    assert say(back, replace(SCENE, **SEEN)).headline == (
        "I hear rear in cellar again: 13.1 °C, 76 %, after 3 h 20 min of silence."
    )
    assert "These hours stand as unknown" in say(back, SCENE).body
    assert "front kept watch meanwhile." in say(back, replace(SCENE, **FRONT)).body


def test_an_hour_without_eyes_shouts():
    """Whichever of the three kinds tells it, a chamber that nobody sees is urgent."""
    for kind in (Kind.PROBE_SILENT, Kind.PROBE_IMPLAUSIBLE, Kind.BROKER_LOST):
        message = say(noted(kind, Note.RAISED, after_min=60), replace(SCENE, **SEEN))
        assert message.headline.startswith("NOBODY SEES CELLAR: no good reading for 60 min")
        assert "a young piece hangs there" in message.body


def test_nonsense_is_about_the_probe_and_says_what_was_wrong():
    """The commonest reason stands in the first line, all of them with their details below."""
    bad = event(Kind.PROBE_IMPLAUSIBLE, value=6.0, limit=6.0)
    refusals = ("wrong unit: % instead of %RH", "wrong unit: /", "not a number: null")
    scene = replace(SCENE, refusals=refusals)
    message = say(bad, scene)
    assert message.headline == "rear in cellar sends nonsense since Sat 23:52: wrong unit."
    assert "Refused most: wrong unit (% instead of %RH); not a number (null)." in message.body
    assert "the meat may be fine" in message.body
    assert "jumps no air can make" in say(bad, SCENE).headline


def test_a_gap_of_the_monitor_owns_up_to_what_is_unknown():
    """From when to when, which pieces; after a long one the power is suspected and the cautions are there."""
    gap = noted(Kind.MONITOR_GAP, Note.FACT, after_min=318, value=318.0)
    message = say(gap, replace(SCENE, **SEEN))
    assert message.headline == "I was off from Sat 23:52 to 05:10 (5 h 18 min): cellar unknown meanwhile."
    assert "Before it: 13.1 °C, 76 %." in message.body
    assert "was the power off in the house?" in message.body
    assert "can't be undone" in message.body
    short = say(replace(gap, at_ms=BEGAN_MS + 5 * MIN_MS), SCENE).body
    assert "So short a gap matters little." in short


def test_a_lost_broker_says_what_still_works():
    """It is told since when, who is unheard, whether another probe reads on, and what became of the backlog."""
    lost = event(Kind.BROKER_LOST, probes=("front", "rear"))
    assert say(lost, SCENE).headline == "No broker since Sat 23:52: I don't hear front and rear in cellar."
    assert "No other probe works there." in say(lost, SCENE).body
    assert "top reads 14.1 °C, 76 %." in say(lost, replace(SCENE, **FRONT | {"other_probe": "top"})).body
    assert "comes in now" in say(replace(lost, state=EventState.RETURNED), SCENE).headline
    forgot = say(noted(Kind.BROKER_LOST, Note.FACT), SCENE)
    assert "forgot what it held for me" in forgot.headline
    assert "may be lost" in forgot.body


def test_an_acknowledgement_says_who():
    """Whoever else gets messages learns that somebody is on it, and who."""
    told = noted(Kind.HUMIDITY_LOW, Note.ACKNOWLEDGED, value=58.0)
    assert say(told, replace(SCENE, detail="Ina")).headline == (
        "Somebody is on it (Ina): cellar too dry, since Sat 23:52."
    )
    assert say(told, SCENE).headline.startswith("Somebody is on it: ")


def test_another_probe_joining_or_leaving_names_those_that_are_in_it():
    """The list is always the one after the change."""
    both = noted(Kind.HUMIDITY_LOW, Note.PROBE_JOINED, value=60.0, probes=("front", "rear"))
    assert say(both, SCENE).headline == "cellar too dry, now by front and rear: 60 %."
    silent = noted(Kind.PROBE_SILENT, Note.PROBE_JOINED, probes=("front", "rear"))
    assert say(silent, SCENE).headline == "front and rear in cellar now silent."
    one = noted(Kind.PROBE_SILENT, Note.PROBE_LEFT)
    assert say(one, SCENE).headline == "rear in cellar still silent; another one isn't any more."
    dry = noted(Kind.HUMIDITY_LOW, Note.PROBE_LEFT, value=73.0)
    assert say(dry, SCENE).headline == "cellar too dry: one probe is back as planned, rear not yet."


def test_what_is_told_late_says_so_first():
    """A backlog's alarm owns up: when the readings came and how much later than they were taken."""
    late = replace(WARM, late_ms=150 * MIN_MS)
    assert say(late, SCENE).body.splitlines()[0] == (
        "Told late: the readings reached me at 03:40, 2 h 30 min after they were taken."
    )
    assert "Told late" not in say(replace(WARM, late_ms=10 * MIN_MS), SCENE).body


def test_a_consequence_is_an_update_of_what_was_told_before():
    """One cause is one thing to mend: the first word says so, at its end too; what is noted between isn't marked."""
    warm = replace(WARM, because="e0")
    told = say(warm, SCENE)
    assert told.headline == "Update: cellar is too warm: 16.4 °C since Sat 23:52, planned at most 15 °C."
    assert told.body.splitlines()[0] == "It belongs to what I told you before: one cause, one thing to mend."
    over = say(replace(warm, state=EventState.RETURNED, value=14.0, worst=16.5), SCENE)
    assert over.headline.startswith("Update: cellar is back as planned")
    assert over.body.splitlines()[0] == "It belonged to what I told you before."
    joined = say(replace(warm, state=EventState.NOTED, note=Note.PROBE_JOINED), SCENE)
    assert not joined.headline.startswith("Update: ")
    assert not say(WARM, SCENE).headline.startswith("Update: ")


def test_a_reminder_tells_the_furthest_and_the_newest_not_the_first_figure():
    """A day later the figure of the beginning is old: the furthest and the newest reading stand instead."""
    told = say(noted(Kind.TEMPERATURE_HIGH, Note.STILL, after_min=1440, value=15.4, limit=15.0, worst=17.2), replace(SCENE, **SEEN))
    assert told.headline == "cellar still too warm after 24 h; the furthest was 17.2 °C."
    assert "Newest reading: 13.1 °C, 76 %, by rear at Sat 23:50." in told.body
    assert "15.4" not in told.text


def test_a_room_is_told_by_its_days_mean():
    """A room is judged by 24 h means, and no moment of another probe contradicts one; past all waiting it is now."""
    scene = replace(SCENE, chamber=SHED, **FRONT)
    body = say(event(Kind.TEMPERATURE_HIGH, value=19.2, limit=18.0), scene).body
    assert "It is the mean of the 24 h to 01:10, by rear; front reads 14.1 °C, 76 %." in body
    assert "They don't agree" not in body
    assert "Measured by rear at 01:10" in say(noted(Kind.TEMPERATURE_HIGH, Note.RAISED, value=26.0, limit=18.0), scene).body


def test_a_long_name_gives_way_to_the_figures():
    """A chamber's name of 64 letters leaves the figures on the lock screen."""
    long = replace(SCENE, chamber=replace(CELLAR, name="x" * 64))
    headline = say(WARM, long).headline
    assert "16.4 °C since Sat 23:52" in headline
    assert len(headline) <= 110
