"""The Debian packages that tests need: which they are, which are missing, what is in them."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

_TESTS: Final = Path(__file__).resolve().parents[1]
LISTS: Final = (_TESTS / "packages.txt", _TESTS / "packages-long.txt")
AUDIO_SUFFIXES: Final = frozenset({".flac", ".mp3", ".ogg", ".wav"})


def is_debian() -> bool:
    """Whether this system has Debian's packages (the launcher asks the same)."""
    return all(shutil.which(name) for name in ("dpkg-query", "apt-get"))


def listed() -> dict[str, str]:
    """Every package of the lists with its reason."""
    lines = [line for file in LISTS if file.exists() for line in file.read_text("utf-8").splitlines()]
    rows = (line.partition("#") for line in lines)
    return {name.strip(): reason.strip() for name, _, reason in rows if name.strip()}


def music_packages() -> tuple[str, ...]:
    """The packages that are there for their audio files."""
    return tuple(name for name, reason in listed().items() if reason.startswith("music:"))


def missing(names: Iterable[str]) -> list[str]:
    """Those of the packages that are not installed; an unlisted name is a mistake in a test."""
    names = list(names)
    if unlisted := [name for name in names if name not in listed()]:
        raise AssertionError(f"{', '.join(unlisted)}: write it in tests/packages.txt, with its reason")
    return [name for name in names if not _is_installed(name)]


def sentence_about(names: Iterable[str]) -> str:
    """What to do about missing packages."""
    names = " ".join(names)
    return f"Debian package missing: {names}; type: apt-get install -y --no-install-recommends {names}"


def audio_files(names: Iterable[str]) -> Iterator[Path]:
    """Audio files of installed packages, in the order of their paths."""
    listing = subprocess.run(["dpkg", "-L", *names], capture_output=True, text=True, check=True).stdout
    paths = {Path(line) for line in listing.splitlines() if Path(line).suffix in AUDIO_SUFFIXES}
    return iter(sorted(path for path in paths if path.is_file()))


def _is_installed(name: str) -> bool:
    found = subprocess.run(
        ["dpkg-query", "-W", "-f", "${db:Status-Status}", name], capture_output=True, text=True
    )
    return found.stdout == "installed"
