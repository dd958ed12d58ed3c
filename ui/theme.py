"""The colours of the window: chart paper by day, slate in the dark, embers in a booth at night.

Series take the colour-blind-safe set of Okabe and Ito (Color Universal Design, 2008; its purple
darkened on paper), each series has a line style and a label of its own besides. There is no
green, yellow and red for good and bad: a verdict is a glyph and a word.

Every text stands at 4.5:1 or more against what it is written on, every line at 3:1 (WCAG 2.2,
1.4.3 and 1.4.11); a test holds it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QColor, QGuiApplication, QPalette


class Choice(Enum):
    """What the user wants."""

    SYSTEM = "system"
    LIGHT = "light"
    DARK = "dark"
    NIGHT = "night"


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """One set of colours, as #rrggbb.

    Attributes
    ----------
    paper : str
        What everything lies on.
    sheet : str
        What stands out from the paper: pennants, fields, the page of numbers at the cursor.
    ink, ink_soft : str
        Text and its lesser companion.
    edge : str
        Lines that must be seen.
    hairline : str
        Lines that only guide the eye; nothing depends on them.
    fairway, fairway_edge : str
        Where the target lies.
    shade : str
        Where nothing was measured, as hatching on the paper.
    choice : str
        What is chosen: a row of a list, what the pointer is over.
    water : str
    water_share : float
        What lies under a level, or is lost: so much of this colour on what is there.
    series : tuple of str
        In the order of the series of a lane.
    """

    is_dark: bool
    paper: str
    sheet: str
    ink: str
    ink_soft: str
    edge: str
    hairline: str
    fairway: str
    fairway_edge: str
    shade: str
    choice: str
    water: str
    water_share: float
    series: tuple[str, str, str, str]


LIGHT: Final = Theme(
    is_dark=False,
    paper="#f7f1e3",
    sheet="#fffdf6",
    ink="#14304b",
    ink_soft="#4b5d6c",
    edge="#6d7681",
    hairline="#dfd6c2",
    fairway="#e2eeee",
    fairway_edge="#33759b",
    shade="#8c8672",
    choice="#eee4c8",
    water="#8fd0ff",
    water_share=0.2,
    series=("#0072b2", "#d55e00", "#a0488a", "#000000"),
)

DARK: Final = Theme(
    is_dark=True,
    paper="#141b22",
    sheet="#1f2932",
    ink="#ece6d6",
    ink_soft="#a9b4bc",
    edge="#7f8c97",
    hairline="#26313a",
    fairway="#1b323f",
    fairway_edge="#6aa5c4",
    shade="#6f7a83",
    choice="#36404a",
    water="#56b4e9",
    water_share=0.16,
    series=("#56b4e9", "#e69f00", "#cc79a7", "#f0e442"),
)

NIGHT: Final = Theme(
    is_dark=True,
    paper="#0c0302",
    sheet="#190704",
    ink="#f08a4b",
    ink_soft="#c8642f",
    edge="#9c4f26",
    hairline="#2a0e07",
    fairway="#241005",
    fairway_edge="#c46a24",
    shade="#8f4a28",
    choice="#290c07",
    water="#d55e00",
    water_share=0.14,
    series=("#e69f00", "#d55e00", "#ffcf5c", "#a8701c"),
)
"""For dark rooms: orange and vermilion of the same set and two more of their hues, far apart in lightness. It
gives half the light of the dark one and next to no blue, so that the eye stays used to the dark.

Source
------
CIE scotopic luminous efficiency (1951): rods answer blue-green best and red hardly at all. From memory.
"""

THEMES: Final = {Choice.LIGHT: LIGHT, Choice.DARK: DARK, Choice.NIGHT: NIGHT}


def worn(palette: QPalette) -> Theme:
    """The theme that this palette was made of; of a palette that is not ours, light or dark."""
    window = palette.color(QPalette.ColorRole.Window)
    ours = (theme for theme in THEMES.values() if QColor(theme.paper) == window)
    return next(ours, DARK if window.lightnessF() < 0.5 else LIGHT)


def chosen(choice: Choice) -> Theme:
    """The theme for a choice; without a word from the system its palette decides."""
    if choice is not Choice.SYSTEM:
        return THEMES[choice]
    hints = QGuiApplication.styleHints()
    scheme = Qt.ColorScheme.Unknown if hints is None else hints.colorScheme()
    if scheme is Qt.ColorScheme.Unknown:
        return worn(QGuiApplication.palette())
    return DARK if scheme is Qt.ColorScheme.Dark else LIGHT


def palette_of(theme: Theme) -> QPalette:
    """The theme as Qt's own widgets need it."""
    role = QPalette.ColorRole
    colours = {
        role.Window: theme.paper,
        role.WindowText: theme.ink,
        role.Base: theme.sheet,
        role.AlternateBase: theme.paper,
        role.Text: theme.ink,
        role.PlaceholderText: theme.ink_soft,
        role.Button: theme.sheet,
        role.ButtonText: theme.ink,
        role.BrightText: theme.ink,
        role.Highlight: theme.choice,
        role.HighlightedText: theme.ink,
        role.ToolTipBase: theme.sheet,
        role.ToolTipText: theme.ink,
        role.Link: theme.series[0],
        role.LinkVisited: theme.series[2],
        role.Light: theme.sheet,
        role.Midlight: theme.hairline,
        role.Mid: theme.edge,
        role.Dark: theme.edge,
        role.Shadow: theme.ink_soft,
        role.Accent: theme.fairway_edge,
    }
    palette = QPalette()
    for name, colour in colours.items():
        palette.setColor(name, QColor(colour))
    for name in (role.WindowText, role.Text, role.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, name, QColor(theme.ink_soft))
    return palette


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb, 0 to 1.

    Source
    ------
    WCAG 2.2, "relative luminance".
    """
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21.

    Source
    ------
    WCAG 2.2, "contrast ratio".
    """
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def blend(colour: str, ground: str, share: float) -> str:
    """A colour laid over another: 0 = the ground, 1 = the colour."""
    mixed = (
        round(share * int(colour[k : k + 2], 16) + (1.0 - share) * int(ground[k : k + 2], 16))
        for k in (1, 3, 5)
    )
    return "#" + "".join(f"{part:02x}" for part in mixed)
