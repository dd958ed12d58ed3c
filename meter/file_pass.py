"""A checked file as the one pass that it is: a timeline for the lanes, its findings, its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from meter.capture.records import SourceInfo
from meter.check import Checked
from meter.findings.records import ENCODED, Finding
from meter.journal.replay import timeline_of
from meter.live_pass import LivePass
from meter.soundings import Summary
from meter.suggested import as_findings
from meter.targets import Target, judge
from meter.timeline import Timeline

if TYPE_CHECKING:
    from meter.delivery.encoded import Encoded
    from meter.low_end.settings import LowEndSettings


@dataclass(frozen=True, kw_only=True, eq=False)
class FilePass:
    """A file that was measured from beginning to end.

    Attributes
    ----------
    checked : Checked
        With its soundings.
    live_pass : LivePass
        The same in the form of a pass that was heard.
    findings : tuple of Finding
        Also what may not belong to the tune; in the order of time.
    heard : str
        Of a pass out of the journal, which is drawn like a file: when and from where; "" for a file.
    found_then : tuple of Finding or None
        Of one that was made coarser in the journal: what was found when it was heard, which stands whatever
        target it is held against; None where it is looked for.
    """

    checked: Checked
    live_pass: LivePass
    findings: tuple[Finding, ...]
    heard: str = ""
    found_then: tuple[Finding, ...] | None = None

    @cached_property
    def timeline(self) -> Timeline:
        """For the lanes; slot 0 is the beginning of the file. Made when it is first asked for."""
        return timeline_of(self.live_pass)

    @property
    def title(self) -> str:
        """The name of the file without its folder, or what the pass is."""
        return self.heard or Path(self.checked.name).name

    @property
    def loudest_slot(self) -> int:
        """Where its loudest 30 s begin; its beginning where there are none."""
        return round((self.checked.summary.loudest_30s_at_s or 0.0) * 10.0)

    def against(self, target: Target | None) -> FilePass:
        """Held against another target; overs were counted against the limit it was measured with."""
        options = self.checked.options
        if target is options.target:
            return self
        summary = self.checked.summary
        found = self.found_then
        if found is None:
            found = found_in(self.live_pass, summary, target)
        low_end = self.checked.low_end
        if low_end is not None and options.low_end is not None:
            from meter.low_end.findings import low_end_findings

            found = (*found, *low_end_findings(low_end, options.low_end))
        checked = replace(
            self.checked,
            options=replace(options, target=target),
            verdicts={} if target is None or not self.live_pass.has_verdict else judge(target, summary),
            findings=(*found, *_of_encoders(self.checked.encodes)),
        )
        return self._with(checked)

    def low_end_by(self, settings: LowEndSettings) -> FilePass:
        """Its low end, and what is found in it, judged by these; nothing is measured again."""
        checked = self.checked
        if checked.low_end is None or settings == checked.options.low_end:
            return self
        from meter.low_end.findings import LOW_END_KINDS, low_end_findings
        from meter.low_end.judged import judged_by

        low_end = judged_by(checked.low_end, settings)
        plain = tuple(one for one in checked.findings if one.kind not in LOW_END_KINDS)
        return self._with(
            replace(
                checked,
                low_end=low_end,
                options=replace(checked.options, low_end=settings),
                findings=(*plain, *low_end_findings(low_end, settings)),
            )
        )

    def with_encodes(self, encodes: Sequence[Encoded]) -> FilePass:
        """The same, tried with these encoders, in place of others that it was tried with."""
        plain = tuple(one for one in self.checked.findings if one.kind != ENCODED)
        findings = (*plain, *_of_encoders(encodes))
        return self._with(replace(self.checked, encodes=tuple(encodes), findings=findings))

    def _with(self, checked: Checked) -> FilePass:
        made = replace(self, checked=checked, findings=_all_findings(checked, self.live_pass))
        if "timeline" in self.__dict__:
            made.__dict__["timeline"] = self.timeline  # the same sound
        return made


def found_in(live_pass: LivePass, summary: Summary, target: Target | None) -> tuple[Finding, ...]:
    """What is wrong in a whole pass, held against a target."""
    from meter.findings.whole import findings_of

    return findings_of(
        live_pass.store.rows(),
        rate_hz=live_pass.rate_hz,
        channels=live_pass.channels,
        weights=live_pass.weights,
        target=target,
        crossover_hz=live_pass.crossover_hz,
        over_limit_dbtp=live_pass.over_limit_dbtp,
        gaps=summary.gaps,
        info=live_pass.info,
    )


def file_pass_of(checked: Checked) -> FilePass:
    """From what was measured, with its soundings (`Options.keep_soundings`)."""
    rows, summary = checked.soundings, checked.summary
    assert rows is not None, "it is measured with keep_soundings"
    live_pass = LivePass(
        number=1,
        info=SourceInfo(
            spec=f"file:{checked.name}",
            name=Path(checked.name).name,
            rate_hz=int(summary.sample_rate_hz),
            channels=summary.channels,
            is_lossy=checked.is_lossy,
        ),
        rate_hz=int(summary.sample_rate_hz),
        channels=summary.channels,
        weights=checked.weights,
        crossover_hz=checked.options.crossover_hz,
        over_limit_dbtp=checked.options.over_limit_dbtp,
        began_unix_s=0.0,
    )
    live_pass.gaps.extend(summary.gaps)
    live_pass.add(rows, is_withheld=False)
    return FilePass(checked=checked, live_pass=live_pass, findings=_all_findings(checked, live_pass))


def _of_encoders(encodes: Sequence[Encoded]) -> tuple[Finding, ...]:
    """What is said of them; it keeps to the ceiling that they were held against."""
    if not encodes:
        return ()
    from meter.delivery.words import encode_findings

    return encode_findings(encodes)


def _all_findings(checked: Checked, live_pass: LivePass) -> tuple[Finding, ...]:
    rows = live_pass.store.rows()
    suggested = as_findings(checked.suggestions, rows, rate_hz=live_pass.rate_hz)
    return tuple(sorted((*checked.findings, *suggested), key=lambda one: one.first_slot))
