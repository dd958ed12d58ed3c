"""`leadline dose`: what it prints, and what it refuses."""

from __future__ import annotations

import json

import pytest

from meter.cli import main
from meter.dose_arguments import RULE_KEYS
from meter.exposure.rules import RULES


def run(capsys, *arguments):
    status = main(["dose", *arguments])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def as_json(capsys, *arguments):
    status, out, _ = run(capsys, *arguments, "--json")
    assert status == 0
    return json.loads(out)


def test_the_command_line_knows_every_rule():
    assert set(RULE_KEYS) == set(RULES)


def test_a_night_in_the_booth_by_niosh(capsys):
    """NIOSH 98-126 §1.1: 4 h at 97 dBA are 800 %, 2 h at 88 dBA 50 %."""
    made = as_json(capsys, "97:4", "88:2", "--rule", "niosh")
    assert made["type"] == "dose"
    assert made["rule"] == "niosh"
    assert made["dose_pct"] == pytest.approx(850.0)
    assert made["level_dba"] == pytest.approx(94.294, abs=0.001)
    assert made["hours_left"] == 0.0
    assert made["is_estimate"] is True


def test_time_left_is_told_at_the_last_level_or_at_the_one_that_is_asked_for(capsys):
    """ITU-T H.870: 100 % is 80 dBA for 40 h."""
    made = as_json(capsys, "80:10", "90:1")
    assert made["rule"] == "who-adult"
    assert made["dose_pct"] == pytest.approx(50.0)
    assert made["at_dba"] == 90.0
    assert made["hours_left"] == pytest.approx(2.0)
    assert as_json(capsys, "80:10", "90:1", "--at", "80")["hours_left"] == pytest.approx(20.0)


def test_the_directive_gives_levels_and_no_percentage(capsys):
    made = as_json(capsys, "80:5", "86:2", "95:0:45", "--rule", "eu-day")
    assert made["dose_pct"] is None
    assert made["why_null"]["dose_pct"] == "does not apply"
    assert made["level_dba"] == pytest.approx(86.61, abs=0.005)
    assert set(made["hours_left_to_dba"]) == {"80", "85", "87"}
    assert made["hours_left"] == made["hours_left_to_dba"]["85"] == 0.0
    assert made["hours_left_to_dba"]["87"] > 0.0


@pytest.mark.parametrize("text", ["98+-3:4", "98±3:4", "98+/-3:4"])
def test_a_level_with_an_interval_gives_one_and_time_left_uses_its_upper_end(capsys, text):
    made = as_json(capsys, text, "--at", "80")
    low, high = made["dose_interval_pct"]
    assert low < made["dose_pct"] < high
    assert high / low == pytest.approx(10.0**0.6)
    # Half an hour at 98 ± 3 dBA: what is left is what 101 dBA leaves.
    half = as_json(capsys, text.replace(":4", ":0:15"), "--at", "80")
    assert half["hours_left"] == pytest.approx(as_json(capsys, "101:0:15", "--at", "80")["hours_left"])


def test_what_a_rule_does_not_count_is_null_and_says_why(capsys):
    made = as_json(capsys, "70:3", "--rule", "niosh")
    assert made["level_dba"] is None
    assert made["hours_left"] is None
    assert set(made["why_null"]) == {"level_dba", "hours_left"}


def test_the_text_names_the_rule_and_the_cautions(capsys):
    for rule in ("who-adult", "who-sensitive", "niosh", "eu-day", "eu-week"):
        status, out, _ = run(capsys, "97:4", "116:0:01", "--rule", rule)
        assert status == 0
        assert out.splitlines()[0].endswith(("day", "7 days", "week"))
        for word in ("estimate", "sound level meter", "medical", "law", "Ringing", "stop", "sub bass"):
            assert word in out, word
        assert "safe" not in out.lower()
        assert ("over 115 dBA" in out) == (rule == "niosh")
        assert ("%" in out) == (not rule.startswith("eu"))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["97"], "expected a level in dBA and hours, such as 97:4"),
        (["x:4"], "x:4 came"),
        (["97:-1"], "97:-1 came"),
        (["200:1"], "the level is 200 dBA, but 0 to 140 dBA were expected"),
        (["97:1.5:30"], "expected whole hours before the minutes"),
        (["97:25", "--rule", "niosh"], "25 h came, but the rule niosh is about a day"),
        (["97:169"], "169 h came, but the rule who-adult is about 7 days"),
        (["97:1", "--at", "loud"], "--at: the level is loud dBA"),
    ],
)
def test_what_cannot_be_meant_is_one_sentence(capsys, arguments, said):
    status, out, err = run(capsys, *arguments)
    assert status == 2
    assert out == ""
    assert said in err
    assert len(err.strip().splitlines()) == 1
