import numpy as np
import pytest

from meter.pollution import Suggestion
from meter.soundings import SOUNDING
from meter.suggested import as_findings


def test_a_suggestion_is_a_finding_on_the_clock_of_its_pass_also_behind_a_gap():
    rows = np.zeros(100, SOUNDING)
    rows["start_frame"] = np.arange(100) * 4800
    rows["start_frame"][50:] += 10 * 48_000
    made = as_findings(
        [Suggestion(kind="loop", spans=((60, 80),), integrated_lufs=-9.5, text="a loop")],
        rows,
        rate_hz=48_000,
        pass_number=3,
        first_slot=1000,
    )
    (one,) = made
    assert (one.at_s, one.until_s) == (pytest.approx(16.0), pytest.approx(18.0))
    assert (one.first_slot, one.last_slot, one.pass_number) == (1160, 1180, 3)
    assert one.text == "perhaps not part of this pass: a loop"
    assert (one.amount, one.unit, one.is_slight) == (-9.5, "LUFS", False)


def test_one_without_a_number_has_none():
    rows = np.zeros(10, SOUNDING)
    rows["start_frame"] = np.arange(10) * 4800
    only = Suggestion(kind="one part only", spans=((0, 10),), integrated_lufs=None, text="play it through")
    (one,) = as_findings([only], rows, rate_hz=48_000)
    assert (one.amount, one.unit, one.last_slot) == (0.0, "", 10)
