import numpy as np
import pytest

from meter.chain import Chain
from meter.chosen_part import part_lines, part_of
from meter.passes import measure
from meter.soundings import AFTER_GAP
from tests.support.sound import noise

RATE_HZ = 48_000


def timeline_of(*passes):
    """A timeline of passes, each of soundings of its own."""
    from meter.capture.records import SourceInfo
    from meter.live_pass import LivePass
    from meter.timeline import Timeline

    timeline = Timeline(clock=lambda: 0.0)
    for number, rows in enumerate(passes, 1):
        made = LivePass(
            number=number,
            info=SourceInfo(spec="file:", name="a pass", rate_hz=RATE_HZ, channels=2),
            rate_hz=RATE_HZ,
            channels=2,
            weights=(1.0, 1.0),
            crossover_hz=120.0,
            over_limit_dbtp=0.0,
            began_unix_s=0.0,
        )
        made.add(rows, is_withheld=False)
        timeline.append(rows, made)
    return timeline


def soundings(samples):
    chain = Chain(rate_hz=RATE_HZ, channels=2, weights=(1.0, 1.0), crossover_hz=120.0, over_limit_dbtp=0.0)
    return np.concatenate([chain.process(samples), chain.flush()])


@pytest.fixture(scope="module")
def rows():
    quiet, loud = (noise(8.0, seed=seed, level_dbfs=level) for seed, level in ((1, -30.0), (2, -18.0)))
    return soundings(np.concatenate([quiet, loud]))


def test_a_part_has_the_numbers_of_its_sound_alone(rows):
    part = part_of(timeline_of(rows), 84, 156)
    alone = noise(8.0, seed=2, level_dbfs=-18.0)[RATE_HZ * 4 // 10 : RATE_HZ * 76 // 10]
    expected = measure(alone, rate_hz=RATE_HZ)
    # The K filter of the part has heard what was before; that of the sound alone begins with nothing.
    assert part.summary().integrated_lufs == pytest.approx(expected.integrated_lufs, abs=0.02)
    assert part.summary().seconds == pytest.approx(7.2)


def test_its_lines_say_where_it_is_and_all_its_numbers(rows):
    lines = part_lines(timeline_of(rows), 84, 156)
    summary = part_of(timeline_of(rows), 84, 156).summary()
    assert lines[:4] == [
        "0:08.4 to 0:15.6",
        "7.2 s",
        f"I {summary.integrated_lufs:.1f} LUFS",
        "loudest 30 s: shorter than that",
    ]
    assert lines[4].startswith("LRA ") and lines[4].endswith(" LU, under 60 s")
    assert lines[5] == f"true peak {summary.true_peak_dbtp:.1f} dBTP"
    assert lines[6] == f"PLR {summary.peak_to_loudness_lu:.1f} LU"
    assert lines[7:9] == [
        "lost in mono:",
        f"below 120 Hz {summary.fold_loss_db['below_crossover']:.1f} dB",
    ]


def test_too_short_a_part_and_none_are_said(rows):
    assert "I -- LUFS" in part_lines(timeline_of(rows), 84, 86)
    assert part_lines(timeline_of(rows), 900, 950) == ["nothing was measured here"]


def test_a_part_of_two_passes_is_refused_in_words(rows):
    timeline = timeline_of(rows, rows)
    assert part_of(timeline, 150, 170) is None
    assert part_lines(timeline, 150, 170)[1].startswith("this part reaches from one pass into another")
    assert part_of(timeline, 165, 175) is not None


def test_no_block_reaches_over_a_gap_in_the_part(rows):
    after = rows[100:].copy()
    after["start_frame"] += 3 * RATE_HZ
    after["flags"][0] |= AFTER_GAP
    timeline = timeline_of(np.concatenate([rows[:100], after]))
    part = part_of(timeline, 90, 190)
    assert len(part.rows) == 70 and (part.rows["flags"] & AFTER_GAP).any()
    assert part_lines(timeline, 90, 190)[:2] == ["0:09.0 to 0:19.0", "7.0 s"]
