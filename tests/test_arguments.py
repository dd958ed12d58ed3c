"""What is meant by the arguments that several commands take."""

import argparse

import pytest

from meter.arguments import add_crossover, crossover_from, pair_from
from meter.errors import UsageError


@pytest.mark.parametrize(("text", "pair"), [("3,4", (3, 4)), (" 2 , 1 ", (2, 1)), ("100,7", (100, 7))])
def test_a_pair_is_read(text, pair):
    assert pair_from(text) == pair


@pytest.mark.parametrize(
    "text", ["", "3", "3,", "0,1", "1,1", "-1,2", "1,2,3", "a,b", "1.5,2", "٣,٤", "9" * 5000 + ",1"]
)
def test_what_is_no_pair_is_refused(text):
    with pytest.raises(
        UsageError, match="expected two different channels counted from 1, such as --channels 3,4"
    ):
        pair_from(text)


@pytest.mark.parametrize("text", ["", "x", "nan", "inf", "-90", "39.9", "300.1"])
def test_what_is_no_crossover_is_refused(text):
    with pytest.raises(UsageError, match="expected a frequency of 40 to 300 Hz"):
        crossover_from(text)


def test_a_crossover_is_read():
    assert [crossover_from(text) for text in ("40", "90.5", "3e2")] == [40.0, 90.5, 300.0]


def test_without_a_crossover_it_is_the_one_of_the_chain():
    from meter.chain import DEFAULT_CROSSOVER_HZ

    parser = argparse.ArgumentParser()
    add_crossover(parser)
    assert crossover_from(parser.parse_args([]).crossover) == DEFAULT_CROSSOVER_HZ
