"""Hearing the machine, end to end: real sound servers, another program that plays, real time.

Each scene has servers of its own, and the program that listens is a process of its own. What was
truly lost is read from the sound, which carries the numbers of its frames (`hearing.counter`).
Limits: issue 3. How quickly things are noticed is held without real time, in test_live_source.py;
here it is only measured (`Cycles`), because a busy machine makes everything late.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
import pytest
import soundfile

from meter.passes import measure
from meter.soundings import Summary
from tests.support import debian
from tests.support.hearing import Hearing, command, counter, numbers, write_float
from tests.support.scenes import plays
from tests.support.sound_server import Jack, PipeWire, PulseAudio, SpeaksPulse

SERVER = pytest.mark.packages("pulseaudio", "pulseaudio-utils")
PIPEWIRE = pytest.mark.packages(
    "pipewire", "pipewire-pulse", "wireplumber", "dbus-daemon", "pulseaudio-utils"
)

JACK = pytest.mark.packages("jackd2")

PIECE_S = 32
COUNTED_S = 8
WITHIN_FRAMES = 4800
"""100 ms, issue 3."""

NINE = ",".join(f"aux{place}" for place in range(9))


# --- a piece of music -------------------------------------------------------------------------


def excerpt() -> tuple[np.ndarray, int]:
    """The loud middle of a real piece of 48 kHz."""
    for path in debian.audio_files(debian.music_packages()):
        info = soundfile.info(path)
        if info.samplerate == 48_000 and info.channels == 2 and info.duration > 3 * PIECE_S:
            start = int(info.frames // 3)
            return soundfile.read(path, start=start, frames=PIECE_S * 48_000, dtype="float32")
    raise AssertionError("no piece of 48 kHz that is long enough")


@dataclass
class Piece:
    heard: Summary
    file: Summary
    lost_frames: int
    is_whole: bool


def piece_heard(server_kind: type[SpeaksPulse]) -> Piece:
    """Another program plays a piece into the default sink; it is heard through "system"."""
    samples, rate_hz = excerpt()
    with server_kind() as server, Hearing(server) as hearing:
        path = write_float(server.folder / "piece.wav", samples, rate_hz)
        hearing.wait_running()
        assert server.play(path, sink="out").wait() == 0
        time.sleep(0.5)
        hearing.stop()
        (heard,) = hearing.heard
        return Piece(
            heard=measure(heard, rate_hz=rate_hz),
            file=measure(samples, rate_hz=rate_hz),
            lost_frames=hearing.lost_frames,
            is_whole=holds(heard, samples),
        )


def holds(heard: np.ndarray, samples: np.ndarray) -> bool:
    """Whether the samples stand in what was heard, each bit of them."""
    first = np.flatnonzero(samples.any(axis=1))[0]
    start = np.flatnonzero(heard.any(axis=1))[0] - first
    return np.array_equal(heard[start : start + len(samples)], samples)


def check_piece(piece: Piece) -> None:
    assert piece.lost_frames == 0
    assert piece.heard.integrated_lufs == pytest.approx(piece.file.integrated_lufs, abs=0.05)
    assert piece.heard.true_peak_dbtp == pytest.approx(piece.file.true_peak_dbtp, abs=0.05)


@SERVER
@plays(piece_heard, PulseAudio)
def test_a_piece_heard_live_measures_as_its_file_does(scene, music):
    check_piece(scene)
    assert scene.is_whole, "the player ran empty, or bits were changed"


@PIPEWIRE
@pytest.mark.long
@plays(piece_heard, PipeWire)
def test_through_pipewire_too(scene, music):
    check_piece(scene)


def what_listen_says(
    server: SpeaksPulse, *options: str, play: Callable[[], Any]
) -> tuple[list[dict[str, Any]], str]:
    """The objects and the messages of `leadline listen --json` on what the system plays."""
    with command(["listen", "--source", "system", "--json", *options], server.env) as listening:
        lines = [listening.stdout.readline()]
        play()
        lines += listening.stdout
        messages = listening.stderr.read()
        assert listening.wait() == 0, messages
    return [json.loads(line) for line in lines], messages


def listened() -> tuple[dict[str, Any], dict[str, Any]]:
    """`leadline listen` on the piece that is played, and `leadline check` on its file."""
    samples, rate_hz = excerpt()
    with PulseAudio() as server:
        path = write_float(server.folder / "piece.wav", samples, rate_hz)
        seconds = str(PIECE_S + 4)
        player = partial(server.play, path, sink="out")
        made, messages = what_listen_says(server, "--seconds", seconds, play=lambda: player().wait())
        assert messages == ""
        with command(["check", "--json", str(path)], server.env) as checking:
            checked = json.loads(checking.stdout.read())
    return made[-1], checked


@SERVER
@plays(listened)
def test_listen_says_of_what_the_machine_plays_what_check_says_of_the_file(scene, music):
    live, file = scene
    assert (live["type"], live["lost_frames"]) == ("summary", 0)
    for key in ("integrated_lufs", "true_peak_dbtp"):
        assert live[key] == pytest.approx(file[key], abs=0.05)


def listened_turned_down() -> tuple[list[dict[str, Any]], str]:
    """`leadline listen` with a target, at half the volume."""
    samples, rate_hz = excerpt()
    with PulseAudio() as server:
        server.pactl("set-sink-volume", "out", "50%")
        path = write_float(server.folder / "piece.wav", samples[: 5 * rate_hz], rate_hz)
        options = ("--target", "club", "--seconds", "5")
        return what_listen_says(server, *options, play=partial(server.play, path, sink="out"))


@SERVER
@plays(listened_turned_down)
def test_at_half_the_volume_listen_gives_no_verdict(scene, music):
    made, messages = scene
    later = [line for line in made if line["type"] == "sounding" and line["at_s"] > 3.5]
    assert later and all(line["short_term_lufs"] is not None for line in later)
    assert {(line["verdict"], line["why_null"]["verdict"]) for line in later} == {(None, "withheld")}
    assert made[-1]["verdicts"] == {}
    assert "the system volume is at -18.1 dB" in messages


# --- every bit --------------------------------------------------------------------------------


def counted(server_kind: type[SpeaksPulse], rate_hz: int) -> Hearing:
    """The counting signal, heard through "system"."""
    with server_kind() as server:
        server.remove_first_sink()
        server.add_sink("count", rate_hz=rate_hz)
        with Hearing(server) as hearing:
            path = write_float(server.folder / "count.wav", counter(COUNTED_S * rate_hz), rate_hz)
            hearing.wait_running(rate_hz=rate_hz)
            assert server.play(path, sink="count").wait() == 0
            time.sleep(0.5)
            hearing.stop()
            return hearing


def check_counted(hearing: Hearing, frames: int) -> None:
    assert hearing.lost_frames == 0
    assert np.array_equal(numbers(hearing.heard[0]), np.arange(frames))


@SERVER
@pytest.mark.parametrize(
    "rate_hz", [pytest.param(rate, marks=plays(counted, PulseAudio, rate)) for rate in (44_100, 96_000)]
)
def test_every_bit_of_every_frame_is_heard_at_the_rate_of_the_output(scene, rate_hz):
    check_counted(scene, COUNTED_S * rate_hz)


@PIPEWIRE
@pytest.mark.long
@plays(counted, PipeWire, 48_000)
def test_every_bit_is_heard_through_pipewire(scene):
    check_counted(scene, COUNTED_S * 48_000)


def pair_of_nine(server_kind: type[SpeaksPulse]) -> Hearing:
    """Channels 4 and 3 of an interface with nine channels without places; the others are loud."""
    with server_kind() as server:
        server.add_sink("nine", channels=9, positions=NINE)
        samples = np.full((COUNTED_S * 48_000, 9), 0.5, np.float32)
        samples[:, [3, 2]] = counter(len(samples))
        path = write_float(server.folder / "nine.wav", samples, 48_000)
        with Hearing(server, "device:nine.monitor", "4,3") as hearing:
            hearing.wait_running(channels=2)
            assert server.play(path, sink="nine", positions=NINE).wait() == 0
            time.sleep(0.5)
            hearing.stop()
            return hearing


@SERVER
@plays(pair_of_nine, PulseAudio)
def test_a_pair_of_nine_channels_is_heard_alone_and_in_its_order(scene):
    check_counted(scene, COUNTED_S * 48_000)


@PIPEWIRE
@pytest.mark.long
@plays(pair_of_nine, PipeWire)
def test_a_pair_of_nine_channels_is_heard_through_pipewire(scene):
    check_counted(scene, COUNTED_S * 48_000)


# --- a program with other things to do -----------------------------------------------------------


def busy(seconds: float) -> Hearing:
    """Other threads of the program hold the interpreter for 50 ms at a time, and never rest."""
    with PulseAudio() as server:
        path = write_float(server.folder / "count.wav", counter(round(seconds * 48_000)), 48_000)
        with Hearing(server, "system", "busy") as hearing:
            hearing.wait_running()
            assert server.play(path, sink="out").wait() == 0
            time.sleep(1.0)
            hearing.stop()
            return hearing


@SERVER
@pytest.mark.parametrize(
    "seconds",
    [
        pytest.param(10.0, marks=plays(busy, 10.0)),
        pytest.param(60.0, marks=[plays(busy, 60.0), pytest.mark.long]),
    ],
)
def test_a_program_whose_threads_hold_the_interpreter_loses_nothing(scene, seconds):
    check_counted(scene, round(seconds * 48_000))


# --- JACK -------------------------------------------------------------------------------------


def piece_through_jack(period_frames: int, *options: str) -> Hearing:
    """Another program plays the counting signal, and then a piece, into JACK."""
    samples, rate_hz = excerpt()
    with Jack(period_frames=period_frames) as server:
        both = np.concatenate([counter(COUNTED_S * rate_hz), np.zeros((rate_hz, 2), np.float32), samples])
        player = server.player(write_float(server.folder / "both.wav", both, rate_hz))
        with Hearing(server, "device:PortAudio", *options) as hearing:
            hearing.wait_running(rate_hz=rate_hz)
            player.stdin.close()
            assert player.wait() == 0
            hearing.stop()
            return hearing


@JACK
@pytest.mark.long
@pytest.mark.parametrize(
    ("period_frames", "options"),
    [
        pytest.param(4096, (), marks=plays(piece_through_jack, 4096, alone=True)),
        pytest.param(8192, (), marks=plays(piece_through_jack, 8192, alone=True)),
        # A program that is busy is no matter: a process of its own hears JACK.
        pytest.param(8192, ("busy",), marks=plays(piece_through_jack, 8192, "busy", alone=True)),
    ],
)
def test_a_piece_played_into_jack_measures_as_its_file_does(scene, period_frames, options, music):
    samples, rate_hz = excerpt()
    (heard,) = scene.heard
    start = np.flatnonzero(heard[:, 1])[0] + (COUNTED_S + 1) * rate_hz
    assert np.array_equal(numbers(heard[: start - rate_hz]), np.arange(COUNTED_S * rate_hz))
    piece = heard[start : start + len(samples)]
    live, file = measure(piece, rate_hz=rate_hz), measure(samples, rate_hz=rate_hz)
    assert scene.lost_frames == 0
    assert live.integrated_lufs == pytest.approx(file.integrated_lufs, abs=0.05)
    assert live.true_peak_dbtp == pytest.approx(file.true_peak_dbtp, abs=0.05)


def jack_killed() -> list[dict[str, Any]]:
    """JACK dies while it is heard, and comes back with the program that plays."""
    with Jack() as server:
        path = write_float(server.folder / "count.wav", counter(48_000), 48_000)
        server.player(path)
        with Hearing(server, "device:PortAudio") as hearing:
            since = hearing.wait_running()
            server.kill()
            since = hearing.wait(
                lambda state: state["status"] == "lost" and "is not there" in state["sentence"], since=since
            )
            server.start()
            server.player(path)
            hearing.wait_running(since=since)
            hearing.stop()
        return hearing.states


@JACK
@pytest.mark.long
@plays(jack_killed)
def test_a_jack_that_dies_and_comes_back_is_heard_again(scene):
    (lost,) = {state["sentence"] for state in scene if "not there" in (state["sentence"] or "")}
    assert lost.startswith("PortAudio (JACK) is not there; start it again, and JACK if that ended too")


# --- a program that stands still --------------------------------------------------------------


def stalled(server_kind: type[SpeaksPulse], seconds: float) -> Hearing:
    """The program that listens stands still while another plays; the server keeps 11 s for it."""
    with server_kind() as server, Hearing(server) as hearing:
        path = write_float(server.folder / "count.wav", counter(round((seconds + 9.0) * 48_000)), 48_000)
        hearing.wait_running()
        player = server.play(path, sink="out")
        time.sleep(4.0)
        hearing.stall(seconds)
        assert player.wait() == 0
        time.sleep(0.5)
        hearing.stop()
        return hearing


def check_stalled(hearing: Hearing, seconds: float) -> None:
    (heard,) = hearing.heard
    found = numbers(heard)
    steps = np.diff(found)
    assert steps.min() >= 1, "frames came twice, or in another order"
    truly_lost = int((steps - 1).sum())
    assert truly_lost > 0, "the stall was too short to lose anything"
    assert abs(hearing.lost_frames - truly_lost) <= WITHIN_FRAMES
    # And it is where it belongs: what was lost by any place is what was said to be lost before it.
    silence = np.flatnonzero(heard[:, 1])[0]
    for _, frames_before, lost in hearing.gaps:
        near = slice(max(frames_before - silence - WITHIN_FRAMES, 0), frames_before - silence + WITHIN_FRAMES)
        assert abs((steps[near] - 1).sum() - lost) <= WITHIN_FRAMES
    assert any(state["sentence"] and "came too late" in state["sentence"] for state in hearing.states)


@SERVER
@pytest.mark.parametrize(
    "seconds", [pytest.param(seconds, marks=plays(stalled, PulseAudio, seconds)) for seconds in (12.0, 20.0)]
)
def test_what_a_stall_loses_is_counted_and_put_where_it_belongs(scene, seconds):
    check_stalled(scene, seconds)


@PIPEWIRE
@pytest.mark.long
@pytest.mark.parametrize(
    "seconds", [pytest.param(seconds, marks=plays(stalled, PipeWire, seconds)) for seconds in (12.0, 20.0)]
)
def test_what_a_stall_loses_through_pipewire_is_counted(scene, seconds):
    check_stalled(scene, seconds)


# --- volume and mute --------------------------------------------------------------------------


def turned_down(server_kind: type[SpeaksPulse], **sink: str) -> list[dict[str, Any]]:
    """The volume goes to 50 %, back, and then the sound is muted."""
    with server_kind() as server, Hearing(server) as hearing:
        since = hearing.wait_running(volume_db=0.0, is_muted=False)
        server.pactl("set-sink-volume", "out", "50%")
        since = hearing.wait(lambda state: state["volume_db"] < -1.0, since=since)
        server.pactl("set-sink-volume", "out", "100%")
        since = hearing.wait_running(volume_db=0.0, is_muted=False, since=since)
        server.pactl("set-sink-mute", "out", "1")
        hearing.wait_running(volume_db=0.0, is_muted=True, since=since)
        hearing.stop()
        return hearing.states


def check_turned_down(states: list[dict[str, Any]]) -> None:
    # PulseAudio 16: the amplitude is the cube of the volume; 60·log10(0.5).
    assert min(state["volume_db"] for state in states if state["volume_db"] is not None) == pytest.approx(
        -18.06, abs=0.01
    )
    # The volume may be known before the first sound has come, or behind it.
    statuses = [state["status"] for state in states]
    first = statuses.index("running")
    assert set(statuses[:first]) <= {"opening"}
    assert set(statuses[first:-1]) == {"running"}


@SERVER
@plays(turned_down, PulseAudio)
def test_volume_and_mute_of_the_output_are_told(scene):
    check_turned_down(scene)


@PIPEWIRE
@plays(turned_down, PipeWire)
def test_volume_and_mute_are_told_through_pipewire(scene):
    check_turned_down(scene)


def turned_down_behind() -> tuple[Hearing, float]:
    """An output of PipeWire whose monitor lies before its volume, as those of sound cards do."""
    level = 0.5
    with PipeWire() as server:
        server.add_sink("card", properties="monitor.channel-volumes=false")
        server.pactl("set-default-sink", "card")
        path = write_float(server.folder / "level.wav", np.full((4 * 48_000, 2), level, np.float32), 48_000)
        with Hearing(server) as hearing:
            hearing.wait_running(name="card")
            server.pactl("set-sink-volume", "card", "50%")
            server.pactl("set-sink-mute", "card", "1")
            assert server.play(path, sink="card").wait() == 0
            time.sleep(0.5)
            hearing.stop()
            return hearing, level


@PIPEWIRE
@plays(turned_down_behind)
def test_a_volume_behind_the_monitor_is_neither_heard_nor_told(scene):
    hearing, level = scene
    assert hearing.heard[0].max() == level
    told = {(state["volume_db"], state["is_muted"]) for state in hearing.states[2:]}
    assert told == {(0.0, False)}


# --- misfortunes, again and again -------------------------------------------------------------


@dataclass
class Cycles:
    """How it went each time, and what the program then held."""

    hearing: Hearing
    noticed_s: list[float] = field(default_factory=list)
    resumed_s: list[float] = field(default_factory=list)
    after: list[dict[str, Any]] = field(default_factory=list)

    def until(self, since: int, action: Callable[[], Any], times_s: list[float], **wanted: Any) -> int:
        """Do it, and wait for the state that follows; how long that took is kept."""
        started_s = time.monotonic()
        action()
        status = wanted.pop("status", "running")
        place = self.hearing.wait(
            lambda state: (
                state.get("status") == status
                and all((state | state["info"])[name] == value for name, value in wanted.items())
            ),
            since=since,
        )
        times_s.append(self.hearing.states[place - 1]["at_s"] - started_s)
        if status == "running":
            self.after.append(self.hearing.states[place - 1])
        return place


LOST = {"status": "lost"}


def check_nothing_grows(cycles: Cycles, times: int) -> None:
    assert len(cycles.after) == times
    first, last = cycles.after[1], cycles.after[-1]
    assert last["open_files"] <= first["open_files"] + 2
    assert last["threads"] <= first["threads"] + 2
    assert last["memory_mb"] <= first["memory_mb"] + 4.0, "a ring is 6 MB"
    print(f"noticed {stated(cycles.noticed_s)}; heard again {stated(cycles.resumed_s)}; ", end="")
    print(f"memory {last['memory_mb'] - first['memory_mb']:+.1f} MB in {times}")


def stated(times_s: list[float]) -> str:
    return f"{np.median(times_s):.2f} s, at most {max(times_s):.2f} s" if times_s else "-"


def often(scene_: Callable[[int], Cycles]) -> pytest.MarkDecorator:
    """5 times in the suite, 50 with --long."""
    return pytest.mark.parametrize(
        "times",
        [
            pytest.param(5, marks=plays(scene_, 5)),
            pytest.param(50, marks=[plays(scene_, 50), pytest.mark.long]),
        ],
    )


def sink_taken_away(times: int) -> Cycles:
    with PulseAudio() as server, Hearing(server) as hearing:
        cycles = Cycles(hearing)
        since = hearing.wait_running()
        for _ in range(times):
            since = cycles.until(since, server.remove_first_sink, cycles.noticed_s, **LOST)
            since = cycles.until(since, server.add_first_sink, cycles.resumed_s)
        hearing.stop()
        return cycles


@SERVER
@often(sink_taken_away)
def test_a_sink_that_comes_back_is_heard_again(scene, times):
    check_nothing_grows(scene, times)
    lost = [state["sentence"] for state in scene.hearing.states if state["status"] == "lost"]
    assert any("the sound server has no output" in sentence for sentence in lost)


def server_killed(times: int) -> Cycles:
    with PulseAudio() as server, Hearing(server) as hearing:
        cycles = Cycles(hearing)
        since = hearing.wait_running()
        for _ in range(times):
            since = cycles.until(since, server.kill, cycles.noticed_s, **LOST)
            since = cycles.until(since, server.start, cycles.resumed_s)
        hearing.stop()
        return cycles


@SERVER
@often(server_killed)
def test_a_server_that_is_started_again_is_heard_again(scene, times):
    check_nothing_grows(scene, times)
    lost = [state["sentence"] for state in scene.hearing.states if state["status"] == "lost"]
    assert any("no sound server answers" in sentence for sentence in lost)
    assert len(scene.hearing.gaps) >= times


def server_frozen(times: int) -> Cycles:
    """The server stands still until that is said; at the end it does when the program is told to stop."""
    with PulseAudio() as server, Hearing(server) as hearing:
        cycles = Cycles(hearing)
        since = hearing.wait_running()
        for _ in range(times):
            since = cycles.until(since, server.freeze, cycles.noticed_s, **LOST)
            since = hearing.wait(lambda state: "does not answer" in (state["sentence"] or ""), since=since)
            since = cycles.until(since, server.thaw, cycles.resumed_s)
        server.freeze()
        hearing.stop()
        server.thaw()
        return cycles


@SERVER
@plays(server_frozen, 2)
def test_a_server_that_stands_still_is_said_to_heard_again_and_holds_no_stop(scene):
    check_nothing_grows(scene, 2)
    lost = {state["sentence"] for state in scene.hearing.states if state["status"] == "lost"}
    assert any("does not answer" in sentence for sentence in lost)
    assert scene.hearing.states[-1]["status"] == "ended"


def default_changed(times: int) -> Cycles:
    """The user changes the default output from one to the other and back."""
    with PulseAudio() as server, Hearing(server) as hearing:
        server.add_sink("two")
        cycles = Cycles(hearing)
        since = hearing.wait_running(name="out")
        for turn in range(times):
            name = "out" if turn % 2 else "two"
            change = partial(server.pactl, "set-default-sink", name)
            since = cycles.until(since, change, cycles.resumed_s, name=name)
            assert server.sources_heard() == [f"{name}.monitor"]
        hearing.stop()
        return cycles


@SERVER
@often(default_changed)
def test_the_default_output_is_followed(scene, times):
    check_nothing_grows(scene, times)
    assert len(scene.hearing.heard) == 1
    # Between two outputs there is a gap, each time; a server that is late may lose more, and says so.
    assert len(scene.hearing.gaps) >= times
    if len(scene.hearing.gaps) > times:
        print(f"{len(scene.hearing.gaps)} gaps: {scene.hearing.gaps.tolist()}, {scene.hearing.states}")


def rate_changed(times: int) -> Cycles:
    with PulseAudio() as server, Hearing(server) as hearing:
        cycles = Cycles(hearing)
        since = hearing.wait_running(rate_hz=48_000, epoch=0)
        for turn in range(times):
            rate_hz = 48_000 if turn % 2 else 44_100

            def change(rate_hz: int = rate_hz) -> None:
                server.remove_first_sink()
                server.add_first_sink(rate_hz=rate_hz)

            wanted = {"rate_hz": rate_hz, "epoch": turn + 1}
            since = cycles.until(since, change, cycles.resumed_s, **wanted)
            time.sleep(0.3)
        hearing.stop()
        return cycles


@SERVER
@often(rate_changed)
def test_a_change_of_rate_begins_a_new_ring_at_that_rate(scene, times):
    check_nothing_grows(scene, times)
    assert len(scene.hearing.heard) == times + 1
    assert all(len(heard) > 0 for heard in scene.hearing.heard)
