"""The proof: how rows are judged, shared, and joined by a second opinion."""

import dataclasses
import math
import sys
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from meter import proof
from meter.standards import cases
from meter.standards.cases import Case, Signal
from meter.standards.ebu_tech_3341_v4_2023 import stereo

RATE_HZ = 48_000


def make_case(**changed):
    plain = Case(
        name="row",
        document="document",
        clause="clause",
        parts=cases.one(lambda: Signal(samples=np.zeros((10, 2)), rate_hz=RATE_HZ)),
        reads="I",
        take=cases.integrated,
        unit="LUFS",
        expected=-23.0,
        low=-23.1,
        high=-22.9,
        ideal=-22.99,
        ideal_within=0.02,
        ideal_status="CALC",
    )
    return dataclasses.replace(plain, **changed)


class Reads:
    """A meter that reads one value whatever comes, and remembers that it was asked."""

    def __init__(self, lufs):
        self.lufs = lufs
        self.signals = []

    def __call__(self, signal):
        self.signals.append(signal)
        return self

    def summary(self):
        return SimpleNamespace(integrated_lufs=self.lufs, why_null={})

    def glances(self):
        return []


@pytest.mark.parametrize(
    ("values", "verdict"),
    [
        pytest.param([-22.99], "inside", id="the ideal"),
        pytest.param([-22.97, -23.01], "inside", id="both edges of the ideal"),
        pytest.param([-22.99, -22.965], "missed: the ideal", id="one of two off the ideal"),
        pytest.param([-22.99, -22.89], "missed: the limit", id="one of two over the limit"),
        pytest.param([-22.99, -math.inf], "missed: the limit", id="silence"),
        pytest.param([-22.99, math.nan], "missed: no reading", id="one is missing"),
        pytest.param([], "missed: no reading", id="none"),
    ],
)
def test_every_value_has_to_be_within_the_limit_and_near_the_ideal(values, verdict):
    # The edges themselves are inside; the binary fraction of 0.02 is a little short of it.
    assert proof.judge(make_case(ideal_within=0.02 + 1e-9), np.array(values)).verdict == verdict


def test_the_limit_itself_is_inside():
    case = make_case(ideal=None, ideal_within=None)
    assert proof.judge(case, np.array([case.low, case.high])).verdict == "inside"


def test_silence_where_silence_is_expected_is_inside():
    silent = make_case(expected=-math.inf, low=-math.inf, high=-math.inf, ideal=-math.inf)
    assert proof.judge(silent, np.array([-math.inf])).verdict == "inside"
    assert proof.judge(silent, np.array([-70.0])).verdict == "missed: the limit"


def test_the_value_shown_is_the_one_furthest_from_the_ideal():
    row = proof.judge(make_case(), np.array([-22.99, -23.005, -22.98]))
    assert (row.read, row.lowest, row.highest) == (-23.005, -23.005, -22.98)


def test_a_proof_passes_only_with_rows_and_without_a_miss():
    inside, missed = (proof.judge(make_case(), np.array([value])) for value in (-22.99, -20.0))
    made = [
        proof.Proof(rows=rows, seconds=0.0, no_second_opinion=None)
        for rows in ((inside,), (inside, missed), ())
    ]
    assert [(each.passed, each.missed) for each in made] == [(True, 0), (False, 1), (False, 0)]


def test_rows_that_share_a_signal_measure_it_once():
    shared = make_case(name="first")
    rows = [shared, dataclasses.replace(shared, name="second"), make_case(name="third")]
    meter = Reads(-22.99)
    assert [row.case.name for row in proof.prove_cases(rows, measured_by=meter)] == [
        "first",
        "second",
        "third",
    ]
    assert len(meter.signals) == 2


def test_a_row_that_breaks_is_a_miss_and_the_rows_after_it_are_still_read(caplog):
    def breaks(parts):
        raise ValueError("shapes")

    rows = [make_case(name="first", take=breaks), make_case(name="second")]
    verdicts = [row.verdict for row in proof.prove_cases(rows, measured_by=Reads(-22.99))]
    assert verdicts == ["missed: stopped by ValueError, please report it", "inside"]
    (record,) = caplog.records
    assert record.getMessage() == "the row first could not be read; please report this"
    assert record.exc_info is not None
    caplog.clear()


def test_each_part_of_a_signal_gets_a_meter_of_its_own():
    parts = [Signal(samples=np.zeros((10, 2)), rate_hz=RATE_HZ) for _ in range(3)]
    meter = Reads(-22.99)
    (row,) = proof.prove_cases([make_case(parts=lambda: iter(parts))], measured_by=meter)
    assert meter.signals == parts
    assert row.verdict == "inside"


def test_progress_is_told_before_each_signal():
    told = []
    rows = [make_case(name="first"), make_case(name="second")]
    list(proof.prove_cases(rows, measured_by=Reads(-23.0), progress=lambda *news: told.append(news)))
    assert told == [(0, 2, "first"), (1, 2, "second")]


def test_the_chain_is_looked_at_every_50_ms_to_the_end():
    signal = Signal(samples=stereo("12").samples[: RATE_HZ // 2 + 100], rate_hz=RATE_HZ)
    glances = proof.ByChain(signal).glances()
    ends = [glance.fed_s for glance in glances]
    assert ends == pytest.approx([*(0.05 * k for k in range(1, 11)), 0.5 + 100 / RATE_HZ])
    assert glances[0].reading.momentary_lufs is None
    assert glances[-1].reading.momentary_lufs is not None


@pytest.fixture
def excerpt(tmp_path):
    """A second of a tune's length that is not whole 100 ms: level steps, FLAC of 24 bits."""
    samples = stereo("12").samples[: round(7.35 * RATE_HZ)]
    path = tmp_path / "steps.flac"
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
    return path


def test_the_second_opinion_is_the_value_to_meet_over_whole_100_ms(excerpt):
    (case,) = proof.second_opinions([excerpt])
    (part,) = case.parts()
    assert part.samples.shape == (round(7.3 * RATE_HZ), 2)
    assert case.name == "demo steps"
    assert "pyloudnorm" in case.document
    assert "DeMan" in case.document
    assert (case.expected - case.low, case.high - case.expected) == pytest.approx((0.02, 0.02))
    # Tech 3341 case 12 is constant in M, so I of any length of it is -22.9604 (CALC).
    assert case.expected == pytest.approx(-22.9604, abs=0.002)


def test_the_second_opinion_is_met_by_the_chain(excerpt):
    (row,) = proof.prove_cases(list(proof.second_opinions([excerpt])))
    assert row.verdict == "inside"


@pytest.fixture
def few(monkeypatch):
    """One published row instead of all of them."""
    one = [case for case in proof.published_cases() if case.name == "3341-15"]
    monkeypatch.setattr(proof, "published_cases", lambda: tuple(one))


def test_without_the_library_the_proof_says_that_there_was_no_second_opinion(few, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyloudnorm", None)
    made = proof.prove()
    assert [row.case.name for row in made.rows] == ["3341-15"]
    assert made.no_second_opinion == "pyloudnorm is not installed; 'pip install pyloudnorm' brings it"


def test_without_the_excerpts_the_proof_says_so(few, monkeypatch):
    monkeypatch.setattr("demo_signals.excerpts", lambda: [])
    assert proof.prove().no_second_opinion == "the demo excerpts are not there; reinstall leadline"


def test_the_excerpts_stand_in_the_same_table(few, monkeypatch, excerpt):
    monkeypatch.setattr("demo_signals.excerpts", lambda: [excerpt])
    made = proof.prove()
    assert [row.case.name for row in made.rows] == ["3341-15", "demo steps"]
    assert made.no_second_opinion is None
    assert made.passed
