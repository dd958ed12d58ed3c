"""Each planted fault is where it is said to be, of the size it is said to be, and nowhere else.

Expected sizes come from how the fault is made (phase, cents, Hz, dB, the peak of a wave) or,
for loudness and fold loss of the whole mix, from the readings in `tests.demo.readings`.
The club target's limits (loudest 30 s -8..-6 LUFS, lost in mono >= -1 dB) and the kick's
90-100 Hz are common practice, no source.
"""

import numpy as np
import pyloudnorm
import pytest
from scipy import signal

from demo_signals import RATE_HZ, duration_s, faults, pattern, render
from demo_signals.faults import FAULTS, FLAT_NOTE, LOW_KICK, ONE_SIDED, OVERS, TOO_LOUD, WIDE_SUB
from tests.demo import readings


def outside(fault, start_s, end_s):
    """Which windows share nothing with a fault."""
    return (end_s <= fault.start_s) | (start_s >= fault.end_s)


def inside(fault, start_s, end_s):
    """Which windows lie wholly within a fault."""
    return (start_s >= fault.start_s) & (end_s <= fault.end_s)


def lufs(power):
    return -0.691 + readings.db(power)


def as_planted(fault):
    return pytest.approx(fault.expected, abs=fault.tolerance)


@pytest.fixture(scope="module")
def power():
    return readings.k_power(render())


@pytest.fixture(scope="module")
def low():
    return readings.below_120_hz(render())


@pytest.fixture(scope="module")
def peaks_dbtp():
    return readings.db(readings.true_peaks(render()) ** 2)


# --- the records ----------------------------------------------------------------------------


def test_six_different_faults_are_planted():
    assert len({fault.kind for fault in FAULTS}) == len(FAULTS) == 6


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.kind)
def test_a_fault_lies_in_the_tune_where_its_bars_say(fault):
    assert fault.start_s == pytest.approx(0.5 + (fault.start_bar - 1) * 240 / 174)
    assert fault.start_s < fault.end_s <= 0.5 + fault.end_bar * 240 / 174 + 1e-9 < duration_s()
    assert fault.tolerance > 0
    assert fault.sentence.endswith(".")


def test_no_two_faults_share_a_bar():
    bars = [bar for fault in FAULTS for bar in range(fault.start_bar, fault.end_bar + 1)]
    assert len(bars) == len(set(bars))


# --- loudness -------------------------------------------------------------------------------


def test_the_readings_of_these_tests_agree_with_pyloudnorm(power):
    start_s, end_s, mean = readings.windows(power, 30.0)
    at = int(np.argmax(mean))
    piece = readings.cut(render(), start_s[at], end_s[at]).astype(float)
    meter = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")
    assert meter.integrated_loudness(piece) == pytest.approx(lufs(mean[at]), abs=0.05)


def test_the_loudest_sound_30_s_are_inside_the_club_target(power):
    start_s, end_s, mean = readings.windows(power, 30.0)
    assert lufs(mean[outside(TOO_LOUD, start_s, end_s)].max()) == pytest.approx(-7.5, abs=0.3)


def test_both_drops_are_near_the_club_target_where_nothing_pushes_them(power):
    start_s, end_s, mean = readings.windows(power, 3.0)
    for section in (pattern.DROP_A, pattern.DROP_B):
        begin_s, stop_s = pattern.bar_to_s(section.start_bar), pattern.bar_to_s(section.end_bar + 1)
        sound = (start_s >= begin_s) & (end_s <= stop_s) & outside(TOO_LOUD, start_s, end_s)
        assert -8.5 < lufs(mean[sound].min()) < lufs(mean[sound].max()) < -6.5


def test_the_loud_bars_are_over_the_club_target_for_more_than_ten_seconds(power):
    start_s, end_s, mean = readings.windows(power, 3.0)
    assert lufs(mean.max()) == as_planted(TOO_LOUD)
    assert np.count_nonzero(lufs(mean) > -6.0) / 10 > 10.0
    assert lufs(mean[inside(TOO_LOUD, start_s, end_s)].min()) > -6.0
    assert lufs(readings.windows(power, 30.0)[2].max()) > -5.8


def test_outside_the_loud_bars_short_term_loudness_stays_well_below_the_limit(power):
    start_s, end_s, mean = readings.windows(power, 3.0)
    assert lufs(mean[outside(TOO_LOUD, start_s, end_s)].max()) < -6.5


# --- lost in mono ---------------------------------------------------------------------------


def test_the_wide_sub_is_lost_in_mono_as_planted(low):
    assert readings.fold_loss_db(readings.cut(low, WIDE_SUB.start_s, WIDE_SUB.end_s)) == as_planted(WIDE_SUB)


def test_every_three_seconds_of_the_wide_sub_lose_three_to_six_decibels(low):
    start_s, end_s, loss_db, _ = readings.fold_loss_windows(low)
    found = loss_db[inside(WIDE_SUB, start_s, end_s)]
    assert -6.0 < found.min() < found.max() < -3.0


def test_elsewhere_next_to_nothing_is_lost_in_mono(low):
    """But in the one-sided bars, and where the low end is too quiet to be judged (design.md 5)."""
    start_s, end_s, loss_db, level_db = readings.fold_loss_windows(low)
    heard = (level_db > np.maximum.accumulate(level_db) - 30.0) & (level_db > -70.0)
    sound = heard & outside(WIDE_SUB, start_s, end_s) & outside(ONE_SIDED, start_s, end_s)
    assert np.count_nonzero(sound) > 800
    assert loss_db[sound].min() > -0.5


# --- left and right -------------------------------------------------------------------------


def balance_db(tune):
    start_s, end_s, left = readings.windows(tune[:, 0].astype(float) ** 2, 1.0)
    right = readings.windows(tune[:, 1].astype(float) ** 2, 1.0)[2]
    return start_s, end_s, readings.db(right) - readings.db(left)


def test_the_one_sided_bars_are_lower_on_the_right_as_planted():
    left, right = readings.cut(render(), ONE_SIDED.start_s, ONE_SIDED.end_s).astype(float).T
    assert readings.db(np.mean(right**2)) - readings.db(np.mean(left**2)) == as_planted(ONE_SIDED)


def test_every_second_of_the_one_sided_bars_is_twelve_decibels_lower_on_the_right():
    start_s, end_s, difference_db = balance_db(render())
    assert difference_db[inside(ONE_SIDED, start_s, end_s)].max() < -12.0


def test_elsewhere_both_sides_are_about_as_loud():
    start_s, end_s, difference_db = balance_db(render())
    music = (start_s >= pattern.bar_to_s(1)) & (end_s <= pattern.bar_to_s(pattern.OUTRO.end_bar + 1))
    assert np.abs(difference_db[music & outside(ONE_SIDED, start_s, end_s)]).max() < 2.0


# --- true peak ------------------------------------------------------------------------------


def near_an_over(seconds):
    return np.min(np.abs(seconds[:, None] - np.array(OVERS.at_s)), axis=1) < 0.02


def test_every_over_has_the_size_of_the_wave_that_was_planted():
    """Held to 32 times oversampling; a wave of amplitude 1.2 peaks at 20 lg 1.2 = +1.58 dBTP."""
    for at_s in OVERS.at_s:
        near = readings.cut(render(), at_s - 0.05, at_s + 0.05)
        highest = np.abs(signal.resample_poly(near, 32, 1, axis=0)).max()
        assert readings.db(highest**2) == as_planted(OVERS)


def test_there_are_exactly_six_overs_and_they_are_where_they_are_said_to_be(peaks_dbtp):
    over_s = np.flatnonzero(peaks_dbtp > 0.0) / 100 + 0.005
    events = np.split(over_s, np.flatnonzero(np.diff(over_s) > 0.015) + 1)
    assert [event.mean() for event in events] == pytest.approx(OVERS.at_s, abs=0.011)


def test_elsewhere_true_peaks_stay_below_minus_0_3_dbtp(peaks_dbtp):
    assert peaks_dbtp[~near_an_over(np.arange(len(peaks_dbtp)) / 100 + 0.005)].max() < -0.3


def test_no_sample_is_at_full_scale_so_that_16_bits_can_hold_the_overs():
    assert np.abs(render()).max() < 0.95


# --- the note and the kick ------------------------------------------------------------------


@pytest.fixture(scope="module")
def cents_of():
    """How far a held note is from its scale note, after the kick on its onset."""
    left = readings.low_part(render()[:, 0], 100.0)

    def cents(note):
        nominal_hz = pattern.midi_to_hz(note.midi)
        held = readings.low_cut(left, note.at_s + 0.13, note.at_s + note.seconds - 0.02)
        return 1200 * np.log2(readings.steady_hz(held, nominal_hz) / nominal_hz)

    return cents


def held_notes():
    return [note for note in pattern.bass_line() if note.seconds > 0.5]


def is_flat_one(note):
    return note.bar == FLAT_NOTE.start_bar and note.at_s == pytest.approx(FLAT_NOTE.start_s)


def test_the_flat_note_is_thirty_cents_flat(cents_of):
    (note,) = filter(is_flat_one, held_notes())
    assert cents_of(note) == as_planted(FLAT_NOTE)


def test_the_flat_note_is_held_long_enough_to_be_measured_and_says_its_name():
    assert FLAT_NOTE.end_s - FLAT_NOTE.start_s > 0.7
    assert FLAT_NOTE.note == "A flat 1"
    assert FLAT_NOTE.nominal_hz == pytest.approx(51.91, abs=0.005)  # facts.md 8, CALC
    assert "51.02 Hz" in FLAT_NOTE.sentence


def test_every_other_held_note_is_in_tune(cents_of):
    """But under the low kicks, whose ring reaches into the notes: that is what is wrong with them."""
    notes = [note for note in held_notes() if not is_flat_one(note) and not LOW_KICK.holds_bar(note.bar)]
    assert len(notes) > 80
    assert max(abs(cents_of(note)) for note in notes) < 3.0


@pytest.fixture(scope="module")
def kick_bodies_hz():
    """Body of each kick, by bar: what rings from 35 to 75 ms after its onset, while the sub is away."""
    mono = readings.low_part(render().mean(axis=1, dtype=float), 220.0)
    return [
        (hit.bar, readings.settling_hz(readings.low_cut(mono, hit.at_s + 0.035, hit.at_s + 0.075)))
        for hit in pattern.kicks()
    ]


def test_the_low_kicks_settle_at_55_hz(kick_bodies_hz):
    found_hz = [hz for bar, hz in kick_bodies_hz if LOW_KICK.holds_bar(bar)]
    assert len(found_hz) == 16
    assert found_hz == [as_planted(LOW_KICK)] * 16


def test_a_low_kick_lies_among_the_notes_of_the_sub():
    notes_hz = [pattern.midi_to_hz(note.midi) for note in pattern.bass_line()]
    assert min(notes_hz) < LOW_KICK.expected < max(notes_hz) < faults.KICK_BODY_HZ


def test_every_other_kick_settles_between_90_and_100_hz(kick_bodies_hz):
    found_hz = [hz for bar, hz in kick_bodies_hz if not LOW_KICK.holds_bar(bar)]
    assert len(found_hz) > 100
    assert 90.0 < min(found_hz) < max(found_hz) < 100.0
