"""One who is told of something by the engine, and who may fail."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Final, Generic, TypeVar

LOG: Final = logging.getLogger("meter.engine")

News = TypeVar("News")


class Listener(Generic[News]):
    """Calls what it was given; that it failed is logged once, and never ends the measuring.

    Parameters
    ----------
    what : str
        What is told, for the log.
    call : callable or None

    Attributes
    ----------
    failures : int
        How often it failed.
    """

    def __init__(self, what: str, call: Callable[[News], None] | None) -> None:
        self._what, self._call = what, call
        self.failures = 0

    def tell(self, news: News) -> None:
        """Tell it; never raises."""
        if self._call is None:
            return
        try:
            self._call(news)
        except Exception:
            self.failures += 1
            if self.failures == 1:
                LOG.exception("what listens to %s failed; later failures are only counted", self._what)
