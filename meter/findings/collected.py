"""Keeps the worst five findings of each kind in each pass, and joins those that lie together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Final

from meter.findings.amounts import amount_of, is_said_already
from meter.findings.found import Found
from meter.findings.records import KINDS, Finding
from meter.findings.spots import NEAR_SLOTS as NEAR_OVERS_SLOTS
from meter.findings.words import text_of
from meter.music_sentences import is_one_sided

MOST: Final = 5
"""Of each kind in each pass."""

MOST_GROUPS: Final = 40
"""Passes whose findings are kept; of more, the oldest are forgotten."""

NEAR_SLOTS: Final = {**dict.fromkeys(KINDS, 30), "over": NEAR_OVERS_SLOTS, "silence": 0, "gap": 50}
"""What of one kind lies nearer than this is one finding."""

TOGETHER: Final = 0.5
"""A finding of which so much lies inside another that says the same is left out."""

Group = tuple[int, int]
"""A live pass, which its timeline keeps, and the number of the listed one: 0 for gaps, between two."""

Key = tuple[int, int, str]
"""The same, and the kind."""


def finding_of(found: Found) -> Finding:
    """What is told of it; the sentence is made once, and anew while it goes on."""
    if found.text is None or found.is_open:
        found.text = text_of(found)
    amount, unit = amount_of(found)
    return Finding(
        kind=found.kind,
        first_slot=found.first_slot,
        last_slot=found.last_slot,
        at_slot=found.at_slot,
        at_s=found.at_s,
        pass_number=found.live_pass.number,
        severity=found.severity,
        is_open=found.is_open,
        text=found.text,
        until_s=found.until_s,
        amount=amount,
        unit=unit,
    )


class Collected:
    """What was found so far, and may still grow.

    Parameters
    ----------
    listed_number : callable
        The listed pass that had begun before a slot. Asked late: where something was found, it is
        known only some soundings later that a pass had begun.
    begins_s : callable, optional
        Where that pass begins on the timeline, None before the first: times are told from there.
    """

    def __init__(
        self,
        listed_number: Callable[[int], int],
        begins_s: Callable[[int], float | None] = lambda _: None,
    ) -> None:
        self._listed_number, self._begins_s = listed_number, begins_s
        self._kept: dict[Key, list[Found]] = {}
        self._done: dict[Group, list[Finding]] = {}  # of those to which nothing can come any more
        self._fresh: dict[tuple[str, str], Found] = {}

    def put(self, found: Found) -> None:
        """Take one in, to the one before when that lies near."""
        before = self._fresh.get((found.kind, found.subject))
        if before is not None and before.is_near(found, NEAR_SLOTS[found.kind]):
            before.join(found)
            return
        if before is not None:
            self._keep(before)
        self._fresh[found.kind, found.subject] = found

    def _group(self, found: Found) -> Group:
        listed = 0 if found.kind == "gap" else self._listed_number(found.last_slot)
        return id(found.live_pass), listed

    def _keep(self, found: Found) -> None:
        group = self._group(found)
        key = (*group, found.kind)
        self._kept[key] = _worst([*self._kept.get(key, ()), found])
        self._done.pop(group, None)
        passes = list(dict.fromkeys(key[:2] for key in self._kept))
        if len(passes) > MOST_GROUPS:
            oldest = passes[0]
            self._kept = {key: kept for key, kept in self._kept.items() if key[:2] != oldest}
            self._done.pop(oldest, None)

    def findings(self, open_now: Iterable[Found]) -> tuple[Finding, ...]:
        """All of it with what is not over yet, in the order of the timeline."""
        growing: dict[Group, list[Found]] = defaultdict(list)
        for found in [*self._fresh.values(), *open_now]:
            growing[self._group(found)].append(found)
        kept: dict[Group, list[Found]] = defaultdict(list)
        for key, some in self._kept.items():
            kept[key[:2]] += some
        shown: list[Finding] = []
        for group in dict.fromkeys([*kept, *growing]):
            if group in growing:
                shown += self._told([*kept[group], *growing[group]])
                self._done.pop(group, None)
            else:
                if group not in self._done:
                    self._done[group] = self._told(kept[group])
                shown += self._done[group]
        shown.sort(key=_order)
        return tuple(shown)

    def _told(self, group: list[Found]) -> list[Finding]:
        chosen = _chosen(group)
        for found in chosen:
            begins_s = self._begins_s(found.last_slot)
            if begins_s != found.begins_s:
                found.begins_s, found.text = begins_s, None
        return [finding_of(found) for found in chosen]


def _order(finding: Finding) -> tuple[int, int, str]:
    return finding.first_slot, KINDS.index(finding.kind), finding.text


def _worst(all_of_a_kind: list[Found]) -> list[Found]:
    return sorted(all_of_a_kind, key=lambda found: -found.severity)[:MOST]


def _tell_of_both(found: Found, told: list[Found]) -> None:
    """Let the one that is told name both channels, where both are off to the same side."""
    for other in told:
        is_alike = other.kind == found.kind and other.subject[-1] == found.subject[-1]
        if is_alike and not other.is_on_both and found.share_inside(other) >= TOGETHER:
            other.is_on_both, other.text = True, None


def _chosen(group: list[Found]) -> list[Found]:
    """The worst of each kind, without what another one says already."""
    by_severity = sorted(group, key=lambda found: -found.severity)
    sides = [found for found in by_severity if found.kind == "one-sided"]
    told: list[Found] = []
    for found in by_severity:
        if found.kind == "lost in mono":
            others = [one for one in told if one.kind == found.kind and one.subject != found.subject]
            if is_one_sided(*found.sums):
                others += sides
            if any(found.share_inside(other) >= TOGETHER for other in others):
                continue
        if not is_said_already(found, told, group):
            told.append(found)
        elif found.kind == "dc":
            _tell_of_both(found, told)
    return [found for kind in KINDS for found in _worst([one for one in told if one.kind == kind])]
