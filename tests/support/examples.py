"""How many examples Hypothesis tries of what takes long. conftest.py has it try 100, 400 with --long."""

from __future__ import annotations

from hypothesis import settings


def a_quarter() -> settings:
    """25 examples, with --long 100: where each takes 10 ms or more."""
    return settings(max_examples=settings().max_examples // 4)
