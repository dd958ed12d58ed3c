import random

import pytest
from PyQt6.QtCore import Qt

from tests.support.a_finding import a_finding
from ui.findings_list import FINDING, FindingsList


@pytest.fixture
def shown(qtbot):
    made = FindingsList()
    qtbot.addWidget(made)
    made.resize(500, 200)
    return made


def rows(shown):
    return [shown.item(row).data(FINDING) for row in range(shown.count())]


def test_the_newest_stands_on_top_whatever_comes_and_goes(shown):
    drawn = random.Random(5)
    for _ in range(40):
        slots = drawn.sample(range(30), drawn.randrange(12))
        findings = tuple(a_finding(slot, drawn.choice(("over", "gap"))) for slot in slots)
        shown.set_findings(findings)
        assert rows(shown) == sorted(findings, key=lambda one: (one.first_slot, one.kind), reverse=True)


def test_the_chosen_one_stays_chosen_while_it_grows_and_others_come(shown):
    told = []
    shown.finding_chosen.connect(told.append)
    first = a_finding(10)
    shown.set_findings((first,))
    shown.choose(first)
    grown = a_finding(10, last_slot=90, text="longer")
    shown.set_findings((a_finding(2), grown, a_finding(50)))
    assert shown.chosen == grown
    assert told == [first], "that it grows is no choice"


def test_a_row_is_as_high_as_its_text_and_says_its_place(shown):
    shown.set_findings((a_finding(727, text="short"), a_finding(1, text="long " * 60)))
    short, long = (shown.sizeHintForIndex(shown.model().index(row, 0)).height() for row in (0, 1))
    assert long > 3 * short
    assert shown.item(0).data(Qt.ItemDataRole.AccessibleTextRole) == "1:12.7: Short"


def test_what_is_written_in_a_terminal_is_said_as_a_key_of_the_window(shown):
    text = "the two cancel; `leadline together KICK SUB` says what helps"
    shown.set_findings((a_finding(10, text=text),))
    spoken = shown.item(0).data(Qt.ItemDataRole.AccessibleTextRole)
    assert spoken.endswith("The two cancel; “Kick and sub together” (Ctrl+K) says what helps")


def test_under_its_place_stands_which_pass_it_is_in_and_when_that_was(shown):
    bare = a_finding(727, text="short")
    shown.set_findings((bare,))
    low = shown.sizeHintForIndex(shown.model().index(0, 0)).height()
    shown.where = lambda finding: ["pass 2", "23:41:07"]
    shown.set_findings(())
    shown.set_findings((bare,))
    assert shown.item(0).data(Qt.ItemDataRole.AccessibleTextRole) == "1:12.7, pass 2, 23:41:07: Short"
    assert shown.sizeHintForIndex(shown.model().index(0, 0)).height() > low + 20


def test_slight_ones_are_shown_when_they_are_asked_for(shown, qtbot):
    heavy, slight = a_finding(10), a_finding(50, severity=0.005)
    told = []
    shown.counted.connect(lambda *counts: told.append(counts))
    shown.set_findings((heavy, slight))
    assert rows(shown) == [heavy]
    shown.show_slight(True)
    assert rows(shown) == [slight, heavy]
    shown.show_slight(False)
    assert rows(shown) == [heavy]
    assert told == [(1, 1), (2, 1), (1, 1)]


@pytest.mark.parametrize("kind", ["gap", "silence", "something new"])
def test_other_kinds_are_never_slight(kind):
    assert not a_finding(10, kind, severity=0.0).is_slight
