from dataclasses import replace

import pytest

from meter.check import Checked, Options
from meter.file_flags import file_flags
from meter.file_words import file_sentence, numbers_text
from meter.lanes import LANES
from meter.target_file import shipped_targets
from meter.targets import judge
from tests.support.summaries import a_summary

CLUB = shipped_targets()["club"]


def checked(target=CLUB, **changed):
    summary = a_summary(**changed)
    return Checked(
        name="/a/b/tune.wav",
        kind="WAV, 16 bit",
        channels_text="stereo",
        summary=summary,
        options=Options(target=target),
        verdicts={} if target is None else judge(target, summary),
    )


def texts(of):
    return {lane.key: [one.text for one in file_flags(of, lane)] for lane in LANES}


def test_each_lane_has_the_numbers_of_the_whole_file_with_their_verdicts():
    found = texts(checked(true_peak_dbtp=0.04, overs=3, loudest_30s_lufs=-5.9))
    assert found["loudness"] == ["loudest 30 s -5.9 LUFS ▲ over", "integrated -8.4 LUFS"]
    assert found["peak"] == ["highest +0.04 dBTP ▲ over", "3 overs"]
    assert found["sides"] == ["r of all 0.62 ✓ inside"]
    assert found["mono"] == ["below 120 Hz -0.4 dB ✓ inside"]


def test_without_a_target_there_is_no_verdict_and_what_is_not_known_is_no_number():
    found = texts(checked(None, integrated_lufs=None, overs=0))
    assert found["loudness"] == ["loudest 30 s -6.5 LUFS", "integrated -- LUFS"]
    assert found["peak"] == ["highest -0.3 dBTP"]


def test_of_one_channel_there_is_nothing_to_compare():
    found = texts(checked(None, channels=1))
    assert (found["sides"], found["mono"]) == (["one channel"], ["nothing"])


@pytest.mark.parametrize(
    ("of", "said"),
    [
        (
            checked(),
            "tune.wav: inside Club, in all it limits (I -8.4 LUFS, loudest 30 s -6.5 LUFS, "
            "true peak -0.3 dBTP)",
        ),
        (
            checked(true_peak_dbtp=0.5),
            "tune.wav, against Club: the true peak is 0.5 dB over (I -8.4 LUFS, loudest 30 s -6.5 LUFS, "
            "true peak +0.5 dBTP)",
        ),
        (
            checked(true_peak_dbtp=0.03),
            "tune.wav, against Club: the true peak is 0.03 dB over (I -8.4 LUFS, loudest 30 s -6.5 LUFS, "
            "true peak +0.03 dBTP)",
        ),
        (checked(None, loudest_30s_lufs=None, true_peak_dbtp=None), "tune.wav: I -8.4 LUFS"),
    ],
)
def test_the_sentence_of_a_file_says_what_misses_the_target(of, said):
    assert file_sentence(of) == said


def test_its_line_in_the_list_is_length_and_levels():
    assert numbers_text(a_summary(true_peak_dbtp=0.25)) == "4:00  I -8.4  TP +0.2"
    assert numbers_text(replace(a_summary(), integrated_lufs=None)) == "4:00  I --  TP -0.3"
    barely = checked(true_peak_dbtp=0.03)
    assert numbers_text(barely.summary, barely.options.target) == "4:00  I -8.4  TP +0.03"
