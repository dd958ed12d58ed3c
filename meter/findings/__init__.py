"""What is wrong in the music, found while it plays: one sentence each, with its place."""

from meter.findings.finder import Finder
from meter.findings.records import KINDS, Finding

__all__ = ["KINDS", "Finder", "Finding"]
