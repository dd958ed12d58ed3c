"""What changed from one pass to the next."""

import pytest

from meter.pass_changes import changes_text
from tests.support.summaries import a_summary


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, "the same"),
        ({"integrated_lufs": -7.7, "peak_to_loudness_lu": 7.6}, "+0.7 LU, PLR −0.5"),
        ({"true_peak_dbtp": -1.3}, "true peak −1.0 dB"),
        ({"integrated_lufs": -8.44}, "the same"),
        ({"integrated_lufs": None}, "the same"),
    ],
)
def test_changes_are_named_by_their_measure(changed, expected):
    assert changes_text(a_summary(), a_summary(**changed)) == expected


def test_of_silence_nothing_is_said():
    keys = ("integrated_lufs", "loudest_30s_lufs", "true_peak_dbtp", "peak_to_loudness_lu")
    keys += ("loudness_range_lu",)
    assert changes_text(a_summary(), a_summary(**dict.fromkeys(keys))) == ""
