"""What is to be kept on the shelf or compared with it, before it is measured for that."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from meter.check import Checked
from meter.chosen_part import part_of
from meter.shelf import measure
from meter.shelf.reference import Reference
from meter.soundings import Soundings, Summary
from meter.timeline import Timeline


@dataclass(frozen=True, kw_only=True, eq=False)
class Subject:
    """A measured file, or a pass that was heard.

    Attributes
    ----------
    name : str
    path : str or None
        Of the file.
    rows : ndarray of `SOUNDING`
    summary : Summary
    """

    name: str
    path: str | None
    rows: Soundings
    summary: Summary

    @classmethod
    def of_checked(cls, checked: Checked, *, heard: str = "") -> Subject:
        """A file, measured with its soundings; or a pass that was heard, by its name."""
        assert checked.soundings is not None, "it is measured with keep_soundings"
        return cls(
            name=heard or Path(checked.name).stem,
            path=None if heard else checked.name,
            rows=checked.soundings,
            summary=checked.summary,
        )

    def __eq__(self, other: object) -> bool:
        """Whether it is the same measurement."""
        if not isinstance(other, Subject):
            return NotImplemented
        return (self.name, self.path, self.summary) == (other.name, other.path, other.summary)

    def __hash__(self) -> int:
        """By its name."""
        return hash((self.name, self.path))

    def reference(self) -> Reference:
        """What is kept of it; of a file its loudest 30 s are read for their spectrum.

        Raises
        ------
        AudioFileError
            The file cannot be read any more.
        UsageError
            It is silent.
        """
        if self.path is None:
            return measure.of_live_pass(self.rows, self.summary, name=self.name)
        return measure.of_measured(self.path, self.summary, self.rows, name=self.name)


def subject_of_slots(timeline: Timeline, first_slot: int, last_slot: int, *, name: str) -> Subject | None:
    """A pass of a timeline; None where nothing was measured."""
    part = part_of(timeline, first_slot, last_slot)
    if part is None:
        return None
    return Subject(name=name, path=None, rows=part.rows, summary=part.summary())
