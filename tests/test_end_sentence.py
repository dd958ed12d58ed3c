import numpy as np
import pytest

from meter.capture.records import SourceInfo, SourceStatus
from meter.sentence import sentence
from meter.sentence_kinds import Kind
from meter.targets import Limit, Target
from meter.worker import Worker
from tests.support.fake_source import FakeSource

RATE_HZ = 48_000
TUNE = SourceInfo(spec="file:tune.wav", name="tune.wav", rate_hz=RATE_HZ, channels=2)


def target(**limits):
    return Target(name="club", title="Club", source="made up", limits=limits)


def tone(seconds, level_dbfs):
    """A sine of 997 Hz on both sides: its loudness is its level, ITU-R BS.1770-5 (a sine of 0 dBFS on one
    side reads -3.01 LKFS).
    """
    at_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    one = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * 997.0 * at_s)
    return np.stack([one, one], axis=1).astype(np.float32)


def heard_to_the_end(*parts, target=None, **state):
    source = FakeSource()
    worker = Worker(source, target=target)
    frames = np.concatenate(parts)
    for start in range(0, len(frames), RATE_HZ):
        source.bring(frames[start : start + RATE_HZ])
        worker.step()
    source.become(info=TUNE, status=SourceStatus.ENDED, **state)
    while not worker.now.has_ended:
        worker.step()
    return sentence(worker.now)


def test_of_a_file_that_has_ended_the_highest_over_is_said_and_where_it_was():
    hot, quiet = tone(2.0, 1.0) * np.hanning(96_000)[:, None], tone(2.0, -20.0)
    hotter = tone(0.2, 2.0) * np.hanning(9600)[:, None]
    found = heard_to_the_end(quiet, hotter, quiet, hot, quiet, target=target(true_peak_dbtp=Limit(max=0.0)))
    assert found.kind is Kind.SOURCE
    assert found.text == (
        "tune.wav has ended: the true peak went 2.0 dB over 0.0 dBTP at 0:02.1, 2 overs in all: lower the "
        "ceiling by as much, unless it is meant to clip"
    )


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (
            {"loudest_30s_lufs": Limit(min=-8.0, max=-6.0)},
            "the loudest 30 s is 2.0 LU under Club: -10.0 LUFS, -8.0 to -6.0 wanted, from 0:10.0 to 0:40.0",
        ),
        (
            {"loudest_30s_lufs": Limit(max=-12.0)},
            "the loudest 30 s is 2.0 LU over Club: -10.0 LUFS, at most -12.0 wanted, from 0:10.0 to 0:40.0",
        ),
        (
            {"loudest_30s_lufs": Limit(min=-11.0, max=-6.0)},
            "the loudest 30 s is -10.0 LUFS, from 0:10.0 to 0:40.0, inside Club (-11.0 to -6.0)",
        ),
    ],
)
def test_of_a_file_that_has_ended_it_is_said_by_how_much_it_is_over_or_under_or_that_it_is_inside(
    limits, words
):
    found = heard_to_the_end(tone(10.0, -20.0), tone(30.0, -10.0), target=target(**limits))
    assert found.text == f"tune.wav has ended: {words}"


def test_without_a_target_how_loud_it_was_is_said():
    found = heard_to_the_end(tone(5.0, -10.0))
    assert found.text == (
        "tune.wav has ended: the integrated loudness is -10.0 LUFS; choose a target to hold it against"
    )


def test_of_silence_and_of_what_went_through_a_system_volume_nothing_more_is_said():
    silent = heard_to_the_end(np.zeros((4 * RATE_HZ, 2), np.float32))
    assert silent.text == "tune.wav has ended: all of it was silence"
    assert heard_to_the_end(tone(4.0, -10.0), volume_db=-6.0).text == "tune.wav has ended"


def test_what_was_wrong_with_the_source_is_said_first():
    assert heard_to_the_end(tone(4.0, -10.0), sentence="it broke off").text == "it broke off"
