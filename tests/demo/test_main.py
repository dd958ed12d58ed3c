"""``python -m demo_signals``."""

import numpy as np
import soundfile

import demo_signals
from demo_signals.__main__ import main


def test_without_arguments_it_lists_every_fault_with_bars_time_and_size(capsys):
    assert main([]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(demo_signals.faults.FAULTS)
    assert lines[0].startswith("bars 41-48, 0:55.7: For eight bars left and right of the sub are 120 degrees")
    assert lines[3].endswith("[sub note against equal temperament -30.00 ±2.5 cents]")


def test_write_makes_the_folder_the_excerpts_and_the_whole_tune(tmp_path, capsys):
    folder = tmp_path / "new" / "demo"
    assert main(["--write", str(folder)]) == 0
    names = [*(path.name for path in demo_signals.excerpts()), "demo-tune.wav"]
    assert capsys.readouterr().out.split() == [str(folder / name) for name in names]
    tune, rate_hz = soundfile.read(folder / "demo-tune.wav", dtype="float32")
    assert rate_hz == demo_signals.RATE_HZ
    assert np.array_equal(tune, demo_signals.render())


def test_a_folder_that_cannot_be_made_is_one_clear_sentence(tmp_path, capsys):
    (tmp_path / "taken").write_text("a file")
    assert main(["--write", str(tmp_path / "taken")]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"error: {tmp_path / 'taken'} cannot be written to (")
    assert said.endswith("give --write a folder that can\n")
