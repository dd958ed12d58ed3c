"""The small page of a set: where the user's mixer reads 0."""

from __future__ import annotations

import math
from collections.abc import Callable

from PyQt6.QtWidgets import (
    QDialog,
    QFormLayout,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from meter.set_settings import MIXER_ZERO_RANGE_DBFS, SetSettings
from ui.parts import number_box, ok_and_cancel
from ui.style import SMALL_PX, SPACE_PX, label

WIDTH_PX = 460


class SetPage(QDialog):
    """Asks for it, or takes it from what sounds now.

    Parameters
    ----------
    settings : SetSettings
    level_dbfs : callable
        The highest peak of the last 3 s; None where nothing sounds.
    """

    def __init__(
        self, settings: SetSettings, level_dbfs: Callable[[], float | None], parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("My mixer's 0 · Leadline")
        self._level_dbfs = level_dbfs
        self.zero = number_box(
            *MIXER_ZERO_RANGE_DBFS, settings.mixer_zero_dbfs, " dBFS", "My mixer's 0"
        )
        self.take = QPushButton("Take what sounds now")
        self.take.setToolTip("The highest peak of the last 3 s, while your mixer reads 0")
        self.take.clicked.connect(self._take)
        form = QFormLayout()
        form.setSpacing(SPACE_PX)
        form.addRow("My mixer's &0 is at", self.zero)
        form.addRow("", self.take)
        words = (
            "Let your mixer's meter read 0 with a loud part of a tune, and take it.\n"
            "Until then it is −18 dBFS, where broadcasters put it."
        )
        self.note = label(words, size_px=SMALL_PX, is_soft=True)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(*[2 * SPACE_PX] * 4)
        layout.setSpacing(2 * SPACE_PX)
        layout.addLayout(form)
        layout.addWidget(self.note)
        layout.addWidget(ok_and_cancel(self))
        self.setMinimumWidth(WIDTH_PX)

    def _take(self) -> None:
        level_dbfs = self._level_dbfs()
        lowest, highest = MIXER_ZERO_RANGE_DBFS
        if level_dbfs is not None and lowest <= level_dbfs <= highest:
            self.zero.setValue(level_dbfs)
            return
        came = "nothing sounds" if level_dbfs is None or math.isinf(level_dbfs) else f"{level_dbfs:.1f} dBFS"
        wanted = f"{lowest:g} and {highest:g} dBFS"
        text = f"Now {came}.\nPlay something whose peaks lie between {wanted}."
        self.note.setText(text.replace("-", "−"))

    def found(self) -> SetSettings:
        """What was asked for."""
        return SetSettings(mixer_zero_dbfs=round(self.zero.value(), 1))
