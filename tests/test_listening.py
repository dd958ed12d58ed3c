"""`leadline listen` without its arguments: what is written where, and how it ends."""

import json
import time

import numpy as np
import pytest

from meter import listening
from meter.capture.records import SourceStatus
from meter.cli import main
from meter.errors import SourceError
from meter.listening import Listening
from meter.passes import measure
from meter.set_settings import SetSettings
from meter.target_file import shipped_targets
from meter.worker import Worker
from tests.support.fake_source import FakeSource

CLUB = shipped_targets()["club"]


def noise(seconds, *, rate_hz=48_000, channels=2):
    frames = round(seconds * rate_hz)
    return (np.random.default_rng(1).standard_normal((frames, channels)) * 0.1).astype(np.float32)


def source_with(sound, *, has_ended=False, **how):
    source = FakeSource(**how)
    source.bring(sound)
    if has_ended:
        source.end()
    return source


def objects(text):
    return [json.loads(line) for line in text.splitlines()]


def test_ten_soundings_a_second_and_a_summary_go_to_standard_output(capsys):
    sound = noise(2.0)
    assert Listening(source_with(sound), seconds=1.0, target=CLUB, as_json=True).run() == 0
    said = capsys.readouterr()
    made = objects(said.out)
    assert [one["type"] for one in made] == ["sounding"] * 10 + ["summary"]
    assert [one["at_s"] for one in made[:10]] == pytest.approx([0.1 * (k + 1) for k in range(10)])
    expected = measure(sound[:48_000], rate_hz=48_000)
    assert made[-1]["integrated_lufs"] == expected.integrated_lufs
    assert made[-1]["seconds"] == 1.0
    assert made[-1]["verdicts"]["true_peak_dbtp"] == "inside"
    assert said.err == ""


def test_what_is_to_be_said_of_the_source_goes_to_standard_error_once(capsys):
    source = source_with(noise(1.0), volume_db=-6.0, has_ended=True)
    source.become(status=SourceStatus.RUNNING)
    assert Listening(source, seconds=1.0, target=CLUB, as_json=True).run() == 0
    said = capsys.readouterr()
    assert said.err.count("the system volume is at -6.0 dB") == 1
    assert "what the system" not in said.out
    made = objects(said.out)
    assert {one["verdict"] for one in made[:-1]} == {None}
    assert made[-1]["why_null"]["verdicts"] == "withheld"


def test_a_gap_stands_in_the_soundings_and_in_the_summary(capsys):
    source = source_with(noise(0.45))
    source.lose(96_000)
    source.bring(noise(0.5))
    source.end()
    Listening(source, as_json=True).run()
    made = objects(capsys.readouterr().out)
    assert [one["lost_frames"] for one in made] == [0] * 5 + [96_000] * 6
    assert made[-1]["gaps"] == [{"at_s": 0.45, "frames": 96_000}]
    assert made[5]["at_s"] == pytest.approx(0.45 + 2.0 + 0.1)


def test_each_pass_has_its_summary(capsys):
    source = source_with(noise(0.5))
    listener = Listening(source, as_json=True)
    bring_other = iter(
        [lambda: source.reopen(rate_hz=44_100), lambda: source.bring(noise(0.3, rate_hz=44_100))]
    )
    take_rows = listener._put_sounding

    def take(rows):
        take_rows(rows)
        if listener._engine.reading.at_s == pytest.approx(0.5):
            for act in bring_other:
                act()
            source.end()

    listener._engine._on_soundings = take
    assert listener.run() == 0
    made = objects(capsys.readouterr().out)
    assert [one["type"] for one in made] == [*["sounding"] * 5, "summary", *["sounding"] * 3, "summary"]
    assert [one["sample_rate_hz"] for one in made if one["type"] == "summary"] == [48_000, 44_100]


def test_as_text_the_summary_stands_at_the_end_in_the_form_of_check(capsys):
    assert Listening(source_with(noise(2.0), has_ended=True), target=CLUB).run() == 0
    said = capsys.readouterr().out
    assert "\na made-up input\n0:02.0 · stereo · 48 kHz · heard live\nheld against Club" in said
    assert "Not inside Club: the loudest 30 s is" in said


def test_what_was_wrong_with_a_file_is_noted_in_its_summary(capsys):
    source = source_with(noise(0.5))
    source.end("the file is 3 frames shorter than it says")
    Listening(source).run()
    assert "  Note: the file is 3 frames shorter than it says." in capsys.readouterr().out


def test_one_line_a_second_goes_to_a_file(capsys, monkeypatch):
    clock_s = [0.0]
    monkeypatch.setattr(listening.time, "monotonic", lambda: clock_s[0])
    form = listening._form_of_text()
    worker = Worker(source_with(noise(1.0)))
    worker.step()
    for clock_s[0] in (10.0, 10.5, 10.9, 11.0, 11.2, 12.5):
        form.show(worker.now)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 3
    assert lines[0].startswith("0:01.0  S --  I -") and lines[0].endswith("can be said after 3 s")


def test_a_set_is_told_as_one(capsys):
    sound = np.concatenate([noise(1.0), 20.0 * noise(0.5), noise(1.5)])
    settings = SetSettings(mixer_zero_dbfs=-20.0)
    watched = Listening(source_with(sound, has_ended=True), target=CLUB, of_set=settings)
    watched.run()
    assert "\n  Over in 1 s, 33 % of the set; at last 1 s before its end.\n" in capsys.readouterr().out
    listening._form_of_text(settings).show(watched._now())
    said = capsys.readouterr().out
    assert "last over 1 s ago, 33 % of 10 min, 33 % of the set, room -" in said
    assert said.endswith("dB on my 0 = -20 dBFS\n")
    Listening(source_with(sound, has_ended=True), as_json=True, of_set=settings).run()
    made, summary = objects(capsys.readouterr().out)[-2:]
    assert summary["type"] == "summary"
    known = ("type", "seconds", "heard_s", "over_s", "last_jump_db")
    assert [made[key] for key in known] == ["set", 3.0, 3, 1, None]
    assert made["last_over_at_s"] == pytest.approx(1.6) and made["room_db"] < 0.0


# --- ends that are not plain


def test_a_source_that_brings_nothing_is_an_error(capsys):
    with pytest.raises(
        SourceError, match="nothing was heard from a made-up input: a made-up input has ended"
    ):
        Listening(source_with(noise(0.0), has_ended=True)).run()
    assert capsys.readouterr().out.count("\n") <= 1


@pytest.mark.parametrize("late_s", [0.0, -1000.0])  # the second: over before it was looked at
def test_a_source_that_is_lost_is_not_waited_for_for_ever(late_s, monkeypatch, capsys):
    monkeypatch.setattr(listening, "LATE_S", late_s)
    source = source_with(noise(0.5))
    source.become(status=SourceStatus.LOST, sentence="it has gone; listening goes on when it is back")
    assert Listening(source, seconds=1.0, as_json=True).run() == 0
    said = capsys.readouterr()
    assert objects(said.out)[-1]["seconds"] == 0.5
    assert said.err.splitlines() == [
        "it has gone; listening goes on when it is back",
        "the time is over: it has gone; listening goes on when it is back",
    ]


def test_nothing_from_a_lost_source_is_an_error_with_its_reason(monkeypatch):
    monkeypatch.setattr(listening, "LATE_S", 0.0)
    source = FakeSource()
    source.become(status=SourceStatus.LOST, sentence="it has gone")
    with pytest.raises(SourceError, match="nothing was heard from a made-up input: it has gone"):
        Listening(source, seconds=0.1).run()


def test_who_stops_before_anything_came_has_made_no_error(capsys):
    listener = Listening(FakeSource(), as_json=True)
    listener._ask_to_stop()
    assert listener.run() == 0
    assert capsys.readouterr().err == "nothing was heard: no sound came\n"
    for command in ("listen", "demo"):
        assert main([command, "--help"]) == 0
        help_text = " ".join(capsys.readouterr().out.split())
        assert "exit status: 0 done, also when it is ended with Ctrl-C before anything was heard" in help_text


def test_a_reader_who_does_not_read_holds_nothing_up_and_is_told_what_is_missing(monkeypatch, capsys):
    monkeypatch.setattr(listening, "MOST_WAITING", 5)
    source = source_with(noise(10.0), has_ended=True)
    listener = Listening(source, as_json=True)
    write = listening.say

    def blocked(text, stream):
        while not listener._engine.now.has_ended:
            time.sleep(0.001)
        write(text, stream)

    monkeypatch.setattr(listening, "say", blocked)
    assert listener.run() == 0
    said = capsys.readouterr()
    made = objects(said.out)
    assert made[-1]["type"] == "summary" and made[-1]["seconds"] == 10.0
    missing = 100 - (len(made) - 1)
    assert missing >= 90
    assert said.err == f"{missing} soundings were not written: nobody read them in time\n"


def test_a_mistake_in_the_program_is_raised_after_the_summary(monkeypatch, capsys, caplog):
    step = Worker.step

    def break_down(self):
        if self.now.reading is not None:
            raise ZeroDivisionError("a mistake")
        return step(self)

    monkeypatch.setattr(Worker, "step", break_down)
    with pytest.raises(ZeroDivisionError), caplog.at_level("CRITICAL"):
        Listening(source_with(noise(0.5)), as_json=True).run()
    assert objects(capsys.readouterr().out)[-1]["type"] == "summary"
