import numpy as np

from meter.findings.whole import findings_of
from tests.support.sound import noise
from tests.test_chosen_part import soundings


def test_what_lasts_to_the_end_of_a_file_has_ended_with_it():
    left = noise(8.0, seed=1, level_dbfs=-20.0)
    against = np.stack([left[:, 0], -left[:, 0]], axis=1)
    found = findings_of(soundings(against), rate_hz=48_000, channels=2, weights=(1.0, 1.0))
    (lost,) = (one for one in found if one.kind == "lost in mono")
    assert not lost.is_open and "so far" not in lost.text
    assert "from 0:00.0 to 0:08.0" in lost.text
