"""Targets and verdicts: what is inside, what is said live, how a value is shown beside its limit.

The shipped limits: club is common practice, no source. EBU R 128 v5 (Nov 2023): -23.0 LUFS,
±0.2 LU for a measured file, ±1.0 LU live, at most -1 dBTP. SEEN-S (facts.md 4.1, 4.2).
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter import targets
from meter.soundings import BANDS
from meter.target_file import shipped_targets
from meter.targets import (
    MEASURES,
    SHORT_TERM_KEY,
    Limit,
    LiveVerdicts,
    Target,
    Verdict,
    judge,
    limit_text,
    value_text,
    verdict_on,
)
from tests.support.summaries import a_reading, a_summary

INSIDE, OVER, UNDER, NOT_YET = Verdict
CLUB = shipped_targets()["club"]
EBU = shipped_targets()["ebu-r128"]
BELOW = "fold_loss_db.below_crossover"

numbers = st.floats(-100.0, 100.0)


def a_target(live_limits=None, **limits):
    return Target(name="t", title="T", source="a test", limits=limits, live_limits=live_limits or {})


# --- the shipped ones -----------------------------------------------------------------------


def test_the_shipped_targets_are_these():
    assert {name: target.limits for name, target in shipped_targets().items()} == {
        "club": {
            "loudest_30s_lufs": Limit(min=-8.0, max=-6.0),
            "true_peak_dbtp": Limit(max=0.0),
            "correlation": Limit(min=0.0),
            BELOW: Limit(min=-1.0),
        },
        "ebu-r128": {
            "integrated_lufs": Limit(min=-23.2, max=-22.8),
            "true_peak_dbtp": Limit(max=-1.0),
        },
    }


def test_the_shipped_targets_say_where_they_come_from():
    assert CLUB.source == "common practice, no source"
    assert EBU.source == "EBU R 128 v5 (Nov 2023), SEEN-S"
    assert EBU.title == "EBU R 128"


def test_ebu_r_128_is_wider_while_the_music_plays():
    assert EBU.limits_for(live=True) == {
        "integrated_lufs": Limit(min=-24.0, max=-22.0),
        "true_peak_dbtp": Limit(max=-1.0),
    }
    assert judge(EBU, a_summary(integrated_lufs=-23.5, true_peak_dbtp=-1.0), live=True) == {
        "integrated_lufs": INSIDE,
        "true_peak_dbtp": INSIDE,
    }


# --- verdicts -------------------------------------------------------------------------------


def test_a_tune_inside_club_is_inside_in_all_it_limits():
    assert judge(CLUB, a_summary()) == dict.fromkeys(CLUB.limits, INSIDE)


def test_the_integrated_loudness_has_no_limit_in_club():
    assert "integrated_lufs" not in judge(CLUB, a_summary(integrated_lufs=-30.0))


@pytest.mark.parametrize(
    ("changed", "key", "verdict"),
    [
        ({"loudest_30s_lufs": -5.99}, "loudest_30s_lufs", OVER),
        ({"loudest_30s_lufs": -6.0}, "loudest_30s_lufs", INSIDE),
        ({"loudest_30s_lufs": -8.0}, "loudest_30s_lufs", INSIDE),
        ({"loudest_30s_lufs": -8.01}, "loudest_30s_lufs", UNDER),
        ({"loudest_30s_lufs": -math.inf}, "loudest_30s_lufs", UNDER),
        ({"loudest_30s_lufs": None}, "loudest_30s_lufs", NOT_YET),
        ({"true_peak_dbtp": 0.0}, "true_peak_dbtp", INSIDE),
        ({"true_peak_dbtp": 1e-12}, "true_peak_dbtp", OVER),
        ({"true_peak_dbtp": -math.inf}, "true_peak_dbtp", INSIDE),
        ({"correlation": -0.001}, "correlation", UNDER),
        ({"fold_loss_db": {**dict.fromkeys(BANDS, -9.0), "below_crossover": -1.0}}, BELOW, INSIDE),
        ({"fold_loss_db": {**dict.fromkeys(BANDS, 0.0), "below_crossover": -1.001}}, BELOW, UNDER),
    ],
)
def test_a_finished_pass_is_judged_by_its_unrounded_values(changed, key, verdict):
    assert judge(CLUB, a_summary(**changed))[key] is verdict


@pytest.mark.parametrize("why", ["silence", "does not apply"])
def test_what_a_pass_cannot_have_gets_no_verdict(why):
    summary = a_summary(
        correlation=None,
        fold_loss_db=dict.fromkeys(BANDS),
        why_null={"correlation": why, "fold_loss_db": why},
    )
    assert list(judge(CLUB, summary)) == ["loudest_30s_lufs", "true_peak_dbtp"]


def test_a_band_without_sound_gets_no_verdict():
    losses = {**dict.fromkeys(BANDS, -0.1), "below_crossover": None}
    summary = a_summary(fold_loss_db=losses, why_null={BELOW: "silence"})
    assert BELOW not in judge(CLUB, summary)


def test_nothing_is_under_before_the_pass_has_ended():
    quiet = a_summary(loudest_30s_lufs=-20.0, integrated_lufs=-40.0)
    assert judge(CLUB, quiet, finished=False)["loudest_30s_lufs"] is NOT_YET
    assert judge(EBU, quiet, finished=False)["integrated_lufs"] is NOT_YET
    assert judge(CLUB, quiet)["loudest_30s_lufs"] is UNDER


def test_over_is_said_before_the_pass_has_ended():
    assert judge(CLUB, a_summary(loudest_30s_lufs=-5.0), finished=False)["loudest_30s_lufs"] is OVER


@pytest.mark.parametrize(
    ("short_term_lufs", "verdict"),
    [(-5.9, OVER), (-6.0, INSIDE), (-20.0, INSIDE), (-math.inf, INSIDE), (None, NOT_YET)],
)
def test_a_live_s_can_only_be_over(short_term_lufs, verdict):
    verdicts = judge(CLUB, a_reading(short_term_lufs=short_term_lufs), live=True)
    assert verdicts[SHORT_TERM_KEY] is verdict


def test_a_live_s_has_the_ceiling_of_its_own_where_the_target_gives_one():
    target = a_target(loudest_30s_lufs=Limit(max=-6.0), short_term_max_lufs=Limit(max=-5.0))
    assert judge(target, a_reading(short_term_lufs=-5.5), live=True)[SHORT_TERM_KEY] is INSIDE


def test_a_live_s_is_not_judged_by_a_target_without_a_ceiling_for_it():
    assert SHORT_TERM_KEY not in judge(EBU, a_reading(short_term_lufs=-1.0), live=True)


def test_a_reading_is_judged_by_its_slow_values_and_its_highest_channel():
    verdicts = judge(CLUB, a_reading(true_peak_max_dbtp=(-3.0, 0.2)), live=True)
    assert verdicts == {
        "loudest_30s_lufs": INSIDE,
        "true_peak_dbtp": OVER,
        "correlation": INSIDE,  # 3 s: 0.5, not the 400 ms of -0.5
        BELOW: INSIDE,
        SHORT_TERM_KEY: INSIDE,
    }


def test_a_reading_is_never_finished():
    verdicts = judge(CLUB, a_reading(loudest_30s_lufs=-20.0), live=True, finished=True)
    assert verdicts["loudest_30s_lufs"] is NOT_YET


def test_every_measure_can_be_judged_in_a_summary_and_in_a_reading():
    target = a_target(**{key: Limit(min=measure.lowest) for key, measure in MEASURES.items()})
    assert set(judge(target, a_summary())) == set(MEASURES)
    assert set(judge(target, a_reading(), live=True)) == set(MEASURES)


@given(bound=numbers, other=numbers)
def test_a_limit_itself_is_inside(bound, other):
    low, high = sorted((bound, other))
    limit = Limit(min=low, max=high)
    assert verdict_on(low, limit) is INSIDE
    assert verdict_on(high, limit) is INSIDE
    assert verdict_on(math.nextafter(high, math.inf), limit) is OVER
    assert verdict_on(math.nextafter(low, -math.inf), limit) is UNDER


def test_an_over_begins_at_the_limit_of_the_target_or_at_full_scale():
    assert EBU.true_peak_limit_dbtp == -1.0
    assert a_target(correlation=Limit(min=0.0)).true_peak_limit_dbtp == 0.0
    assert a_target(true_peak_dbtp=Limit(min=-3.0)).true_peak_limit_dbtp == 0.0


def test_each_verdict_has_a_glyph_and_a_word_of_its_own():
    assert [str(verdict) for verdict in Verdict] == ["✓ inside", "▲ over", "▼ under", "… not yet"]


# --- as shown -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "limit", "text"),
    [
        (-8.36, None, "-8.4"),
        (0.04, Limit(max=0.0), "0.04"),
        (-0.04, Limit(max=0.0), "0.0"),
        (0.004, Limit(max=0.0), "0.004"),
        (-5.96, Limit(min=-8.0, max=-6.0), "-5.96"),
        (-6.0, Limit(min=-8.0, max=-6.0), "-6.0"),
        (-8.04, Limit(min=-8.0), "-8.04"),
        (-22.84, Limit(max=-22.85), "-22.8"),
        (-math.inf, Limit(min=-8.0), "-∞"),
        (-math.inf, None, "-∞"),
    ],
)
def test_a_value_is_shown_with_as_many_decimals_as_its_verdict_needs(value, limit, text):
    assert value_text(value, limit=limit) == text


@given(value=numbers, bound=numbers)
def test_what_is_shown_never_contradicts_the_verdict(value, bound):
    for limit in (Limit(max=bound), Limit(min=bound)):
        assert verdict_on(float(value_text(value, limit=limit)), limit) is verdict_on(value, limit)


def test_a_positive_value_carries_its_sign_where_that_is_asked_for():
    assert value_text(0.31, plus=True) == "+0.3"
    assert value_text(0.0, plus=True) == value_text(0.04, plus=True) == "0.0"
    assert value_text(0.04, plus=True, limit=Limit(max=0.0)) == "+0.04"
    assert value_text(-0.31, plus=True) == "-0.3"


@pytest.mark.parametrize(
    ("limit", "text"),
    [
        (Limit(min=-8.0, max=-6.0), "-8.0 to -6.0"),
        (Limit(max=0.0), "at most 0.0"),
        (Limit(min=-0.0), "at least 0.0"),
        (Limit(max=-22.85), "at most -22.85"),
    ],
)
def test_a_limit_is_said_in_words_as_it_was_set(limit, text):
    assert limit.text() == text


@given(bound=numbers)
def test_a_limit_is_never_rounded_when_shown(bound):
    assert float(limit_text(bound)) == bound


def test_live_verdicts_are_those_of_a_reading_and_worked_out_once_when_looked_at(monkeypatch):
    asked = []

    def counted(*given, **how):
        asked.append(given)
        return judge(*given, **how)

    monkeypatch.setattr(targets, "judge", counted)
    reading = a_reading(short_term_lufs=-5.0, true_peak_max_dbtp=(0.2, -1.0))
    found = LiveVerdicts(CLUB, reading)
    assert asked == []
    assert found == judge(CLUB, reading, live=True)
    assert (found["true_peak_dbtp"], found[SHORT_TERM_KEY]) == (OVER, OVER)
    assert list(found) == list(judge(CLUB, reading, live=True))
    assert found.get("loudness_range_lu") is None
    assert len(asked) == 1
