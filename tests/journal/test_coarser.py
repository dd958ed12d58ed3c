"""Old passes take a tenth of the room, and their numbers stay."""

import json

import numpy as np
import pytest

from meter.cli import main
from meter.errors import UsageError
from meter.journal import coarser
from meter.journal.closing import make_older_coarser
from meter.journal.records import KeptFinding
from meter.journal.replay import live_pass_of, summary_of, timeline_of
from meter.journal.store import open_journal
from meter.passes import summarise
from meter.soundings import AFTER_GAP, BEFORE_GAP, CUT_SHORT
from tests.journal.rows import RATE_HZ, rows_of, start


def music_like(seconds=64.35, seed=0):
    """The soundings of noise that swells, with overs, and a gap in it."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE_HZ)
    swell = 0.05 + 0.4 * np.abs(np.sin(np.arange(n) / RATE_HZ / 3.0))
    rows = rows_of(rng.standard_normal((n, 2)) * swell[:, None])
    rows["flags"][233] |= AFTER_GAP
    rows["flags"][232] |= BEFORE_GAP
    rows["start_frame"][233:] += 4000
    return rows


ROWS = music_like()


def test_a_coarser_row_is_true_of_its_second_and_mixes_no_sides_of_a_gap():
    rows = coarser.coarse(ROWS)
    assert len(rows) == 24 + 42
    assert rows["frames"].sum() == ROWS["frames"].sum()
    assert rows["overs"].sum() == ROWS["overs"].sum() > 0
    first = ROWS[:10]
    assert rows["k_power"][0, 0] == pytest.approx(first["k_power"][:, 0].mean(), rel=1e-6)
    assert rows["true_peak"][0, 1] == first["true_peak"][:, 1].max()
    assert rows["momentary_max"][0] == np.nanmax(first["momentary_max"])
    assert np.isnan(rows["short_term_max"][0])
    (gap,) = np.flatnonzero(rows["flags"] & AFTER_GAP)
    assert (gap, rows["start_frame"][gap]) == (24, ROWS["start_frame"][233])
    assert rows["frames"][gap - 1] == ROWS["frames"][230:233].sum()


def test_ten_rows_a_second_of_it_have_the_same_sums_maxima_and_places():
    rows = coarser.fine_again(coarser.coarse(ROWS), rate_hz=RATE_HZ)
    assert len(rows) == len(ROWS)
    np.testing.assert_array_equal(rows["start_frame"][:-1], ROWS["start_frame"][:-1])
    for name in ("frames", "overs", "nonfinite", "flat_tops", "dropouts"):
        assert rows[name].sum() == ROWS[name].sum()
    for flag in (AFTER_GAP, BEFORE_GAP, CUT_SHORT):
        assert (np.flatnonzero(rows["flags"] & flag) == np.flatnonzero(ROWS["flags"] & flag)).all()
    before, after = (summarise(one, rate_hz=RATE_HZ, channels=2) for one in (ROWS, rows))
    assert after.true_peaks_dbtp == before.true_peaks_dbtp
    assert after.momentary_max_lufs == before.momentary_max_lufs
    # It swells by 19 dB in 5 s.
    assert after.integrated_lufs == pytest.approx(before.integrated_lufs, abs=0.2)
    assert len(coarser.fine_again(coarser.coarse(ROWS[:0]), rate_hz=RATE_HZ)) == 0


@pytest.fixture
def kept():
    """An old pass and a new one."""
    import time

    with open_journal() as journal:
        for began in (1_700_000_000.0, time.time() - 3600.0):
            number = journal.begin_pass(start(began_unix_s=began))
            journal.add_rows(number, ROWS)
            summary = summary_of(journal, journal.kept_pass(number))
            journal.end_pass(
                number, summary, [KeptFinding(kind="over", at_s=1.0, severity=1.0, text="an over")]
            )


@pytest.mark.usefixtures("kept")
def test_an_old_pass_keeps_its_numbers_its_findings_and_a_tenth_of_its_room():
    with open_journal() as journal:
        old, new = journal.passes()
        before = summary_of(journal, old)
        room = "SELECT sum(length(data)) FROM soundings WHERE pass = 1"
        bytes_before = journal.rows_of(room)[0][0]
        assert make_older_coarser(journal) == 1
        assert make_older_coarser(journal) == 0
        old, new = journal.passes()
        assert (old.rows_a_second, new.rows_a_second) == (1, 10)
        assert summary_of(journal, old) == before, "every number, to the last bit"
        assert journal.findings(1)[0].text == "an over"
        assert journal.rows_of(room)[0][0] < bytes_before / 5
        assert old.seconds == new.seconds
        timeline = timeline_of(live_pass_of(journal, old))
        fine = timeline_of(live_pass_of(journal, new))
        assert timeline.slots == fine.slots
        one, other = (t.values("short_term_lufs", 0, t.slots) for t in (timeline, fine))
        assert np.nanmax(np.abs(one - other)) < 1.0
        assert journal.rows(2).tobytes() == ROWS.tobytes()


@pytest.mark.usefixtures("kept")
def test_how_long_is_chosen_and_an_export_says_what_there_is(capsys):
    assert main(["journal", "detail"]) == 0
    assert "for 90 days, then one a second" in capsys.readouterr().out
    assert main(["journal", "detail", "forever"]) == 0
    assert capsys.readouterr().out == "every pass keeps its ten rows a second for good\n"
    assert main(["journal", "detail", "30"]) == 0
    assert capsys.readouterr().out.endswith("made coarser now: 1 pass\n")
    assert main(["journal", "export", "1", "--json"]) == 0
    made = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert len(made) == 65, "one for each second in which something was heard"
    assert sum(one["overs"] for one in made) == ROWS["overs"].sum()
    assert main(["journal", "list", "--json"]) == 0
    assert [json.loads(line)["soundings_a_second"] for line in capsys.readouterr().out.splitlines()] == [
        1,
        10,
    ]
    for wrong in ("0", "-1", "soon"):
        assert main(["journal", "detail", wrong]) == 2
    with open_journal() as journal, pytest.raises(UsageError, match="0 days came"):
        coarser.choose_fine_days(journal, 0)
