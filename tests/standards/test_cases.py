"""Every published case through the chain: within the limit of its document, and near the ideal."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from meter.proof import ByChain, prove_cases, published_cases
from meter.standards import cases
from meter.standards.cases import Glance

CASES = published_cases()


def test_the_table_holds_every_case_that_can_be_made_here():
    names = {case.name.split()[0] for case in CASES}
    # EBU Tech 3341 v4: 7 and 8, and Tech 3342 v4: 5 and 6, are programmes that may not be passed on.
    assert {f"3341-{number}" for number in (*range(1, 7), *range(9, 24))} <= names
    assert {f"3342-{number}" for number in (1, 2, 3, 4)} <= names
    assert {"2217", "1770"} <= names


def test_no_two_cases_have_the_same_name():
    names = [case.name for case in CASES]
    assert sorted(names) == sorted(set(names))


def test_the_limits_are_those_of_the_documents():
    widths = {
        (case.document.split(" (")[0], case.unit): (case.expected - case.low, case.high - case.expected)
        for case in CASES
        if math.isfinite(case.expected)
    }
    # Tech 3341 Table 1 and 2.6, Tech 3342, BS.2217-2: SEEN-S. BS.1770-5 states no tolerance: ours.
    assert widths == {
        ("EBU Tech 3341 v4", "LUFS"): pytest.approx((0.1, 0.1)),
        ("EBU Tech 3341 v4", "LU"): pytest.approx((0.1, 0.1)),
        ("EBU Tech 3341 v4", "dBTP"): pytest.approx((0.4, 0.2)),
        ("EBU Tech 3342 v4", "LU"): pytest.approx((1.0, 1.0)),
        ("ITU-R BS.2217-2", "LUFS"): pytest.approx((0.1, 0.1)),
        ("ITU-R BS.1770-5", "LUFS"): pytest.approx((0.1, 0.1)),
    }


def test_the_ideals_are_asked_for_as_nearly_as_the_project_promises():
    asked = {
        (case.name.split("-")[0].split()[0], case.unit, case.rate_hz): case.ideal_within for case in CASES
    }
    assert asked[("3341", "LUFS", 48_000)] == 0.02
    assert asked[("3341", "LU", 48_000)] == 0.02
    assert asked[("3342", "LU", 48_000)] == 0.05
    assert asked[("2217", "LUFS", 48_000)] == 0.02
    assert all(case.ideal is not None for case in CASES if case.rate_hz == 48_000)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_chain_reads_what_the_document_expects(case):
    (row,) = prove_cases([case], measured_by=ByChain)
    assert row.verdict == "inside", f"read {row.lowest} to {row.highest}, ideal {case.ideal}"


class Shown:
    """Something measured, made by hand."""

    def __init__(self, *, numbers=(), shown=()):
        self._summary = SimpleNamespace(why_null={}, **dict(numbers))
        self._glances = [
            Glance(fed_s=fed_s, reading=SimpleNamespace(momentary_lufs=lufs, momentary_max_lufs=lufs))
            for fed_s, lufs in shown
        ]

    def summary(self):
        return self._summary

    def glances(self):
        return self._glances


def test_a_value_that_is_missing_is_no_number_and_silence_is_minus_infinity():
    assert math.isnan(cases.value_of(None, "not yet"))
    assert math.isnan(cases.value_of(None, None))
    assert cases.value_of(None, "silence") == -math.inf
    assert cases.value_of(-math.inf, "silence") == -math.inf
    assert cases.value_of(-23.0, None) == -23.0


def test_every_part_gives_its_own_value():
    parts = [Shown(numbers={"integrated_lufs": lufs}) for lufs in (-23.0, -24.0)]
    assert cases.integrated(parts).tolist() == [-23.0, -24.0]


def test_every_look_after_the_start_counts_and_none_before():
    part = Shown(shown=[(0.95, -60.0), (1.0, -50.0), (1.05, -23.0), (1.1, -22.0)])
    assert cases.momentary_shown(after_s=1.0)([part]).tolist() == [-23.0, -22.0]


def test_a_look_without_a_value_is_not_passed_over():
    part = Shown(shown=[(1.05, -23.0), (1.1, None)])
    assert np.isnan(cases.momentary_shown(after_s=1.0)([part])[1])


def test_no_look_at_all_is_no_reading():
    assert np.isnan(cases.momentary_shown(after_s=1.0)([Shown(shown=[(0.5, -23.0)])])).all()


def test_a_climb_is_read_when_each_segment_ends_as_the_distance_from_its_level():
    part = Shown(shown=[(0.4, -99.0), (0.8, -37.5), (1.2, -99.0), (1.6, -37.0)])
    take = cases.momentary_climb(segment_s=0.8, levels_lufs=(-38.0, -37.0))
    assert take([part]).tolist() == [0.5, 0.0]
