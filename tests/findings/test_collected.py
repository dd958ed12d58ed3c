import re

from meter.chain import Chain
from meter.findings.collected import MOST, MOST_GROUPS, Collected
from meter.findings.found import Found
from tests.support.session import pass_of


def found(kind, first, last, *, live_pass, severity=1.0, run=0, **more):
    return Found(
        kind=kind,
        live_pass=live_pass,
        pass_at_s=0.0,
        run=run,
        first_slot=first,
        last_slot=last,
        at_slot=first,
        severity=severity,
        **more,
    )


def a_pass(number=1):
    return pass_of(Chain(rate_hz=8000, channels=2), number=number)


def test_only_so_many_passes_are_kept_and_the_oldest_are_forgotten():
    collected = Collected(lambda _: 1)
    passes = [a_pass(number + 1) for number in range(MOST_GROUPS + 10)]
    for live_pass in passes:
        for at in range(0, 80 * (MOST + 3), 80):
            collected.put(found("silence", at, at + 10, live_pass=live_pass, severity=at))
    told = collected.findings([])
    numbers = {one.pass_number for one in told}
    assert len(numbers) == MOST_GROUPS
    assert max(numbers) == len(passes)
    assert len(told) == MOST * MOST_GROUPS


def test_what_lies_near_grows_together_but_not_over_the_end_of_a_run():
    live_pass = a_pass()
    for run, expected in ((0, [(0, 30)]), (1, [(0, 10), (20, 30)])):
        collected = Collected(lambda _: 1)
        collected.put(found("over", 0, 10, live_pass=live_pass, peak_dbtp=0.5))
        collected.put(found("over", 20, 30, live_pass=live_pass, peak_dbtp=1.5, run=run))
        told = collected.findings([])
        assert [(one.first_slot, one.last_slot) for one in told] == expected
        assert told[-1].at_slot == 20


def test_a_loss_that_is_one_sided_is_left_out_where_the_one_sided_stretch_is_told():
    live_pass, collected = a_pass(), Collected(lambda _: 1)
    sums = (1.0, 0.01, 0.1)
    collected.put(found("one-sided", 0, 50, live_pass=live_pass, sums=sums))
    low = {"subject": "below_crossover", "limit_db": -1.0}
    collected.put(found("lost in mono", 5, 45, live_pass=live_pass, sums=sums, **low))
    assert [one.kind for one in collected.findings([])] == ["one-sided"]
    collected.put(found("lost in mono", 300, 345, live_pass=live_pass, sums=sums, **low))
    assert [one.kind for one in collected.findings([])] == ["one-sided", "lost in mono"]


def test_what_comes_late_to_an_earlier_pass_is_told_too():
    collected, first, second = Collected(lambda _: 1), a_pass(1), a_pass(2)
    for kind in ("silence", "over"):
        collected.put(found(kind, 0, 10, live_pass=first))
        collected.put(found(kind, 500, 510, live_pass=second))
        told = collected.findings([])
    assert [(one.kind, one.pass_number) for one in told] == [
        ("over", 1),
        ("silence", 1),
        ("over", 2),
        ("silence", 2),
    ]


def test_what_still_goes_on_is_said_anew_each_time():
    live_pass, collected = a_pass(), Collected(lambda _: 1)
    for last in (40, 50):
        open_now = found("one-sided", 0, last, live_pass=live_pass, sums=(1.0, 0.01, 0.1), is_open=True)
        (told,) = collected.findings([open_now])
        assert re.match(rf"since 0:00.0, for {last / 10} s so far", told.text)
