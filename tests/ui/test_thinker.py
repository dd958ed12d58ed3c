from meter.low_end.picture import Piece
from meter.low_end.settings import LowEndSettings
from meter.targets import value_text
from tests.low_end.test_heard_findings import notes
from tests.support.bass import low_end_of
from tests.support.session import Session
from tests.support.sound import noise
from ui.thinker import Thinker


def line_of(thinker):
    (one,) = thinker.thoughts.passes
    return one.text


def exact(session):
    """What the list says when it says all that is known."""
    summary = session.worker.live_pass.summary()
    return f"I {value_text(summary.integrated_lufs)}  TP {value_text(summary.true_peak_dbtp, plus=True)}"


def heard():
    """A session that a thinker has seen, and some that came since: too little to sum up again."""
    session = Session()
    thinker = Thinker(session.timeline, None)
    session.hear(noise(30.0, seed=1, level_dbfs=-20.0))
    thinker.think()
    session.hear(noise(1.0, seed=1, level_dbfs=-8.0))
    thinker.think()
    assert exact(session) not in line_of(thinker)
    return session, thinker


def test_when_nothing_comes_the_line_of_the_open_pass_is_made_exact():
    session, thinker = heard()
    thinker.think(exactly=True)
    assert line_of(thinker) == f"1  0:31  {exact(session)}"
    assert thinker.thoughts.passes[0].last_slot is None


def test_the_end_of_the_source_is_news_although_no_sounding_came_with_it():
    session, thinker = heard()
    slots = session.timeline.slots
    session.finish()
    assert session.timeline.slots == slots
    thinker.think()
    assert line_of(thinker) == f"1  0:31  {exact(session)}"
    assert thinker.thoughts.passes[0].last_slot == slots


def test_without_news_nothing_is_thought_of_again():
    _, thinker = heard()
    before = thinker.thoughts
    thinker.think()
    assert thinker.thoughts is before


def test_a_pass_that_has_ended_says_what_changed_and_what_may_not_belong_to_it():
    session = Session()
    thinker = Thinker(session.timeline, None)
    for level_dbfs in (-20.0, -20.0, -18.5):
        session.hear(noise(8.0, seed=1, level_dbfs=level_dbfs))
        session.hear(0.0 * noise(5.5, seed=1, level_dbfs=-20.0))
        thinker.think()
    first, _, third = thinker.thoughts.passes
    assert first.change == "" and third.change.startswith("+1.5 LU, true peak +1.5 dB")
    session.hear(noise(2.0, seed=2, level_dbfs=-12.0))
    thinker.think()
    assert thinker.thoughts.passes[3].change == "", "not while it goes on"


def test_a_loop_left_in_a_pass_is_suggested_once_it_has_ended():
    session = Session()
    thinker = Thinker(session.timeline, None)
    tune, bars = noise(20.0, seed=1, level_dbfs=-24.0), noise(8.0, seed=2, level_dbfs=-14.0)
    for part in (tune, bars, bars, bars, bars, bars, noise(10.0, seed=3, level_dbfs=-24.0)):
        session.hear(part)
    thinker.think()
    assert not [one for one in thinker.thoughts.findings if one.kind == "suggestion"]
    session.hear(0.0 * noise(6.0, seed=1, level_dbfs=-20.0))
    thinker.think()
    (one,) = (one for one in thinker.thoughts.findings if "4 more times" in one.text)
    assert one.text.startswith("perhaps not part of this pass: ") and "I = " in one.text
    assert one.pass_number == 1 and 250 <= one.first_slot <= 300


def test_what_the_low_end_of_a_pass_tells_is_among_the_findings_and_follows_the_settings():
    session, pieces = Session(), []
    thinker = Thinker(session.timeline, None, low_end=lambda: tuple(pieces))
    tune = notes(0, 0, 45, 0, 0)
    session.hear(tune)
    thinker.think()
    assert "out of tune" not in {one.kind for one in thinker.thoughts.findings}
    ring_number = session.source.ring.number
    pieces.append(Piece(low_end=low_end_of(tune), first_slot=0.0, ring_number=ring_number))
    thinker.think()
    assert "out of tune" in {one.kind for one in thinker.thoughts.findings}
    thinker.set_low_end(LowEndSettings(key="B♭ minor"))
    thinker.think()
    assert "outside the key" in {one.kind for one in thinker.thoughts.findings}
