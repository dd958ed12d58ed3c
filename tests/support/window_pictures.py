"""Pictures of the whole window, to be looked at: ``python -m tests.support.window_pictures OUT_DIR``.

Some of them: with ``demo``, ``files``, ``states``, ``set``, ``hearing`` or ``delivery`` behind it.

The demo is really listened to, its first part faster than it plays. QT_SCALE_FACTOR scales them.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np

from meter.capture.file_source import DemoSource, RealPace
from meter.capture.records import SourceStatus
from meter.errors import SourceError
from meter.exposure.calibration import Calibration, unknown
from meter.target_file import shipped_targets
from meter.tunes.live import Jump
from tests.support.fake_source import FakeSource
from tests.support.listed_sources import LISTED
from tests.support.sound import noise
from ui import app as shell

LEAP_S: Final = 100.0
SPEED: Final = 40.0


class Leap(RealPace):
    """Time that runs fast at first, and then as it does."""

    def __init__(self) -> None:
        super().__init__()
        self._began_s: float | None = None

    def now_s(self) -> float:
        """Steady time of its own."""
        if self._began_s is None:
            self._began_s = time.monotonic()
        passed_s = time.monotonic() - self._began_s
        return min(passed_s * SPEED, LEAP_S) + max(passed_s - LEAP_S / SPEED, 0.0)

    def wait(self, seconds: float) -> bool:
        """Wait, less while it runs fast."""
        is_fast = self.now_s() < LEAP_S
        return self._is_over.wait(max(seconds / SPEED if is_fast else seconds, 0.0))


class Pictures:
    """A window, and the pictures taken of it."""

    def __init__(self, folder: Path, app: Any, open_source: Callable[[str], Any], theme: str) -> None:
        self.folder, self.app, self.theme = folder, app, theme
        targets = shipped_targets()
        self.conductor = shell.build(
            app,
            targets,
            target=targets["club"],
            has_target=True,
            open_source=open_source,
            list_sources=lambda: LISTED,
        )
        self.conductor.state.remember(theme=theme)
        self.window = self.conductor.window
        self.conductor.show()

    def go_on(self, seconds: float) -> None:
        """Let it run."""
        until_s = time.monotonic() + seconds
        while time.monotonic() < until_s:
            self.app.processEvents()
            time.sleep(0.005)

    def until(self, is_so: Callable[[], bool]) -> None:
        """Let it run until it is so."""
        while not is_so():
            self.go_on(0.05)

    def take(self, name: str, widget: Any = None, seconds: float = 0.5) -> None:
        """A picture, after a while."""
        self.go_on(seconds)
        (self.window if widget is None else widget).grab().save(str(self.folder / f"{self.theme}-{name}.png"))


def demo(pictures: Pictures) -> None:
    """The states with the demo."""
    conductor, window, going = pictures.conductor, pictures.window, pictures.conductor.going
    window.resize(1280, 800)
    conductor.begin("demo")
    while conductor.session.timeline.slots < LEAP_S * 10.0:
        pictures.go_on(0.2)
    pictures.take("live", seconds=3.0)
    window.findings.choose(window.findings.findings[0])
    pictures.take("finding")
    going.go_live()
    going.choose_view("pass")
    pictures.take("pass")
    conductor.state.remember(bpm=140.0)
    going.fold(True)
    pictures.take("fold")
    going.go_live()
    going.choose_view("60 s")
    conductor.make_large(True)
    pictures.take("large")
    conductor.make_large(False)
    going.ask_for_tempo()
    pictures.take("tempo", going.dialog)
    going.dialog.reject()
    for name in ("caution", "help"):
        conductor.open_page(name)
        pictures.take(name, conductor.pages[name])
        conductor.pages[name].close()
    going.choose_view("60 s")
    conductor.choose_arrangement("low_end")
    pictures.take("low-end", seconds=1.5)
    conductor.low_end.ask()
    pictures.take("low-end-page", conductor.low_end.page)
    conductor.low_end.page.reject()
    going.choose_view("pass")
    pictures.take("low-end-pass", seconds=1.5)
    conductor.choose_arrangement("master")
    menu = window.bar.menu
    menu.popup(window.mapToGlobal(window.rect().center()))
    pictures.take("menu", menu)
    menu.close()
    window.resize(960, 540)
    pictures.take("low")
    window.resize(1280, 800)
    conductor.go_compact(True)
    pictures.take("compact", conductor.compact, 1.0)
    conductor.go_compact(False)
    conductor.toggle_hold()
    pictures.take("held", seconds=1.0)
    conductor.quit()


def files(pictures: Pictures) -> None:
    """Files: while they are measured, a master with findings, a part of it, the shelf."""
    conductor, window = pictures.conductor, pictures.window
    window.resize(1280, 800)
    conductor.begin("system")
    crate = Path(tempfile.mkdtemp())
    masters = [crate / f"{name}.wav" for name in ("harbour-lights-master-v1", "harbour-lights-master-v2")]
    for number, path in enumerate(masters):
        _write_tune(path, gain_db=0.8 * number, seed=0)
    records = [crate / f"{name}.flac" for name in ("grey tide", "low water", "undertow")]
    for number, path in enumerate(records):
        _write_tune(path, gain_db=-1.5 * number, seed=number + 1)
    (crate / "notes.wav").write_text("no sound")
    desk, shelf = conductor.desk, conductor.shelf
    for path in records:
        count = len(desk.files)
        desk.open([str(path)])
        pictures.until(lambda count=count: len(desk.files) > count)
        kept = len(shelf.names)
        shelf.keep()
        pictures.until(lambda kept=kept: len(shelf.names) > kept)
    pictures.take("kept")
    window.passes.scrollToBottom()
    pictures.take("shelf-listed")
    count = len(desk.files)
    desk.open([*map(str, masters), str(crate / "notes.wav")])
    pictures.until(lambda: window.progress.share > 0.4)
    pictures.take("measuring", seconds=0.0)
    pictures.until(lambda: not window.progress.isVisible())
    desk.choose(count + 1)
    pictures.take("master")
    window.message.hide()
    going = conductor.going
    window.lanes.select(640, 1_000)
    going.choose_span(640, 1_000)
    pictures.take("part")
    for number, name in ((0, "shelf-all"), (1, "shelf-one")):
        shelf.page = None
        shelf.compare(number)
        pictures.until(lambda: shelf.page is not None)
        pictures.take(name, shelf.page)
        shelf.page.close()
    window.resize(900, 540)
    pictures.take("master-low")
    conductor.quit()


def delivery(pictures: Pictures) -> None:
    """A master before, while and after it is tried with encoders; its page, at several sizes."""
    import soundfile

    from demo_signals import RATE_HZ, stream

    conductor, window = pictures.conductor, pictures.window
    window.resize(1280, 800)
    conductor.begin("system")
    samples = np.concatenate(list(stream(RATE_HZ)))[: 70 * RATE_HZ]
    crate = Path(tempfile.mkdtemp())
    masters = [crate / f"{name}.wav" for name in ("harbour-lights-master-v1", "harbour-lights-master-v2")]
    for path, gain in zip(masters, (0.7, 1.0)):
        soundfile.write(path, np.clip(gain * samples, -1.0, 1.0), RATE_HZ, subtype="PCM_24")
    desk, page = conductor.desk, conductor.delivery
    desk.open([str(path) for path in masters])
    pictures.until(lambda: len(desk.files) == 2 and not window.progress.isVisible())
    desk.choose(1)
    window.message.hide()
    conductor.actions["delivery"].trigger()
    pictures.take("delivery-before", page.page)
    page.page.check.click()
    pictures.until(lambda: window.encoding.share > 0.3)
    pictures.take("delivery-at-work", page.page, seconds=0.1)
    pictures.take("delivery-window-at-work", seconds=0.1)
    pictures.until(lambda: page.at_work is None)
    pictures.take("delivery", page.page)
    page.page.resize(640, 520)
    pictures.take("delivery-small", page.page)
    page.page.close()
    pictures.take("delivery-window")
    window.findings.choose(next(one for one in window.findings.findings if one.kind == "over once encoded"))
    pictures.take("delivery-finding")
    conductor.quit()


def _write_tune(path: Path, *, gain_db: float, seed: int) -> None:
    """The demo tune at another gain, with another slope from low to high."""
    import soundfile

    from demo_signals import RATE_HZ, stream

    samples = np.concatenate(list(stream(RATE_HZ)))[: 110 * RATE_HZ].astype(np.float64)
    rng = np.random.default_rng(seed)
    if seed:
        for delay, most in ((1, 0.5), (3, 0.4), (12, 0.4), (60, 0.4)):
            samples = samples + most * (rng.random() - 0.5) * np.roll(samples, delay, axis=0)
        samples *= 0.7 / np.abs(samples).max()
    soundfile.write(path, samples * 10.0 ** (gain_db / 20.0), RATE_HZ, subtype="PCM_16")


def states(pictures: Pictures, source: FakeSource) -> None:
    """The states of a source."""
    conductor = pictures.conductor
    conductor.begin("system")
    pictures.take("no-source", seconds=1.0)
    conductor.session._opener._open_source = lambda spec: source
    conductor.choose_source("system")
    pictures.go_on(0.5)

    def play(samples: Any) -> None:
        _play(pictures, source, samples)

    play(np.zeros((48_000 * 4, 2), np.float32))
    pictures.take("nothing-plays", seconds=1.0)
    source.become(volume_db=-12.0)
    play(noise(8.0, seed=1, level_dbfs=-16.0))
    pictures.take("volume", seconds=2.0)
    source.become(volume_db=0.0, status=SourceStatus.LOST, sentence="the sound server went away")
    pictures.take("lost", seconds=1.0)
    source.lose(48_000 * 4)
    source.become(status=SourceStatus.RUNNING, sentence=None)
    play(noise(6.0, seed=2, level_dbfs=-16.0))
    conductor.say("there is no input called gone; choose another")
    pictures.take("back", seconds=1.0)
    conductor.quit()


def _play(pictures: Pictures, source: FakeSource, samples: Any) -> None:
    """Bring it, faster than it plays."""
    for at in range(0, len(samples), 4800):
        source.bring(samples[at : at + 4800])
        pictures.go_on(0.02)


def played_set(pictures: Pictures) -> None:
    """A set: the demo played out, its minute and all of it, in a low window."""
    conductor, window = pictures.conductor, pictures.window
    window.resize(1280, 800)
    conductor.choose_arrangement("set")
    conductor.begin("demo")
    while conductor.session.timeline.slots < LEAP_S * 10.0:
        pictures.go_on(0.2)
    pictures.take("set", seconds=2.0)
    conductor.going.choose_view("session")
    pictures.take("set-session")
    window.resize(960, 540)
    pictures.take("set-low")
    conductor.quit()


def booth(pictures: Pictures, source: FakeSource) -> None:
    """What calls in a set: an over, a louder tune, something that clipped before us, silence."""
    conductor = pictures.conductor
    pictures.window.resize(1280, 800)
    conductor.choose_arrangement("set")
    conductor.going.choose_view("session")
    conductor.begin("system")
    pictures.go_on(0.5)
    _play(pictures, source, noise(30.0, seed=1, level_dbfs=-18.0))
    _play(pictures, source, noise(8.0, seed=2, level_dbfs=-8.5))
    pictures.take("set-over", seconds=0.3)
    _play(pictures, source, noise(20.0, seed=3, level_dbfs=-18.0))
    watch = conductor.session.set_watch
    watch._jumps.jump = Jump(at_s=30.0, size_db=1.6, told_s=watch.now.seconds)
    _play(pictures, source, noise(1.0, seed=4, level_dbfs=-18.0))
    pictures.take("set-jump", seconds=2.5)
    watch._jumps.jump = None
    _play(pictures, source, np.clip(noise(8.0, seed=5, level_dbfs=-16.0), -0.3, 0.3))
    pictures.take("set-clipped", seconds=2.5)
    _play(pictures, source, np.zeros((5 * 48_000, 2), np.float32))
    pictures.take("set-silent", seconds=0.5)
    source.become(volume_db=-12.0)
    pictures.take("set-volume", seconds=1.0)
    conductor.of_set.ask()
    pictures.take("set-mixer", conductor.of_set.page)
    conductor.of_set.page.reject()
    source.become(volume_db=0.0, status=SourceStatus.LOST, sentence="the input was unplugged; plug it in")
    pictures.take("set-lost", seconds=4.0)
    conductor.quit()


def ears(pictures: Pictures) -> None:
    """Hearing: nothing known, a wide setup, a calibrated one, and the page."""
    conductor = pictures.conductor
    session, desk = conductor.session, conductor.hearing
    _some_days()
    conductor.choose_arrangement("hearing")
    conductor.window.resize(1280, 800)
    conductor.begin("demo")
    pictures.until(lambda: session.timeline.slots > LEAP_S * 10)
    pictures.take("hearing-none", seconds=1.0)
    rule = desk.rule
    session.follow_ear(unknown("small speakers", "monitors", date="2026-03-01"), rule)
    pictures.take("hearing-wide", seconds=4.0)
    made = Calibration(
        setup="closed headphones", feeds="headphones", kind="computed", full_scale_db=104.0, plus_db=4.0,
        date="2026-03-01",
    )  # fmt: skip
    desk.setups = (made,)
    session.follow_ear(made, rule)
    pictures.take("hearing-headphones", seconds=14.0)
    pictures.take("hearing-page", page_of(desk), seconds=0.3)
    desk.page.reject()
    conductor.quit()


def _some_days() -> None:
    """Something heard, and something entered, in the days before."""
    from meter.exposure.heard import HeardMinute
    from meter.exposure.rules import Part
    from meter.exposure.store import ExposureStore
    from meter.journal.store import open_journal

    now_s = time.time()
    heard = [
        HeardMinute(
            minute=int(now_s // 60.0) - 1440 * day - at,
            setup="closed headphones",
            seconds=60.0,
            a_power=0.002 * (1 + day % 3),
            c_power=0.01,
            c_peak=0.9,
            full_scale_db=104.0,
            plus_db=4.0,
            is_narrow=True,
        )
        for day, length in ((1, 90), (2, 200), (4, 45), (5, 160))
        for at in range(length)
    ]
    with open_journal() as journal:
        store = ExposureStore(journal)
        store.write("before", heard)
        if not store.entries():
            gig = Part(level_dba=94.0, hours=1.5, uncertainty_db=3.0)
            store.add(gig, began_unix_s=now_s - 3.2 * 86_400.0, note="gig, second room")


def page_of(desk: Any) -> Any:
    """The page of what ears get, open."""
    desk.ask()
    return desk.page


def main() -> int:
    """Take them all."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    os.environ["LEADLINE_HOME"] = tempfile.mkdtemp()
    app = shell._application()

    def none(spec: str) -> Any:
        raise SourceError("no sound server answers; start PulseAudio or PipeWire, or listen to the demo")

    wanted = sys.argv[2:] or ["demo", "files", "states", "set", "hearing", "delivery"]
    for theme in ("light", "dark", "night"):
        if "demo" in wanted:
            demo(Pictures(folder, app, lambda spec: DemoSource(pace=Leap()), theme))
        if "hearing" in wanted:
            ears(Pictures(folder, app, lambda spec: DemoSource(pace=Leap()), theme))
        if "set" in wanted:
            played_set(Pictures(folder, app, lambda spec: DemoSource(pace=Leap()), theme))
            source = FakeSource(spec="system", name="what the system plays")
            booth(Pictures(folder, app, lambda spec, source=source: source, theme), source)
        if "files" in wanted:
            os.environ["LEADLINE_HOME"] = tempfile.mkdtemp()  # with nothing on the shelf
            files(Pictures(folder, app, none, theme))
        if "delivery" in wanted:
            delivery(Pictures(folder, app, none, theme))
        if "states" in wanted:
            source = FakeSource(spec="system", name="what the system plays")
            states(Pictures(folder, app, none, theme), source)
    return 0


if __name__ == "__main__":
    sys.exit(main())
