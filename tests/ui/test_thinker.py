from meter.targets import value_text
from tests.support.session import Session
from tests.support.sound import noise
from ui.thinker import Thinker


def line_of(thinker):
    (one,) = thinker.thoughts.passes
    return one.text


def exact(session):
    """What the list says when it says all that is known."""
    summary = session.worker.live_pass.summary()
    return f"I {value_text(summary.integrated_lufs)}  TP {value_text(summary.true_peak_dbtp)}"


def heard():
    """A session that a thinker has seen, and some that came since: too little to sum up again."""
    session = Session()
    thinker = Thinker(session.timeline, None, 120.0)
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
