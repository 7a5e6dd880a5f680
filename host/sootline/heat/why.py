"""Where a figure comes from: the function that made it and the source its docstring names."""

import inspect
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Origin:
    """The function behind a figure, the first line of its docstring, and its source."""

    function: str
    what: str
    source: str


def origin(function: Callable[..., object]) -> Origin:
    """Origin of the figures `function` returns, read from its docstring.

    Raises ValueError when the docstring has no "Source:" paragraph, so that an untraceable figure cannot be
    shown.
    """
    text = inspect.getdoc(function) or ""
    _, found, tail = text.partition("Source:")
    if not found:
        raise ValueError(f"{function.__module__}.{function.__qualname__} names no source")
    source = " ".join(tail.split("\n\n")[0].split())
    return Origin(f"{function.__module__}.{function.__qualname__}", text.splitlines()[0], source)
