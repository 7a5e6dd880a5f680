"""A courier in a process of its own, to be killed: one critical alarm stands."""

import sys
from pathlib import Path

from tests.messages.kit import NIGHT
from tests.messages.test_courier import STUCK, House


class Again(House):
    """The same house, its contacts already written."""

    def __post_init__(self) -> None:
        self.open()


if __name__ == "__main__":
    Again(Path(sys.argv[1]), "").look(NIGHT, STUCK)
