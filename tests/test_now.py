import math

import pytest

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.now import Now, is_withheld, overall
from meter.targets import Verdict

INFO = SourceInfo(spec="system", name="the system's output")


def state(**how):
    return SourceState(**{"status": SourceStatus.RUNNING, "sentence": None, "info": INFO} | how)


@pytest.mark.parametrize(
    ("volume_db", "is_muted", "expected"),
    [
        (None, None, False),  # an input: it went through no volume of ours
        (0.0, False, False),
        (0.009, False, False),
        (-0.009, False, False),
        (-0.02, False, True),
        (3.0, False, True),
        (-math.inf, False, True),
        (0.0, True, True),
    ],
)
def test_verdicts_are_withheld_when_the_volume_is_not_0_db(volume_db, is_muted, expected):
    assert is_withheld(state(volume_db=volume_db, is_muted=is_muted)) is expected


def test_one_over_is_over_and_all_must_be_inside():
    assert overall([Verdict.INSIDE, Verdict.UNDER, Verdict.OVER]) is Verdict.OVER
    assert overall([Verdict.NOT_YET, Verdict.UNDER]) is Verdict.UNDER
    assert overall([Verdict.INSIDE, Verdict.NOT_YET]) is Verdict.NOT_YET
    assert overall([Verdict.INSIDE, Verdict.INSIDE]) is Verdict.INSIDE
    assert overall([]) is None


@pytest.mark.parametrize(
    ("how", "is_heard"),
    [
        ({"state": state()}, True),
        ({"state": state(status=SourceStatus.LOST)}, False),
        ({"state": state(), "is_held": True}, False),
        ({"state": state(), "problem": "too many channels"}, False),
    ],
)
def test_what_is_lost_held_or_cannot_be_measured_is_not_heard(how, is_heard):
    assert Now(**how).is_heard is is_heard
