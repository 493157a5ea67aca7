"""What the messages of the slow rules and of the monitor itself promise a person who reads one at night."""

from __future__ import annotations

from dataclasses import replace

import pytest
from words_parts import BEGAN_MS, CELLAR, FRONT, LOIN, MIN_MS, SALTING, SCENE, SEEN, SHED, event, noted

from chamberwatch.model import EventState, Kind, Note, Phase
from chamberwatch.wire.timestamp import parse_rfc3339
from chamberwatch.words import say

OVER = {"state": EventState.RETURNED}
US = replace(SCENE, units="us")
COLD = replace(SCENE, chamber=SALTING)
ROOM = replace(SCENE, chamber=SHED)
EMPTY = replace(SCENE, pieces=())

# The compressor was due at 23:52; at 00:54 it is 1 °C warmer than it ever got.
DEAD = event(Kind.COOLING_LOST, after_min=62, value=14.1, limit=13.1, worst=14.1)
DRIER = event(Kind.HUMIDITY_DRIFT, value=73.1, limit=70.0, meets_ms=parse_rfc3339("2026-11-22T03:20:00+01:00"))
OPEN = event(Kind.DOOR_OPEN, after_min=25, value=15.8, limit=12.1, worst=15.8)
STUCK = event(Kind.PROBE_STUCK, after_min=180, value=78.14, limit=3.0, detail="humidity")
APART = event(Kind.PROBES_DISAGREE, after_min=120, value=3.1, limit=2.0, detail="humidity")
FULL = event(Kind.DISK_LOW, value=8.2, limit=10.0, chamber="", probes=("disk",))
MUTE = event(Kind.CHANNEL_FAILING, value=5.0, chamber="", probes=("mail",), detail="connection refused")


# -- cooling-lost -----------------------------------------------------------------------------------------


def test_lost_cooling_tells_how_warm_where_it_leads_and_since_when():
    """The lock screen: 1 °C in 62 min, so 3.9 °C more take 241.8: 00:54 and 4 h 1.8 min is 04:55 (by hand)."""
    told = say(DEAD, SCENE)
    assert told.headline == (
        "CELLAR NOT COOLING: 14.1 °C, 18 °C by about 04:55; compressor overdue since Sat 23:52."
    )
    assert "holds if it climbs on at this pace" in told.body
    assert "57.4 °F, 64.4 °F by about" in say(DEAD, US).headline


@pytest.mark.parametrize(
    "fields",
    [
        {"limit": None},
        {"value": None},
        {"value": 13.1},
        {"value": 13.15},
        {"at_ms": BEGAN_MS + 5 * MIN_MS},
    ],
)
def test_lost_cooling_names_no_hour_it_cannot_know(fields):
    """Without figures, without a climb, from minutes alone or more than half a day ahead no hour is told."""
    told = say(replace(DEAD, **fields), SCENE)
    assert "by about" not in told.headline
    assert "at this pace" not in told.body


def test_lost_cooling_past_the_urgent_limit_says_so_instead():
    """What is past already needs no hour."""
    assert "18.4 °C, past 18 °C; compressor" in say(replace(DEAD, value=18.4), SCENE).headline


@pytest.mark.parametrize("scene", [SCENE, COLD, ROOM])
def test_lost_cooling_never_waits_and_says_what_to_do_with_the_meat(scene):
    """In every chamber: look now, the fridge to move to, the cautions of warmth."""
    body = say(DEAD, scene).body
    assert "Wait till morning: no." in body
    assert "fridge at 2-4 °C" in body
    assert "can't be undone" in body
    assert "If in doubt, discard." in body


def test_lost_cooling_names_what_the_air_usually_does_and_the_worry():
    """The usual top stands beside the figure; the piece hung last is the worry; salting meat lives by the cold."""
    body = say(DEAD, SCENE).body
    assert "should have run by Sat 23:52; usually the air turns at 13.1 °C." in body
    assert "Bresaola 2, hung last, is the worry" in body
    assert "nothing else protects it" in say(DEAD, COLD).body


def test_a_lone_probe_may_be_what_failed():
    """Alone: either the probe is wrong or the cooling has stopped; with another probe its reading stands there."""
    assert "either the probe is wrong or the cooling has stopped. Look now." in say(DEAD, SCENE).body
    assert "front reads 14.1 °C, 76 %." in say(DEAD, replace(SCENE, **FRONT)).body


def test_cooling_that_works_again_tells_how_warm_it_got_and_calls_nothing_safe():
    """Past the urgent limit every piece is to be looked at today; an empty chamber sends nobody."""
    over = replace(DEAD, **OVER, at_ms=BEGAN_MS + 190 * MIN_MS, value=13.0, worst=19.0)
    told = say(over, SCENE)
    assert told.headline == "cellar cools again: 13.0 °C, after 3 h 10 min."
    assert "The furthest was 19.0 °C." in told.body
    assert "I cannot tell you that they are safe." in told.body
    assert "Look the pieces over" not in say(over, EMPTY).body


# -- drifts -----------------------------------------------------------------------------------------------


def test_a_drift_tells_which_way_and_when_it_meets_the_limit():
    """The lock screen has the direction, the mean, the limit and the hour; the body has the plan."""
    told = say(DRIER, SCENE)
    assert told.headline == "cellar gets drier: 73 % and falling since Sat 23:52, crosses 70 % about 03:20."
    assert "Planned is at least 70 %: on average the air is as planned so far." in told.body
    assert "humidifier water" in told.body
    assert "Wait till morning: yes" in told.body


@pytest.mark.parametrize(
    ("kind", "value", "limit", "gets"),
    [
        (Kind.TEMPERATURE_DRIFT, 13.9, 15.0, "gets warmer: 13.9 °C and rising"),
        (Kind.TEMPERATURE_DRIFT, 11.2, 10.0, "gets colder: 11.2 °C and falling"),
        (Kind.HUMIDITY_DRIFT, 78.0, 80.0, "gets damper: 78 % and rising"),
        (Kind.HUMIDITY_DRIFT, 72.0, 70.0, "gets drier: 72 % and falling"),
    ],
)
def test_a_drift_goes_towards_its_limit(kind, value, limit, gets):
    """Four ways to leave the plan, each in its own words, whether the hour is known or not."""
    for meets_ms in (DRIER.meets_ms, None):
        assert gets in say(event(kind, value=value, limit=limit, meets_ms=meets_ms), SCENE).headline


def test_a_drift_that_is_past_its_limit_keeps_its_direction():
    """The mean may be past the limit when it is told: it gets damper all the same, and says so."""
    past = event(Kind.HUMIDITY_DRIFT, value=80.3, limit=80.0, meets_ms=BEGAN_MS + 70 * MIN_MS)
    told = say(past, SCENE)
    assert told.headline == "cellar gets damper: 80.3 % and rising since Sat 23:52, past 80 % already."
    assert "as planned so far" not in told.body


def test_the_first_damp_days_have_limits_of_their_own():
    """A phase plans 80 to 90 %: falling towards its low limit is drier, though 80 is the plain band's high one."""
    damp = replace(CELLAR, phases=(Phase(3, 80, 90),))
    falling = event(Kind.HUMIDITY_DRIFT, value=83.0, limit=80.0, meets_ms=DRIER.meets_ms)
    assert "gets drier: 83 % and falling" in say(falling, replace(SCENE, chamber=damp)).headline


def test_a_reminder_of_a_drift_still_checks_the_right_thing():
    """A day later the hour of the crossing is past; what to check is what it was."""
    told = say(replace(DRIER, state=EventState.NOTED, note=Note.STILL, at_ms=BEGAN_MS + 1440 * MIN_MS), SCENE)
    assert "humidifier water" in told.body
    assert "stuck on" not in told.body


def test_warming_salting_meat_waits_only_while_it_is_cold():
    """In the salting fridge the planned limit is what it may not pass; elsewhere the one that wakes people."""
    warmer = event(Kind.TEMPERATURE_DRIFT, value=3.2, limit=4.0, meets_ms=DRIER.meets_ms)
    assert "only while it stays below 4 °C" in say(warmer, COLD).body
    assert "yes, while it stays below 64.4 °F" in say(replace(warmer, value=13.9, limit=15.0), US).body


def test_the_end_of_a_drift_promises_nothing_about_the_plan():
    """It may have ended outside the plan: then that has its own messages."""
    told = say(replace(DRIER, **OVER, value=72.3), SCENE)
    assert told.headline == "cellar drifts no more: 72 %, limit 70 %, after 78 min."
    assert "This is about the drift alone" in told.body


# -- humidity-swing ---------------------------------------------------------------------------------------


def test_a_swing_tells_which_test_it_met():
    """Quick swings are controls at odds and hardly felt; slow ones reach the meat and carry the mold caution."""
    fast = say(event(Kind.HUMIDITY_SWING, value=18.3, limit=12.0, detail="fast"), SCENE)
    assert fast.headline == "Humidity in cellar swings by 18 % again and again since Sat 23:52: controls at odds?"
    assert "up and down by 12 % or more" in fast.body
    assert "hardly feels" in fast.body
    felt = say(event(Kind.HUMIDITY_SWING, value=8.7, limit=6.0, detail="felt"), SCENE)
    assert felt.headline == "Slow humidity swings in cellar, felt by the meat's outside: 9 % since Sat 23:52."
    assert "an estimate from the air" in felt.body
    assert "under the casing: discard" in felt.body
    assert "controls" not in felt.text


def test_after_slow_swings_the_pieces_are_to_be_pressed():
    """Only where something hangs, and only when the meat felt them."""
    felt = event(Kind.HUMIDITY_SWING, **OVER, value=2.0, limit=6.0, detail="felt")
    assert "press the pieces" in say(felt, SCENE).body
    assert "press the pieces" not in say(felt, EMPTY).body
    assert "press the pieces" not in say(replace(felt, detail="fast"), SCENE).body


# -- condensation-risk ------------------------------------------------------------------------------------


def test_wet_meat_is_an_estimate_and_says_what_to_do():
    """Both temperatures in the first line; that the surface is estimated; dab off, no heat; the mold caution."""
    told = say(event(Kind.CONDENSATION_RISK, value=13.4, limit=12.1), SCENE)
    assert told.headline == "Wet meat in cellar? Dew point 13.4 °C, surface about 12.1 °C, since Sat 23:52."
    assert "The surface is an estimate" in told.body
    assert "dab off drops with clean paper; don't heat" in told.body
    assert "under the casing: discard" in told.body
    assert "Dew point 56.1 °F, surface about 53.8 °F" in say(event(Kind.CONDENSATION_RISK, value=13.4, limit=12.1), US).headline


def test_dry_again_tells_where_to_look():
    """Drops hide where pieces touch; in an empty chamber nobody looks."""
    over = event(Kind.CONDENSATION_RISK, **OVER, value=12.0, limit=12.6)
    assert "look where pieces touch" in say(over, SCENE).body
    assert "look where pieces touch" not in say(over, EMPTY).body


# -- door-open --------------------------------------------------------------------------------------------


def test_a_door_tells_from_where_to_where():
    """A question, since a probe sees no door; a room may have a window open."""
    assert say(OPEN, SCENE).headline == "Door of cellar open? Up from 12.1 °C to 15.8 °C since Sat 23:52, not coming back."
    assert say(OPEN, ROOM).headline.startswith("Door or window of shed open?")
    assert "Outside air came in" in say(OPEN, ROOM).body
    assert "53.8 °F to 60.4 °F" in say(OPEN, US).headline


def test_a_door_is_worth_a_minute_at_night():
    """Better not in a chamber, not at all in the salting fridge or past the urgent limit, with the cautions then."""
    mild, hot = say(OPEN, SCENE).body, say(replace(OPEN, value=19.0), SCENE).body
    cold = say(replace(OPEN, value=6.0, limit=3.0), COLD).body
    assert "Wait till morning: better not." in mild
    assert "can't be undone" not in mild
    for body in (cold, hot):
        assert "Wait till morning: no" in body
        assert "can't be undone" in body


def test_a_shut_door_recommends_the_door_session():
    """Who opens often learns the command that keeps the messages away."""
    told = say(replace(OPEN, **OVER, at_ms=BEGAN_MS + 55 * MIN_MS, value=13.8), SCENE)
    assert told.headline == "The air in cellar comes back: 13.8 °C, after about 55 min."
    assert "`chamberwatch tend`" in told.body


# -- probe-stuck, probes-disagree -------------------------------------------------------------------------


def test_a_stuck_probe_says_which_half_and_whom_to_believe():
    """The half, its figure, since when; the other probe's reading, or that there is none."""
    told = say(STUCK, replace(SCENE, **FRONT))
    assert told.headline == "rear in cellar stuck: humidity at 78 % since Sat 23:52."
    assert "Believe front for now: it reads 14.1 °C, 76 %." in told.body
    assert "so I don't know the humidity" in say(STUCK, SCENE).body
    warm = replace(STUCK, detail="temperature", value=12.5)
    assert "stuck: temperature at 54.5 °F since" in say(warm, US).headline


def test_a_stuck_thermometer_over_young_meat_is_not_left_till_morning():
    """Without another probe the temperature is unseen; humidity alone can wait, and so can an old piece."""
    warm = replace(STUCK, detail="temperature", value=12.5)
    assert "Wait till morning: better not, a young piece hangs there." in say(warm, SCENE).body
    assert "Wait till morning: yes" in say(warm, replace(SCENE, pieces=(LOIN,))).body
    assert "Wait till morning: yes" in say(STUCK, SCENE).body
    assert "Wait till morning: yes" in say(warm, replace(SCENE, **FRONT)).body


def test_a_probe_full_of_water_is_told_apart():
    """Pinned at 100 %RH is water or salt in the element; 100 °C is not."""
    assert "water or salt in the element" in say(replace(STUCK, value=100.0), SCENE).body
    assert "water or salt in the element" not in say(STUCK, SCENE).body
    assert "water or salt in the element" not in say(replace(STUCK, value=99.9, detail="temperature"), SCENE).body


def test_a_probe_that_moves_again_is_tested_before_it_is_believed():
    """How long it stood, what it reads, and a plain instrument beside it once."""
    told = say(replace(STUCK, **OVER, at_ms=BEGAN_MS + 285 * MIN_MS), replace(SCENE, **SEEN))
    assert told.headline == "rear in cellar moves again, after 4 h 45 min. It reads 13.1 °C, 76 %."
    assert "hold a plain instrument beside rear" in told.body


def test_a_lying_probe_is_named_with_how_far_and_how_to_prove_it():
    """Which probe left its own past, by how much and which way; both readings; plain instrument and salt jar."""
    told = say(APART, replace(SCENE, **FRONT, **SEEN))
    assert told.headline == "rear in cellar left its own past: humidity off by +3.1 % since Sat 23:52."
    assert "Now rear reads 13.1 °C, 76 %, front 14.1 °C, 76 %." in told.body
    assert "plain instrument beside each" in told.body
    # Saturated NaCl: 75.67 %RH at 10 °C, 75.29 at 25 (Greenspan 1977, FOUND* secondary).
    assert "it should read 75 to 76 %" in told.body
    below = say(replace(APART, value=-0.8, limit=0.5, detail="temperature"), US)
    assert "temperature off by -1.4 °F since" in below.headline
    assert "salt jar" not in below.body


def test_the_end_of_a_disagreement_says_what_was_off():
    """And that a probe which healed by itself wants a look."""
    told = say(replace(APART, **OVER, value=0.4), SCENE)
    assert told.headline == "rear in cellar agrees with its past again, after 2 h."
    assert "Its humidity was off since Sat 23:52." in told.body


# -- the monitor itself -----------------------------------------------------------------------------------


def test_what_concerns_the_house_names_no_chamber_and_no_piece():
    """Whatever chamber the scene happens to hold, it and its pieces have nothing to do with it."""
    step = noted(Kind.CLOCK_STEP, Note.FACT, value=3900.0, chamber="", probes=())
    for told in (step, FULL, MUTE):
        for note in Note:
            for state in EventState:
                text = say(replace(told, state=state, note=note), SCENE).text
                assert "cellar" not in text
                assert "Loin" not in text
                assert "hangs there" not in text


def test_a_clock_that_was_set_tells_which_way_and_how_far():
    """Forwards, back, or unknown; and that told hours may be off."""
    step = noted(Kind.CLOCK_STEP, Note.FACT, after_min=0, value=3900.0, chamber="", probes=())
    told = say(step, SCENE)
    assert told.headline == "The board's clock was set forward by 65 min; it shows 23:52 now."
    assert "may be off by that much" in told.body
    assert "set back by 7 s" in say(replace(step, value=-7.0), SCENE).headline
    assert say(replace(step, value=None), SCENE).headline == "The board's clock was set anew; it shows 23:52 now."


def test_a_filling_disk_protects_the_journal():
    """How much is free, what not to delete, and when a night may be too long."""
    told = say(FULL, SCENE)
    assert told.headline == "The board's disk is nearly full: 8 % free (I want 10 %), since Sat 23:52."
    assert "Leave the journal and the files beside it alone" in told.body
    assert "Wait till morning: yes" in told.body
    assert "Wait till morning: better not" in say(replace(FULL, value=1.4), SCENE).body
    over = say(replace(FULL, **OVER, value=14.2), SCENE)
    assert over.headline == "The board's disk has room again: 14 % free (I want 10 %), after 78 min."


def test_a_failing_channel_is_named_with_its_reason():
    """Which, since when, why; that nothing is lost; a long reason is whole below, cut above."""
    told = say(MUTE, SCENE)
    assert told.headline == "Messages by mail don't get through since Sat 23:52: connection refused."
    assert "goes out as soon as it works" in told.body
    assert "address and password of mail" in told.body
    why = "the server said\n 550 no such mailbox here, please ask the owner of this domain"
    long = say(replace(MUTE, detail=why), SCENE)
    assert long.headline.endswith("550 no such mailbox here, p…")
    assert "please ask the owner of this domain." in long.body
    assert say(replace(MUTE, detail=""), SCENE).headline == "Messages by mail don't get through since Sat 23:52."
    assert say(replace(MUTE, detail="", probes=()), SCENE).headline == "Messages don't get through since Sat 23:52."
    assert say(replace(MUTE, **OVER), SCENE).headline == "Messages by mail get through again, after 78 min."


def test_a_second_channel_is_named_with_the_first():
    """Joined and left, as with probes: the list is always the one after the change."""
    both = replace(MUTE, state=EventState.NOTED, note=Note.PROBE_JOINED, probes=("mail", "push"))
    assert say(both, SCENE).headline == "Messages by mail and push now not getting through."
    one = replace(both, note=Note.PROBE_LEFT, probes=("push",))
    assert say(one, SCENE).headline == "Messages by push still not getting through; another way works again."


# -- between the edges ------------------------------------------------------------------------------------


@pytest.mark.parametrize("told", [DEAD, DRIER, OPEN, STUCK, APART, FULL, MUTE])
def test_a_reminder_says_again_what_to_check_and_whether_it_can_wait(told):
    """A day later nobody scrolls back."""
    still = say(replace(told, state=EventState.NOTED, note=Note.STILL, at_ms=BEGAN_MS + 1440 * MIN_MS), SCENE)
    assert " still " in still.headline
    assert "after 24 h" in still.headline
    assert "Check first: " in still.body
    assert "Wait till morning: " in still.body


def test_notes_between_speak_of_the_chamber_and_name_who_says_so():
    """Another probe in it, one out of it, somebody on it: each in one line."""
    both = replace(DEAD, state=EventState.NOTED, note=Note.PROBE_JOINED, probes=("front", "rear"))
    assert say(both, SCENE).headline == "cellar not cooling, now by front and rear: 14.1 °C."
    one = replace(both, note=Note.PROBE_LEFT, probes=("rear",))
    assert say(one, SCENE).headline == "cellar not cooling: one probe says it is over, rear not yet."
    mine = replace(FULL, state=EventState.NOTED, note=Note.ACKNOWLEDGED, detail="Ina")
    assert say(mine, replace(SCENE, detail="Ina")).headline == (
        "Somebody is on it (Ina): the board's disk nearly full, since Sat 23:52."
    )


def test_what_became_urgent_begins_anew():
    """A raised cooling or door is worded like its beginning, so that nothing has to be looked up."""
    for told in (DEAD, OPEN):
        raised = replace(told, state=EventState.NOTED, note=Note.RAISED)
        assert say(raised, SCENE) == say(told, SCENE)
