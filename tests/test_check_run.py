"""Many files side by side: order, bad ones, crashes, progress, and how it ends."""

import os
import signal
import threading
import time
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from meter import check, check_run
from meter.check import Checked, Failed, Options
from meter.check_run import check_all
from meter.target_file import shipped_targets

RATE_HZ = 8_000

REAL_CONTEXT = check_run._context

pytestmark = [
    pytest.mark.usefixtures("forked"),
    pytest.mark.filterwarnings("ignore:.*multi-threaded, use of fork:DeprecationWarning"),
]


@pytest.fixture(scope="module")
def tunes(tmp_path_factory):
    """Ten files of different length and level."""
    folder = tmp_path_factory.mktemp("tunes")
    names = []
    for number in range(10):
        noise = np.random.default_rng(number).standard_normal((RATE_HZ * (11 - number), 2))
        names.append(str(folder / f"{number}.wav"))
        soundfile.write(names[-1], 0.02 * (number + 1) * noise, RATE_HZ, "FLOAT")
    return names


@pytest.mark.parametrize("workers", [0, 1, 2])
def test_results_come_in_order_and_are_those_of_one_after_another(tunes, workers):
    options = Options(target=shipped_targets()["club"])
    found = list(check_all(tunes, options, workers=workers))
    alone = [check.check_file(name, replace(options, beside=False)) for name in tunes]
    assert [one.name for one in found] == tunes
    assert [one.summary for one in found] == [one.summary for one in alone]
    assert [one.verdicts for one in found] == [one.verdicts for one in alone]
    assert all(one.options.target is options.target for one in found)


def test_one_bad_file_in_forty_never_stops_the_rest(tmp_path, tunes):
    names = [tunes[9]] * 120
    for number in range(0, 120, 40):
        names[number] = str(tmp_path / f"{number}.wav")
        (tmp_path / f"{number}.wav").write_bytes(b"only words\n" * number)
    found = list(check_all(names, Options(), workers=2))
    assert [index for index, one in enumerate(found) if isinstance(one, Failed)] == list(range(0, 120, 40))
    assert "this file is empty (0 bytes)" in found[0].message
    assert all("this is no audio file" in one.message for one in found[40::40])


@pytest.mark.long
def test_two_thousand_files_of_which_fifty_are_broken(tmp_path, tunes):
    names = [tunes[9]] * 2000
    for number in range(0, 2000, 40):
        names[number] = str(tmp_path / f"{number}.wav")
        (tmp_path / f"{number}.wav").write_bytes(b"RIFF" + bytes(number % 60))
    found = list(check_all(names, Options()))
    assert sum(isinstance(one, Failed) for one in found) == 50
    assert [one.name for one in found] == names


def crash_on_three(monkeypatch):
    real = check.check_file

    def check_file(name, options, *, progress=None):
        if name.endswith("3.wav"):
            os._exit(3)  # as far as anybody else can tell, a crash
        return real(name, options, progress=progress)

    monkeypatch.setattr(check, "check_file", check_file)  # workers are forked from here


def test_a_decoder_that_crashes_takes_only_its_own_file_with_it(tunes, monkeypatch):
    crash_on_three(monkeypatch)
    found = list(check_all(tunes, Options(), workers=2))
    assert [one.name for one in found if isinstance(one, Failed)] == [tunes[3]]
    assert found[3].message == (
        f"{tunes[3]}: the decoder crashed on this file, so it must be damaged; export it again"
    )


def test_a_decoder_that_hangs_takes_only_its_own_file_with_it(tunes, monkeypatch):
    """A stand-in that never comes back, and does not hear that it is to end."""
    real = check.check_file

    def check_file(name, options, *, progress=None):
        if name.endswith("3.wav"):
            signal.signal(signal.SIGTERM, signal.SIG_IGN)
            while True:
                time.sleep(60.0)
        return real(name, options, progress=progress)

    monkeypatch.setattr(check, "check_file", check_file)
    monkeypatch.setattr(check_run, "STUCK_S", 1.0)
    monkeypatch.setattr(check_run, "END_S", 0.2)
    found = list(check_all(tunes, Options(), workers=2))
    assert [one.name for one in found] == tunes
    assert [one.name for one in found if isinstance(one, Failed)] == [tunes[3]]
    assert found[3].message == (
        f"{tunes[3]}: the decoder got no further for 1 s, so the file must be damaged or its disk does not "
        "answer; export it again, or try a copy"
    )


def test_work_on_a_file_that_is_read_has_no_limit(tunes, monkeypatch):
    real = check.check_file

    def check_file(name, options, *, progress=None):
        made = real(name, options, progress=progress)
        if name.endswith("3.wav"):
            time.sleep(1.5)
        return made

    monkeypatch.setattr(check, "check_file", check_file)
    monkeypatch.setattr(check_run, "STUCK_S", 0.7)
    assert all(isinstance(one, Checked) for one in check_all(tunes[2:5], Options(), workers=2))


def test_workers_start_anew_where_they_cannot_be_forked(tunes, monkeypatch):
    """As from a thread of the window."""
    monkeypatch.setattr(check_run, "_context", REAL_CONTEXT)
    found = []
    thread = threading.Thread(target=lambda: found.extend(check_all(tunes[8:], Options(), workers=1)))
    thread.start()
    thread.join()
    assert [type(one) for one in found] == [Checked, Checked]


@pytest.mark.parametrize("workers", [0, 2])
def test_progress_ends_with_all_that_there_is(tunes, workers, monkeypatch):
    told = []
    list(check_all(tunes, Options(), workers=workers, progress=told.append))
    assert [one.files_done for one in told] == sorted(one.files_done for one in told)
    assert {one.files for one in told} == {10}
    assert all(0.0 <= one.share <= 1.0 for one in told)
    assert (told[-1].files_done, told[-1].share) == (10, 1.0)


@pytest.mark.parametrize("workers", [0, 2])
def test_a_cancelled_run_ends_with_what_is_done(tunes, workers):
    done = []
    for result in check_all(tunes, Options(), workers=workers, is_cancelled=lambda: len(done) >= 3):
        done.append(result)
    assert 3 <= len(done) <= 5
    assert [one.name for one in done] == tunes[: len(done)]


@pytest.mark.parametrize("workers", [0, 1])
def test_what_is_said_to_be_done_has_been_given_away(tunes, workers):
    """Ctrl-C as soon as it is said: what was done is printed."""
    done = []

    def stop(run):
        if run.files_done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        done.extend(check_all(tunes[7:], Options(), workers=workers, progress=stop))
    assert [result.name for result in done] == tunes[7:9]


def test_closing_ends_the_workers_at_once(tmp_path):
    path = str(tmp_path / "long.wav")
    soundfile.write(path, np.zeros((1, 2)), 48_000, "PCM_16", format="RF64")
    data = bytearray((tmp_path / "long.wav").read_bytes())
    frames = 20 * 3600 * 48_000  # a hole that takes no room
    data[28:36] = (4 * frames).to_bytes(8, "little")
    (tmp_path / "long.wav").write_bytes(data)
    os.truncate(path, len(data) - 4 + 4 * frames)
    run = check_all([str(tmp_path / "none.wav"), path, path], Options(), workers=2)
    assert isinstance(next(run), Failed)
    assert len(check_run.multiprocessing.active_children()) == 2
    before_s = time.monotonic()
    run.close()
    assert check_run.multiprocessing.active_children() == []
    assert time.monotonic() - before_s < 60.0  # the file alone would take many minutes


def test_a_single_file_is_measured_in_this_process(tunes, monkeypatch):
    monkeypatch.setattr(check, "check_one", lambda name, *_args, **_kwargs: Failed(name=name, message="here"))
    assert [one.message for one in check_all(tunes[:1], Options())] == ["here"]


def test_no_files_give_no_results():
    assert list(check_all([], Options())) == []
