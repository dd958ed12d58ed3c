"""A checked file as a pass: what is known of the file stays known when it is held against another target."""

import numpy as np
import pytest
import soundfile

from meter.check import Options, check_file
from meter.file_pass import file_pass_of
from meter.low_end.findings import LOW_END_KINDS
from meter.low_end.settings import LowEndSettings
from meter.targets import Limit, Target
from tests.low_end.test_heard_findings import notes
from tests.support.sound import noise


@pytest.mark.parametrize(("name", "is_lossy"), [("loud.ogg", True), ("loud.wav", False)])
def test_overs_of_a_decoded_file_are_laid_to_decoding_against_any_target(tmp_path, name, is_lossy):
    path = tmp_path / name
    soundfile.write(path, np.clip(noise(3.0, seed=4, level_dbfs=-6.0), -0.9, 0.9), 48_000)
    made = file_pass_of(check_file(str(path), Options(keep_soundings=True)))
    limits = {"true_peak_dbtp": Limit(max=-9.0)}
    low = Target(name="low", title="Low", source="of this test", limits=limits)
    again = made.against(low)
    overs = [one.text for one in again.findings if one.kind == "over"]
    assert overs
    assert all(("decoding" in text) == is_lossy for text in overs)
    assert again.live_pass.info.is_lossy == is_lossy


def test_what_may_not_belong_to_a_file_is_worked_out_once(tmp_path, monkeypatch):
    path = tmp_path / "two.wav"
    first, second = noise(22.0, seed=1, level_dbfs=-30.0), noise(22.0, seed=2, level_dbfs=-16.0)
    soundfile.write(path, np.concatenate([first, np.zeros((96_000, 2), np.float32), second]), 48_000)
    checked = check_file(str(path), Options(keep_soundings=True))
    assert len(checked.suggestions) == 1
    monkeypatch.setattr("meter.pollution.suggestions_for", lambda part: pytest.fail("worked out again"))
    texts = [one.text for one in file_pass_of(checked).findings]
    assert any(checked.suggestions[0].text in text for text in texts)


def test_other_settings_of_the_low_end_find_what_measuring_with_them_would(tmp_path):
    path = tmp_path / "sub.wav"
    sub = notes(0, 0, 0, 0, 45, hz=36.0)
    soundfile.write(path, np.stack([sub[:, 0], -sub[:, 0]], axis=1), 48_000, subtype="FLOAT")
    other = LowEndSettings(a4_hz=430.0, key="C# major", kick_band_hz=(50.0, 60.0))

    def checked(settings):
        return file_pass_of(check_file(str(path), Options(keep_soundings=True, low_end=settings)))

    before, measured = checked(LowEndSettings()), checked(other)
    judged = before.low_end_by(other)
    assert judged.findings == measured.findings
    assert judged.findings != before.findings
    assert judged.checked.options == measured.checked.options
    assert judged.low_end_by(other) is judged
    kinds = {one.kind for one in judged.findings} & set(LOW_END_KINDS)
    assert kinds >= {"out of tune", "outside the key", "too low", "upside down"}


def test_what_was_not_looked_at_is_not_judged(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, noise(3.0, seed=4, level_dbfs=-16.0), 48_000)
    made = file_pass_of(check_file(str(path), Options(keep_soundings=True)))
    assert made.low_end_by(LowEndSettings(a4_hz=430.0)) is made
