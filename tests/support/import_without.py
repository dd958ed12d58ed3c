"""Imports every module under a package while some other packages cannot be imported.

A program of its own, run in a fresh interpreter: ``import_without.py meter PyQt6,pyqtgraph``.
It prints the modules that it imported, one a line.
"""

from __future__ import annotations

import importlib
import importlib.abc
import importlib.machinery
import pkgutil
import sys
from collections.abc import Iterator, Sequence


class Refusal(importlib.abc.MetaPathFinder):
    """Stands before all other finders and refuses some packages by name."""

    def __init__(self, names: Sequence[str]) -> None:
        self.names = frozenset(names)

    def find_spec(
        self, fullname: str, path: object = None, target: object = None
    ) -> importlib.machinery.ModuleSpec | None:
        if fullname.partition(".")[0] in self.names:
            raise ImportError(f"{fullname} is not to be had here", name=fullname)
        return None


def modules_under(name: str) -> Iterator[str]:
    """The package and all its modules, but not ``__main__``: that one runs the program."""
    package = importlib.import_module(name)
    yield name
    for module in pkgutil.walk_packages(package.__path__, f"{name}."):
        if not module.name.endswith(".__main__"):
            yield module.name


def main() -> None:
    package, refused = sys.argv[1:3]
    sys.meta_path.insert(0, Refusal(refused.split(",")))
    for name in modules_under(package):
        importlib.import_module(name)
        print(name)


if __name__ == "__main__":
    main()
