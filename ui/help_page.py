"""The help page: every key, and what the words in the window mean."""

from __future__ import annotations

from typing import Final

from meter.arrangements import ARRANGEMENTS
from ui.page import Page

KEYS: Final[tuple[tuple[str, str, str], ...]] = (
    ("source", "S", "choose what is listened to"),
    ("target", "T", "choose what it is held against"),
    ("open_files", "Ctrl+O", "open files: each is measured and drawn as one pass"),
    ("open_folder", "Ctrl+Shift+O", "open a folder, with all in it"),
    ("earlier", "J", "earlier passes: those that the journal has from before"),
    ("hold", "H", "measure nothing until you go on"),
    ("mark", "M", "end the pass here; the next begins"),
    ("view_60", "1", "show the last 60 seconds"),
    ("view_600", "2", "show the last 10 minutes"),
    ("view_pass", "3", "show the whole pass"),
    ("view_session", "4", "show the whole session, hours if need be"),
    *(
        (f"arrange_{one.key}", f"Ctrl+{number}", f"the lanes of {one.title}: {one.what}")
        for number, one in enumerate(ARRANGEMENTS, 1)
    ),
    ("passes", "P", "go to the list of passes, files and the shelf"),
    ("lanes", "L", "go to the lanes"),
    ("findings", "F", "go to the findings"),
    ("live", "Escape", "forget the chosen part; without one, back to what sounds now"),
    ("fold", "B", "fold a pass by 16-bar phrases, with its tempo"),
    ("keep", "K", "keep the shown file, or pass, on the shelf as a reference"),
    ("undo", "Ctrl+Z", "take back what the line on top says was done, while it stands there"),
    ("delivery", "E", "will the shown file clip once encoded, and how loud will it play back"),
    ("low_end", "Ctrl+L", "pitch, key, kick and crossover of the low end, and what mono would cost"),
    ("together", "Ctrl+K", "a kick and a sub from their two stems: do they add or cancel, what would help"),
    ("mixer", "Ctrl+M", "where your mixer reads 0; levels of a set are told against it"),
    ("ears", "Ctrl+E", "what this source feeds, by which rule exposure is told, entries, reminders"),
    ("large", "R", "flags that can be read across the room, or not"),
    ("compact", "C", "the small form that stays on top, and back"),
    ("theme", "D", "light, dark, night for a dark room, or as the system has it"),
    ("caution", "F2", "about listening level"),
    ("help", "F1", "this page"),
    ("quit", "Ctrl+Q", "end"),
)
"""Name of the action, its key, what it does."""

KEY_OF: Final = {name: key for name, key, _ in KEYS}

IN_THE_LANES: Final = (
    ("Left, Right", "move the cursor; with Ctrl ten times as far, with Shift choose a part"),
    ("Home, End", "to the beginning, and to the end"),
    ("+ and −", "look closer, and from further away; the wheel does it too"),
    ("drag", "choose a part: it is measured again, and its numbers stand under the passes"),
)

IN_THE_LIST: Final = (
    ("Enter", "draw this pass or file; compare what is drawn with this reference, equally loud"),
    ("Delete", "take this reference off the shelf, or this file out of the list"),
)

WORDS: Final = (
    ("pass", "one play-through. It ends after 5 s under −60 LUFS, when sound was lost, or with a mark"),
    ("target", "the limits that you chose; the pale fairway in a lane. Your own stand in targets.toml"),
    ("M, S", "loudness of the last 400 ms and of the last 3 s, in LUFS"),
    ("I", "integrated loudness: of the whole pass, without its quiet parts"),
    ("loudest 30 s", "what the floor hears at the drop"),
    ("true peak", "the highest point of the curve between the samples, in dBTP"),
    ("shelf", "the passes that you keep as references: their numbers and spectrum, never their sound"),
    ("PLR", "peak to loudness: the highest true peak over I, in LU"),
    ("LRA", "loudness range: how far quiet and loud parts lie apart, in LU"),
    ("r", "correlation of left and right: 1 the same, 0 unlike, −1 against each other"),
    ("time over", "in a set: the seconds with an over, or a clipped wave, of all seconds"),
    ("room", "in a set: from the highest true peak of the last minute to your ceiling"),
    ("my 0", "in a set: the level here at which your mixer reads 0"),
    ("lost in mono", "what a band loses when left and right are summed"),
    ("over, under, inside", "how a value lies to the target; no word means there is no limit"),
)


def html() -> str:
    """The page."""
    keys = "".join(_row(key, what) for _, key, what in KEYS)
    lanes = "".join(_row(key, what) for key, what in IN_THE_LANES)
    listed = "".join(_row(key, what) for key, what in IN_THE_LIST)
    words = "".join(_row(word, what) for word, what in WORDS)
    return (
        "<h2>Help</h2>"
        "<p>Drop files or folders on the window, or open them: each is measured from beginning to end, and "
        "drawn as one pass. What sounds is measured on meanwhile.</p>"
        "<p>The lanes share one time axis; the newest is at the right. "
        "Choose a finding, or a point in a lane: its numbers stand under the passes.</p>"
        f"<h3>Keys</h3><table cellspacing='4'>{keys}</table>"
        f"<h3>In the lanes</h3><table cellspacing='4'>{lanes}</table>"
        f"<h3>In the list of passes</h3><table cellspacing='4'>{listed}</table>"
        f"<h3>Words</h3><table cellspacing='4'>{words}</table>"
    )


def _row(key: str, what: str) -> str:
    return f"<tr><td style='white-space:nowrap; padding-right:18px'><b>{key}</b></td><td>{what}</td></tr>"


def page() -> Page:
    """The help page."""
    return Page("Help", html())
