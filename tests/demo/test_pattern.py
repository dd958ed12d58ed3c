"""The score: bars, times and notes."""

from itertools import pairwise

import pytest

from demo_signals import pattern


def test_a_bar_lasts_four_beats_of_174_bpm():
    assert pattern.bar_to_s(2) - pattern.bar_to_s(1) == pytest.approx(4 * 60 / 174)
    assert pattern.bar_to_s(2) - pattern.bar_to_s(1, 8) == pytest.approx(2 * 60 / 174)


def test_the_sections_follow_each_other_without_a_hole():
    bars = [bar for section in pattern.SECTIONS for bar in section.bars]
    assert bars == list(range(1, 113))
    assert all(bar in section for section in pattern.SECTIONS for bar in section.bars)


@pytest.mark.parametrize(
    ("midi", "hz"),
    [(69, 440.0), (33, 55.0), (29, 43.65), (31, 49.00), (32, 51.91), (27, 38.89), (37, 69.30)],
)
def test_notes_have_the_frequencies_of_the_table(midi, hz):
    """Facts.md 8, table of equal temperament (CALC)."""
    assert pattern.midi_to_hz(midi) == pytest.approx(hz, abs=0.005)


def test_sub_notes_follow_each_other_without_overlap():
    notes = list(pattern.bass_line())
    assert len(notes) > 150
    for note, following in pairwise(notes):
        assert note.at_s + note.seconds <= following.at_s + 1e-9


def test_kicks_are_on_the_grid_and_every_second_sixteenth_of_the_hats_swings():
    assert all(hit.at_s == pattern.bar_to_s(hit.bar, hit.step) for hit in pattern.kicks())
    for hit in pattern.hats():
        late_steps = (hit.at_s - pattern.bar_to_s(hit.bar, hit.step)) / pattern.STEP_S
        assert late_steps == pytest.approx(0.165 if hit.step % 2 else 0.025, abs=0.025)


def test_the_snare_has_ghost_notes_and_a_fill_in_every_eighth_bar():
    ghosts = [hit for hit in pattern.snares() if hit.bar in pattern.DROP_A and hit.velocity < 0.35]
    assert len(ghosts) > 64
    per_bar = {bar: sum(hit.bar == bar for hit in pattern.snares()) for bar in pattern.DROP_A.bars}
    assert min(per_bar[bar] for bar in (32, 40, 48, 56)) > max(per_bar[bar] for bar in (31, 39, 47, 55))


def test_two_beats_of_air_come_before_the_first_drop():
    last = max(hit.at_s for hit in pattern.snares() if hit.bar in pattern.BUILD)
    assert pattern.bar_to_s(pattern.DROP_A.start_bar) - last > 2 * 60 / 174
