"""What all tests share.

- ``LEADLINE_HOME`` is a new folder for every test: the settings and journal of whoever runs
  the tests are never touched.
- ``music`` lists real audio, from Debian packages (tests/packages.txt).
- A test marked ``long`` runs only with ``--long``; one that needs packages
  (``@pytest.mark.packages("pulseaudio")``, or the fixture ``music``) fails with the name of a
  missing one, and off Debian is not run but listed.
- One marked ``realtime`` waits for real sound: tests/run lets it run alone, the others in
  several processes.
- No test may skip: what could not run must be seen.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest

from tests.support import debian

ROOT = Path(__file__).resolve().parents[1]
CAPTURE = ROOT / "tests/capture"

# Before any test imports numpy; the launcher does the same.
os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

# Started in the background, a shell lets its children ignore Ctrl-C, which some tests send to theirs.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# The same examples at every run, on a slow machine too.
SHORT = hypothesis.settings(derandomize=True, deadline=None, database=None)
hypothesis.settings.register_profile("leadline", SHORT)
hypothesis.settings.register_profile("leadline long", SHORT, max_examples=400)

NOT_RUN = pytest.StashKey[list[str]]()


# --- fixtures -------------------------------------------------------------------------------


@pytest.fixture(autouse=True)
def leadline_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """An empty folder for settings, journal and logs."""
    home = tmp_path_factory.mktemp("home")
    before = os.environ.get("LEADLINE_HOME")
    os.environ["LEADLINE_HOME"] = str(home)
    yield home
    if before is None:
        del os.environ["LEADLINE_HOME"]
    else:
        os.environ["LEADLINE_HOME"] = before


@pytest.fixture
def forked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Workers of `check` are forked; the watchdog of the tests, a thread, would make them start anew."""
    import multiprocessing

    from meter import check_run

    monkeypatch.setattr(check_run, "_context", lambda: multiprocessing.get_context("fork"))


@pytest.fixture(scope="session")
def root() -> Path:
    """The project's folder."""
    return ROOT


@pytest.fixture(scope="session")
def music() -> tuple[Path, ...]:
    """Files of real audio, sorted: whole tracks, loops, single hits; 44.1 and 48 kHz."""
    names = debian.music_packages()
    if gone := debian.missing(names):
        pytest.fail(debian.sentence_about(gone), pytrace=False)
    files = tuple(debian.audio_files(names))
    assert files, f"no audio file in {', '.join(names)}"
    return files


# --- which tests run ------------------------------------------------------------------------


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also the tests that take minutes")
    parser.addoption("--only", choices=("realtime", "rest"), help="what waits for real sound, or the rest")


def pytest_configure(config: pytest.Config) -> None:
    hypothesis.settings.load_profile("leadline long" if config.getoption("--long") else "leadline")


def packages_of(item: pytest.Item) -> tuple[str, ...]:
    """The Debian packages that a test needs."""
    named = tuple(name for mark in item.iter_markers("packages") for name in mark.args)
    return named + (debian.music_packages() if "music" in getattr(item, "fixturenames", ()) else ())


def is_put_off(item: pytest.Item, *, long: bool, only: str | None) -> bool:
    """Whether a test is for another run."""
    is_capture = item.path.is_relative_to(CAPTURE) and item.get_closest_marker("anytime") is None
    is_realtime = item.get_closest_marker("realtime") is not None or is_capture
    is_other = only is not None and is_realtime != (only == "realtime")
    return is_other or (item.get_closest_marker("long") is not None and not long)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    no_debian = not debian.is_debian()
    unrunnable = [item for item in items if no_debian and packages_of(item)]
    long, only = config.getoption("--long"), config.getoption("--only")
    put_off = [item for item in items if is_put_off(item, long=long, only=only)]
    config.stash[NOT_RUN] = [item.nodeid for item in unrunnable if item not in put_off]
    if left_out := {*unrunnable, *put_off}:
        config.hook.pytest_deselected(items=list(left_out))
        items[:] = [item for item in items if item not in left_out]


def pytest_runtest_setup(item: pytest.Item) -> None:
    if gone := debian.missing(packages_of(item)):
        pytest.fail(debian.sentence_about(gone), pytrace=False)


def pytest_sessionfinish(session: pytest.Session) -> None:
    if hasattr(session.config, "workeroutput"):  # one of several processes: the first one tells
        session.config.workeroutput["not_run"] = session.config.stash.get(NOT_RUN, [])


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """All processes have collected the same tests."""
    node.config.stash[NOT_RUN] = getattr(node, "workeroutput", {}).get("not_run", [])


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    if hasattr(config, "workeroutput"):
        return
    not_run = config.stash.get(NOT_RUN, [])
    if not_run:
        terminalreporter.section("not run: they need Debian packages, and this is no Debian")
        for nodeid in not_run:
            terminalreporter.line(nodeid)
    if listing := os.environ.get("LEADLINE_NOT_RUN"):
        with Path(listing).open("a", encoding="utf-8") as listed:
            listed.writelines(f"{nodeid}\n" for nodeid in not_run)


# --- no skips -------------------------------------------------------------------------------


def _forbid_skip(report: Any) -> None:
    if report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{report.nodeid} skipped itself: what cannot run here must fail and say why"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[Any]:
    report = yield
    _forbid_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector) -> Iterator[Any]:
    report = yield
    _forbid_skip(report)
    return report
