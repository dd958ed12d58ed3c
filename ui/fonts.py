"""The letters of the window: B612, made to be read across a cockpit; shipped beside this module.

All its digits are equally wide, so a number that changes does not move its neighbours. Glyphs of
verdicts are drawn as paths (`ui.verdict_glyph`), not taken from it.

Source
------
B612 1.008, SIL Open Font License 1.1 (fonts/OFL.txt).
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import Final

from PyQt6.QtGui import QFont, QFontDatabase, QFontMetricsF

FAMILY: Final = "B612"

FILES: Final = ("B612-Regular.otf", "B612-Bold.otf")

SMALLEST_PX: Final = 11
"""Nothing in the window is written smaller."""


def why_missing() -> str | None:
    """One sentence when a file of the font is not there; needs no application."""
    folder = files("ui") / "fonts"
    gone = [name for name in FILES if not (folder / name).is_file()]
    if not gone:
        return None
    return (
        f"the window's font is not complete: {', '.join(gone)} expected in {folder}; "
        "install Leadline again, or take a whole checkout"
    )


def load() -> str | None:
    """Make the font known to the application; one sentence when that fails, and why.

    May be called again; needs an application.
    """
    missing = why_missing()
    if missing is not None or FAMILY in QFontDatabase.families():
        return missing
    folder = files("ui") / "fonts"
    for name in FILES:
        if QFontDatabase.addApplicationFontFromData((folder / name).read_bytes()) < 0:
            return (
                f"the window's font cannot be used: {name} in {folder} is no font that Qt reads; "
                "install Leadline again, or take a whole checkout"
            )
    return None


@lru_cache(maxsize=64)
def font(size_px: int, *, is_bold: bool = False) -> QFont:
    """The font in one size; not to be changed.

    Parameters
    ----------
    size_px : int
        Size of the letters in logical pixels, at least `SMALLEST_PX`.
    """
    made = QFont(FAMILY)
    made.setPixelSize(max(size_px, SMALLEST_PX))
    made.setBold(is_bold)
    made.setKerning(False)  # kerning would move digits
    made.setHintingPreference(QFont.HintingPreference.PreferNoHinting)
    return made


@lru_cache(maxsize=64)
def metrics(size_px: int, *, is_bold: bool = False) -> QFontMetricsF:
    """The measures of `font`."""
    return QFontMetricsF(font(size_px, is_bold=is_bold))
