"""What players make of a tune: arithmetic, against the published levels (their status stands beside them)."""

from __future__ import annotations

import json

import numpy as np
import pytest
import soundfile

from meter.cli import main
from meter.delivery.playback import forecast, forecast_lines, level_from, levels_from
from meter.delivery.tables import _row
from meter.errors import UsageError
from meter.standards.playback_levels import LEVELS


def test_the_levels_are_those_that_were_published():
    """AES TD1008: -16, -14 for an album's loudest. EBU R 128 s2: -16. ReplayGain 2.0: -18. All SEEN-S."""
    told = {key: (level.track_lufs, level.album_lufs) for key, level in LEVELS.items()}
    assert told == {"aes": (-16.0, -14.0), "ebu": (-16.0, -16.0), "replaygain": (-18.0, -18.0)}


def test_a_loud_master_is_turned_down_with_its_peaks():
    found = forecast(LEVELS["aes"], integrated_lufs=-7.0, true_peak_dbtp=1.0)
    assert (found.gain_db, found.loudness_lufs) == (-9.0, -16.0)
    assert (found.true_peak_dbtp, found.headroom_db) == (-8.0, 8.0)
    assert not found.is_held


def test_a_quiet_one_is_turned_up_into_its_peaks_or_left():
    up = forecast(LEVELS["aes"], integrated_lufs=-20.0, true_peak_dbtp=-3.0)
    assert (up.gain_db, up.headroom_db) == (4.0, -1.0)
    held = forecast(LEVELS["aes"], integrated_lufs=-20.0, true_peak_dbtp=-3.0, turns_up=False)
    assert (held.gain_db, held.loudness_lufs, held.is_held) == (0.0, -20.0, True)


def test_an_album_keeps_its_own_steps():
    loudest, quiet = (
        forecast(LEVELS["aes"], integrated_lufs=own, true_peak_dbtp=0.0, loudest_lufs=-8.0)
        for own in (-8.0, -11.5)
    )
    assert (loudest.gain_db, loudest.loudness_lufs) == (-6.0, -14.0)
    assert (quiet.gain_db, quiet.loudness_lufs) == (-6.0, -17.5)


def test_a_peak_that_is_barely_over_is_not_told_as_nothing():
    found = forecast(LEVELS["aes"], integrated_lufs=-16.0, true_peak_dbtp=0.03)
    assert list(forecast_lines([found]))[1].endswith(
        "peaks +0.03 dBTP, 0.03 dB too high: clipped, limited or turned up less"
    )
    assert _row("AES, music", found)[-2:] == ("+0.03 dBTP", "0.03 dB too high")


def test_what_has_no_loudness_says_so():
    assert list(forecast_lines([]))[1:] == ["    silent or too short: nothing to level"]


def test_levels_are_named_or_the_user_s_own():
    assert [level.key for level in levels_from("all,-14")] == ["aes", "ebu", "replaygain", "-14"]
    assert level_from("-14").track_lufs == -14.0
    for text in ("loud", "3", "-90", "nan", ""):
        with pytest.raises(UsageError, match="expected all, aes, ebu, replaygain, or a loudness of your own"):
            level_from(text)


@pytest.fixture
def tunes(tmp_path):
    rng = np.random.default_rng(1)
    names = []
    for index, gain in enumerate((0.3, 0.1)):
        names.append(str(tmp_path / f"{index}.wav"))
        soundfile.write(names[-1], gain * np.clip(rng.standard_normal((96_000, 2)) / 3, -1, 1), 48_000)
    return names


def test_check_tells_it_for_one_file_and_for_an_album(capsys, tunes):
    assert main(["check", tunes[0], "--playback", "all,-14", "--no-low-end"]) == 0
    text = capsys.readouterr().out
    assert "How loud will it play back, where players level?" in text
    assert text.count("LUFS, peaks") == 4
    assert main(["check", *tunes, "--playback", "aes", "--no-low-end"]) == 0
    text = capsys.readouterr().out
    assert "as an album" in text
    assert "the loudest at -14.0 LUFS" in text
    assert main(["check", tunes[1], "--playback", "aes", "--no-turning-up", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    one = made["playback"][0]
    assert one["loudness_lufs"] == pytest.approx(made["integrated_lufs"] + one["gain_db"], abs=0.002)
    assert one["gain_db"] == pytest.approx(min(-16.0 - made["integrated_lufs"], 0.0), abs=0.001)
