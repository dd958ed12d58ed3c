from dataclasses import replace

import pytest

from meter.capture.records import SourceStatus
from meter.now import Now
from meter.shown import BELOW, NOT_KNOWN, Shown, loudness_limit, number, overs_unit, recent_peak, shown
from meter.target_file import shipped_targets
from meter.targets import SHORT_TERM_KEY, Limit, Target, Verdict, judge
from tests.test_lanes import CLUB, RUNNING, music  # noqa: F401  # a fixture

PASSING = (SHORT_TERM_KEY, "momentary_lufs", "correlation", BELOW, "fold_loss_db.20-60")
STAYING = ("integrated_lufs", "loudest_30s_lufs", "true_peak_dbtp")


def test_a_number_is_shown_with_its_decimals_its_sign_and_its_verdict(music):  # noqa: F811
    assert shown(music, "true_peak_dbtp") == Shown(text="+0.3", verdict=Verdict.OVER)
    assert shown(music, "correlation") == Shown(text="0.62", verdict=Verdict.INSIDE)
    assert shown(music, "momentary_lufs") == Shown(text="-6.1", verdict=None)
    # One decimal more where the rounded number would contradict the verdict.
    assert shown(music, SHORT_TERM_KEY) == Shown(text="-5.97", verdict=Verdict.OVER)


def test_s_under_what_is_wanted_of_the_whole_is_not_called_inside(music):  # noqa: F811
    def at(short_term_lufs):
        reading = replace(music.reading, short_term_lufs=short_term_lufs)
        verdicts = judge(CLUB, reading, live=True)
        return shown(replace(music, reading=reading, verdicts=verdicts), SHORT_TERM_KEY)

    assert at(-7.0) == Shown(text="-7.0", verdict=Verdict.INSIDE)
    assert at(-8.0) == Shown(text="-8.0", verdict=Verdict.INSIDE)
    assert at(-8.1) == Shown(text="-8.1", verdict=None)


def test_what_was_not_yet_loud_enough_is_under_when_nothing_more_will_come(music):  # noqa: F811
    reading = replace(music.reading, loudest_30s_lufs=-15.2)
    quiet = replace(music, reading=reading, verdicts=judge(CLUB, reading, live=True))
    assert shown(quiet, "loudest_30s_lufs").verdict is Verdict.NOT_YET
    between = replace(quiet, is_between=True)  # the pass has ended, in silence
    assert shown(between, "loudest_30s_lufs") == Shown(text="-15.2", verdict=Verdict.UNDER)
    ended = replace(quiet, has_ended=True)
    assert shown(ended, "loudest_30s_lufs") == Shown(text="-15.2", verdict=Verdict.UNDER)
    assert shown(replace(ended, verdicts={}), "loudest_30s_lufs").verdict is None  # withheld


def test_before_anything_was_heard_nothing_is_known_or_judged():
    for key in (*PASSING, *STAYING):
        assert shown(Now(state=RUNNING, target=CLUB), key) == Shown(text=NOT_KNOWN, verdict=None)


@pytest.mark.parametrize(
    "how",
    [{"is_held": True}, {"problem": "9 channels"}, {"state": replace(RUNNING, status=SourceStatus.LOST)}],
)
def test_while_nothing_is_heard_what_was_true_of_a_moment_is_gone_and_the_rest_stays(music, how):  # noqa: F811
    deaf = replace(music, **how)
    for key in PASSING:
        assert number(music, key) is not None
        assert number(deaf, key) is None
        assert shown(deaf, key) == Shown()
    for key in STAYING:
        assert shown(deaf, key) == shown(music, key) != Shown()
    assert recent_peak(music) == "-6.0"
    assert recent_peak(deaf) == NOT_KNOWN


def test_the_loudness_that_a_target_asks_first_is_the_loudest_30_s_where_it_says_so():
    assert loudness_limit(CLUB) == ("loudest_30s_lufs", Limit(min=-8.0, max=-6.0))
    assert loudness_limit(shipped_targets()["ebu-r128"])[0] == "integrated_lufs"
    silent = Target(name="x", title="X", source="made up", limits={"true_peak_dbtp": Limit(max=0.0)})
    assert loudness_limit(silent) is None
    assert loudness_limit(None) is None


def test_one_over_is_an_over_and_others_are_overs():
    assert [overs_unit(count) for count in (1, 1.0, 2, 0)] == ["over", "over", "overs", "overs"]
