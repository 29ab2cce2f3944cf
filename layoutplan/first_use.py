"""Packages whose names are imported when they are first used: what a command does not use, it does not load."""

from __future__ import annotations

import sys
from collections.abc import Callable
from importlib import import_module
from typing import Any


def on_first_use(package: str) -> Callable[[str], Any]:
    """Return a package's ``__getattr__``: it imports what stands under ``if TYPE_CHECKING:`` in its ``__init__``.

    So each name is written once, as an ordinary import, and type checkers see it. None of them may be that of a module
    of the package: who imports the module would have it in place of what it holds.

    Parameters
    ----------
    package : str
        Its ``__name__``.

    Returns
    -------
    callable
        Takes a name and returns what it stands for.

    Raises
    ------
    AttributeError
        If the package has no such name, when it is used.
    """
    homes: dict[str, tuple[str, str]] = {}

    def first_use(name: str) -> Any:
        if not homes:
            homes.update(_homes(package))
        if name not in homes:
            raise AttributeError(f"module '{package}' has no attribute '{name}'")
        module, called = homes[name]
        found = getattr(import_module(module), called)
        setattr(sys.modules[package], name, found)  # asked once
        return found

    return first_use


def _homes(package: str) -> dict[str, tuple[str, str]]:
    """Names under ``if TYPE_CHECKING:``, each with the module that it is in and what it is called there."""
    import ast

    spec = sys.modules[package].__spec__
    loader: Any = spec.loader if spec else None
    parts = [part for part in ast.parse(loader.get_source(package)).body if isinstance(part, ast.If)]
    lines = [line for part in parts if ast.unparse(part.test) == "TYPE_CHECKING" for line in part.body]
    return {
        alias.asname or alias.name: (str(line.module), alias.name)
        for line in lines
        if isinstance(line, ast.ImportFrom)
        for alias in line.names
    }
