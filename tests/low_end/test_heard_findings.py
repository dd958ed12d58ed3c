"""What is found in the low end of passes that are heard live."""

from copy import copy

import numpy as np

from meter.low_end.findings import low_end_findings
from meter.low_end.heard_findings import MOST_PASSES, SETTLED_SLOTS, HeardFindings
from meter.low_end.judged import judged_by, part_of
from meter.low_end.settings import LowEndSettings
from meter.pass_cutter import PassCutter
from tests.support.bass import RATE_HZ, both, low_end_of, note
from tests.support.session import Session

PLAIN = LowEndSettings()


def notes(*cents, hz=55.0):
    """Notes of a second, with rests between them, each so far off."""
    rng = np.random.default_rng(5)
    rest = np.zeros(RATE_HZ // 4)
    parts = [np.concatenate([0.4 * note(hz * 2 ** (off / 1200), 1.0, rng), rest]) for off in cents]
    return both(np.concatenate(parts)).astype(np.float32)


def silence(seconds):
    return np.zeros((round(seconds * RATE_HZ), 2), np.float32)


class Heard:
    """A session, what a ring brought, and what is found in its low end."""

    def __init__(self, settings=PLAIN, *, is_set=False):
        self.session, self.cutter, self.found = Session(), PassCutter(), HeardFindings()
        self.cutter.is_set = is_set
        self.sound, self.settings = silence(0.0), settings

    def hear(self, *parts):
        for part in parts:
            self.sound = np.concatenate([self.sound, part])
            self.session.hear(part)
        return self

    def look(self, **how):
        timeline = self.session.timeline
        self.cutter.take(timeline)
        low_ends = {self.session.source.ring.number: low_end_of(self.sound, self.settings)}
        self.found.take(self.cutter.passes, timeline, low_ends, self.settings, **how)
        return self.found.findings


def plain(findings):
    return [(one.kind, one.text, one.first_slot, one.last_slot, one.at_s) for one in findings]


def test_a_pass_from_the_beginning_has_the_findings_of_a_file():
    tune = notes(0, 0, 0, 45, 0, 0)
    live = Heard().hear(tune, silence(16.0)).look()
    of_file = low_end_findings(low_end_of(tune), PLAIN)
    assert [one.kind for one in of_file] == ["out of tune"]
    assert plain(live) == plain(of_file)


def test_a_later_pass_is_judged_by_itself_and_lies_where_it_is_on_the_timeline():
    first, second = notes(0, 0, 0, 0, 0, 0), notes(30, 30, 30, 30, 75, 30)
    heard = Heard().hear(first, silence(8.0), second, silence(16.0))
    (one,) = heard.look()
    begins = len(first) / RATE_HZ + 8.0
    assert one.kind == "out of tune" and "45 cents sharp to the rest of the sub" in one.text
    in_list_s = heard.cutter.passes[1].first_slot / 10.0
    assert abs(one.at_s - (begins + 5.0 - in_list_s)) < 0.05, "in seconds of the pass in the list"
    assert 5.0 < one.at_s < 5.5 and one.text.find(" from 0:05.3 to ") > 0
    assert abs(one.first_slot - 10 * (begins + 5.0)) <= 1


def test_after_a_mark_the_times_are_those_of_the_new_pass():
    heard = Heard().hear(notes(0, 0, 0, 0))
    heard.session.command("mark")
    heard.hear(notes(0, 0, 45, 0, 0), silence(16.0))
    (one,) = heard.look()
    assert abs(one.at_s - 2.5) < 0.15 and one.pass_number == 2
    assert abs(one.first_slot - 75) <= 1


def test_a_mark_while_held_moves_no_finding():
    heard = Heard().hear(notes(0, 0, 0, 0))
    heard.session.command("hold", True)
    heard.hear(silence(2.0))
    heard.session.command("mark")
    heard.hear(silence(1.0))
    heard.session.command("hold", False)
    heard.hear(notes(0, 0, 45, 0, 0), silence(16.0))
    (one,) = heard.look()
    assert abs(one.at_s - 2.5) < 0.15 and one.pass_number == 2


def test_a_set_leaves_out_what_was_held():
    heard = Heard(is_set=True).hear(notes(0, 0, 0, 0))
    heard.session.command("hold", True)
    heard.hear(notes(45))
    heard.session.command("hold", False)
    heard.hear(notes(0, 0), silence(2.0))
    assert heard.look() == ()
    assert len(heard.cutter.passes) == 1


def test_other_settings_judge_again_what_was_found():
    heard = Heard().hear(notes(0, 0, 0, 0), silence(16.0))
    assert heard.look() == ()
    heard.settings = LowEndSettings(key="B♭ minor")
    assert {one.kind for one in heard.look()} == {"outside the key"}
    heard.settings = PLAIN
    assert heard.look() == ()


def test_a_pass_that_goes_on_is_looked_at_again_only_when_it_has_grown(monkeypatch):
    looks = []
    plain_look = HeardFindings._look
    monkeypatch.setattr(HeardFindings, "_look", staticmethod(lambda *a: looks.append(a) or plain_look(*a)))
    heard = Heard().hear(notes(0, 0, 0, 0))
    heard.look()
    heard.hear(notes(0))
    heard.look()
    assert len(looks) == 1
    heard.look(exactly=True)
    assert len(looks) == 2
    heard.hear(notes(0, 0, 0, 0))
    heard.look()
    assert len(looks) == 3


def test_of_a_pass_that_has_settled_nothing_more_is_looked_at(monkeypatch):
    heard = Heard().hear(notes(0, 0, 45, 0, 0), silence(6.0 + SETTLED_SLOTS / 10))
    assert len(heard.look()) == 1
    monkeypatch.setattr(HeardFindings, "_look", staticmethod(lambda *a: 1 / 0))
    heard.hear(silence(1.0))
    assert len(heard.look(exactly=True)) == 1


def test_only_so_many_passes_are_kept():
    heard = Heard().hear(notes(0, 0, 45, 0, 0), silence(16.0))
    heard.look()
    (one,) = heard.cutter.passes
    heard.cutter.passes += [copy(one) for _ in range(MOST_PASSES + 5)]
    for number, again in enumerate(heard.cutter.passes):
        again.number = number
    assert len(heard.look()) == MOST_PASSES


def test_a_low_end_judged_by_another_pitch_is_the_one_that_would_have_been_measured():
    tune, other = notes(0, 20, 40, 45, 50, 10), LowEndSettings(a4_hz=452.0, key="F minor")
    measured, judged = low_end_of(tune, other), judged_by(low_end_of(tune), other)
    assert judged.sub_notes == measured.sub_notes and judged.tuning_cents == measured.tuning_cents
    assert judged.sub_notes != low_end_of(tune).sub_notes


def test_a_part_holds_what_lies_inside_and_counts_from_its_beginning():
    tune = notes(0, 0, 0, 0, 0)
    low_end = low_end_of(tune)
    part = part_of(low_end, PLAIN, [(2.4, 5.0)], zero_s=2.5, rate_hz=RATE_HZ)
    assert [abs(one.at_s - at_s) < 0.03 for one, at_s in zip(part.sub_notes, (0.0, 1.25), strict=True)]
    assert part.mono is not None and np.abs(part.mono.at_s - [-0.5, 0.5, 1.5]).max() < 0.01
    assert part.kicks is not None and all(0.0 <= hit.at_s < 2.5 for hit in part.kicks.hits)
    empty = part_of(low_end, PLAIN, [(50.0, 60.0)], zero_s=50.0, rate_hz=RATE_HZ)
    assert empty.sub_notes == () and empty.mono is None and low_end_findings(empty, PLAIN) == ()
