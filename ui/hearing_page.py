"""The small page of hearing: what the source feeds, the rule, what was heard elsewhere, reminders."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from PyQt6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from meter.exposure.ear_text import calibration_text
from meter.exposure.rules import RULES
from ui.parts import number_box, ok_and_cancel
from ui.style import SMALL_PX, SPACE_PX, label

if TYPE_CHECKING:
    from meter.exposure.calibration import Calibration

WIDTH_PX = 690
NOT_SAID = "nothing is said: nothing is counted"
NO_SETUP = (
    "There is no setup yet. In a terminal, leadline hearing --help shows how to make one: from the data of "
    "your headphones, or with a sound level meter and a noise that is played only when you ask for it."
)
COUNTED = (
    "Levels are counted only while sound is heard, of the louder ear. What you heard elsewhere belongs to "
    "the same ears: enter it here, with how sure you are."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the page asks for."""

    setup: str
    rule: str
    reminds: bool
    break_min: float


class HearingPage(QDialog):
    """Asks for it.

    Parameters
    ----------
    setups : sequence of Calibration
        Those that the journal knows.
    wanted : Wanted
        As it is now.
    """

    def __init__(
        self, setups: Sequence[Calibration], wanted: Wanted, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("What your ears get · Leadline")
        self.setup = QComboBox()
        self.setup.setAccessibleName("What this source feeds")
        self.setup.addItem(NOT_SAID, "")
        for one in setups:
            self.setup.addItem(calibration_text(one), one.setup)
        self.setup.setCurrentIndex(max(self.setup.findData(wanted.setup), 0))
        self.setup.setEnabled(bool(setups))
        self.setup.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.rule = QComboBox()
        self.rule.setAccessibleName("Rule of exposure")
        for rule in RULES.values():
            self.rule.addItem(f"{rule.title}, {rule.document}", rule.key)
        self.rule.setCurrentIndex(max(self.rule.findData(wanted.rule), 0))
        self.rule.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.reminds = QCheckBox("Say when 50, 80 and 100 % may be used (80, 85, 87 dBA in the EU)")
        self.reminds.setChecked(wanted.reminds)
        self.break_min = number_box(0.0, 240.0, wanted.break_min, " min", "Break after", decimals=0)
        self.break_min.setSpecialValueText("never")
        self.note = QLineEdit()
        self.note.setPlaceholderText("gig, rehearsal, …")
        self.note.setAccessibleName("What was heard elsewhere")
        self.hours = number_box(0.0, 24.0, 0.0, " h", "Hours")
        self.level = number_box(40.0, 130.0, 98.0, " dBA", "About how loud")
        self.plus = number_box(0.0, 20.0, 3.0, " dB", "How sure")
        self.plus.setPrefix("± ")
        form = QFormLayout()
        form.setSpacing(SPACE_PX)
        form.addRow("This source &feeds", self.setup)
        if not setups:
            form.addRow("", _words(NO_SETUP))
        form.addRow("&Rule", self.rule)
        form.addRow("", self.reminds)
        form.addRow("A &break is due after", self.break_min)
        entry = QHBoxLayout()
        for part, stretch in ((self.note, 1), (self.hours, 0), (self.level, 0), (self.plus, 0)):
            entry.addWidget(part, stretch)
        form.addRow("Heard elsewhere today", entry)
        form.addRow("", _words(COUNTED))
        layout = QVBoxLayout(self)
        layout.setContentsMargins(*[2 * SPACE_PX] * 4)
        layout.setSpacing(2 * SPACE_PX)
        layout.addLayout(form)
        layout.addWidget(ok_and_cancel(self))
        self.setMinimumWidth(WIDTH_PX)

    def found(self) -> Wanted:
        """What was asked for."""
        return Wanted(
            setup=str(self.setup.currentData()),
            rule=str(self.rule.currentData()),
            reminds=self.reminds.isChecked(),
            break_min=self.break_min.value(),
        )

    def entry(self) -> tuple[str, float, float, float] | None:
        """What was heard elsewhere: note, hours, level in dBA, how far it may be off; None for nothing."""
        if self.hours.value() <= 0.0:
            return None
        note = self.note.text().strip() or "elsewhere"
        return note, self.hours.value(), self.level.value(), self.plus.value()


def _words(text: str) -> QWidget:
    made = label(text, size_px=SMALL_PX, is_soft=True)
    made.setWordWrap(True)
    return made
