"""The order of all tests: random (pytest-randomly), the longest file first, so that nothing waits for it at the end."""

from pathlib import Path

import pytest

LONGEST = Path("firmware") / "test_small_board.py"  # a day of the board's own time beside a real broker


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: not item.path.match(str(LONGEST)))
