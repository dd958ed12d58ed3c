"""Pictures of the low end in the window, to be looked at.

``python -m tests.support.low_end_pictures OUT_DIR``; some of them with ``demo``, ``loop``, ``sub``,
``break`` or ``together`` behind it. QT_SCALE_FACTOR scales them. The loop is made of a kit of the package
hydrogen-drumkits, the break is one of sonic-pi-samples.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import soundfile

from demo_signals.pattern import RATE_HZ
from meter.capture.file_source import DemoSource
from meter.errors import SourceError
from meter.low_end.findings import LOW_END_KINDS
from tests.support.drum_patterns import FOLDER, KITS, STEP_S, one_shot, swept_kick
from tests.support.fake_source import FakeSource
from tests.support.window_pictures import LEAP_S, Leap, Pictures, _play
from ui import app as shell

Sound = npt.NDArray[np.float32]

KIT: Final = KITS / "ElectricEmpireKit"
SIZES: Final = ((1280, 800), (960, 540))
BEATS: Final = (
    ("EE_Kick_Hard_1", 0.9, 0.0, (0, 6, 10)),
    ("EE_Snare_2", 0.5, 0.1, (4, 12)),
    ("EE_Hat_Low", 0.2, -0.5, range(0, 16, 2)),
    ("EE_Clap", 0.2, 0.5, (12,)),
)
"""Sample, gain, where it is panned (-1 left), steps of the bar."""


def kit_loop(bars: int = 24) -> Sound:
    """Drums of a kit at 174 BPM, as somebody would program them."""
    made = np.zeros((round((16 * bars * STEP_S + 1.0) * RATE_HZ), 2))
    for name, gain, pan, steps in BEATS:
        hit = gain * one_shot(str(KIT / f"{name}.flac"))
        sides = np.stack([hit * np.sqrt(0.5 - pan / 2.0), hit * np.sqrt(0.5 + pan / 2.0)], axis=1)
        for bar in range(bars):
            for step in steps:
                start = round((16 * bar + step) * STEP_S * RATE_HZ)
                part = made[start : start + len(sides)]
                part += sides[: len(part)]
    return (made / np.abs(made).max() * 0.9).astype(np.float32)


def break_loop(times: int = 6) -> Sound:
    """A sampled break, again and again."""
    sound, rate_hz = soundfile.read(FOLDER / "loop_amen_full.flac", always_2d=True, dtype="float32")
    assert rate_hz in (44_100, RATE_HZ)
    return np.asarray(np.tile(sound[:, [0, -1]], (times, 1)), np.float32)


def bare_sub(seconds: float = 40.0) -> Sound:
    """Notes of a bare sub, one of them flat, one that glides, the right channel late from the middle on."""
    rng = np.random.default_rng(4)
    parts = []
    while sum(map(len, parts)) < seconds * RATE_HZ:
        hz = 440.0 * 2.0 ** ((rng.choice([29, 29, 32, 34, 36]) - 69) / 12.0)
        off = -35.0 if len(parts) % 6 == 4 else 0.0
        t = np.arange(round(rng.choice([0.7, 1.4]) * RATE_HZ)) / RATE_HZ
        glide = 2.0 ** (-0.5 * np.clip(t - 0.3, 0.0, None)) if len(parts) % 6 == 5 else np.ones(len(t))
        phase = 2.0 * np.pi * np.cumsum(hz * 2.0 ** (off / 1200.0) * glide) / RATE_HZ
        edges = np.clip(np.minimum(t, t[::-1]) / 0.01, 0.0, 1.0)
        parts.append(0.5 * edges * (np.sin(phase) + 0.15 * np.sin(2.0 * phase)))
    sound = np.concatenate(parts)
    right = sound.copy()
    middle = len(sound) // 2
    right[middle:] = np.roll(sound, round(0.004 * RATE_HZ))[middle:]
    return np.stack([sound, right], axis=1).astype(np.float32)


def stems(folder: Path, *, varies: bool) -> tuple[str, str]:
    """A kick and a sub in files of their own; the sub upside down and late, or running free."""
    at_s = 0.3 + 4.0 * STEP_S * np.arange(90)
    kick, sub = np.zeros((2, round((at_s[-1] + 1.0) * RATE_HZ)))
    hit = 0.6 * swept_kick(52.0)
    t = np.arange(len(sub)) / RATE_HZ
    for start in (at_s * RATE_HZ).round().astype(int):
        kick[start : start + len(hit)] += hit[: len(kick) - start]
        length = round(0.2 * RATE_HZ)
        part = np.sin(2.0 * np.pi * 52.0 * t[:length]) * np.hanning(length)
        late = start + round(0.004 * RATE_HZ)
        sub[late : late + length] -= 0.5 * part[: len(sub) - late]
    if varies:
        sub = 0.4 * np.sin(2.0 * np.pi * 53.7 * t)
    names = [str(folder / f"{name}.wav") for name in ("harbour lights kick", "harbour lights sub")]
    for name, sound in zip(names, (kick, sub)):
        soundfile.write(name, sound, RATE_HZ, subtype="PCM_24")
    return names[0], names[1]


def heard(pictures: Pictures, source: FakeSource, name: str, sound: Sound) -> None:
    """The arrangement Low end while this is heard, then all of it, then a finding, in two sizes."""
    conductor, window = pictures.conductor, pictures.window
    window.resize(*SIZES[0])
    conductor.choose_arrangement("low_end")
    conductor.begin("system")
    pictures.go_on(0.5)
    _play(pictures, source, sound)
    pictures.take(f"{name}-live", seconds=1.0)
    _play(pictures, source, np.zeros((7 * RATE_HZ, 2), np.float32))
    conductor.going.choose_view("pass")
    pictures.take(f"{name}-pass", seconds=1.5)
    shown = [one for one in window.findings.findings if not one.is_slight]
    if shown:
        window.findings.choose(shown[-1])
        pictures.take(f"{name}-finding", seconds=0.5)
    window.resize(*SIZES[1])
    pictures.take(f"{name}-low", seconds=0.5)
    conductor.quit()


def demo(pictures: Pictures) -> None:
    """The demo: its last minute, all of it, a finding of its low end, the page of settings."""
    conductor, window = pictures.conductor, pictures.window
    window.resize(*SIZES[0])
    conductor.choose_arrangement("low_end")
    conductor.begin("demo")
    pictures.until(lambda: conductor.session.timeline.slots > LEAP_S * 10.0)
    pictures.take("demo-live", seconds=12.0)
    conductor.going.choose_view("pass")
    pictures.take("demo-pass", seconds=1.0)
    found = [one for one in window.findings.findings if one.kind in LOW_END_KINDS]
    if found:
        window.findings.choose(found[0])
        pictures.take("demo-finding")
    conductor.low_end.ask()
    pictures.take("demo-page", conductor.low_end.page)
    conductor.low_end.page.reject()
    conductor.quit()


def together(pictures: Pictures) -> None:
    """The page of two stems: before, at work, with a suggestion, without one, with a problem."""
    conductor = pictures.conductor
    conductor.begin("system")
    conductor.actions["together"].trigger()
    desk = conductor.together
    page = desk.page
    assert page is not None
    pictures.take("together-empty", page)
    for name, varies in (("move", False), ("varies", True)):
        folder = Path(tempfile.mkdtemp())
        for key, path in zip(("kick", "sub"), stems(folder, varies=varies)):
            desk.take_file(key, path)
        page.look.click()
        if not varies:
            pictures.take("together-at-work", page, seconds=0.05)
        pictures.until(lambda: not desk.is_at_work)
        pictures.take(f"together-{name}", page)
    desk.take_file("sub", desk.page.stems["kick"].path)
    page.look.click()
    pictures.take("together-problem", page)
    page.resize(520, 480)
    pictures.take("together-small", page)
    menu = conductor.window.bar.menu
    page.close()
    menu.popup(conductor.window.mapToGlobal(conductor.window.rect().center()))
    pictures.take("together-menu", menu)
    menu.close()
    conductor.quit()


def main() -> int:
    """Take them all."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    os.environ["LEADLINE_HOME"] = tempfile.mkdtemp()
    app = shell._application()
    wanted = sys.argv[2:] or ["demo", "loop", "break", "sub", "together"]
    sounds = {"loop": kit_loop, "break": break_loop, "sub": bare_sub}

    def none(spec: str) -> Any:
        raise SourceError("no sound server answers; start PulseAudio or PipeWire, or listen to the demo")

    for theme in ("light", "dark"):
        if "demo" in wanted:
            demo(Pictures(folder, app, lambda spec: DemoSource(pace=Leap()), theme))
        for name, make in sounds.items():
            if name in wanted:
                source = FakeSource(spec="system", name="what the system plays")
                heard(Pictures(folder, app, lambda spec, source=source: source, theme), source, name, make())
        if "together" in wanted:
            together(Pictures(folder, app, none, theme))
    return 0


if __name__ == "__main__":
    sys.exit(main())
