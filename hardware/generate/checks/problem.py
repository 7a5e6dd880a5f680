"""What a check reports."""

from typing import NamedTuple


class Problem(NamedTuple):
    """`rule` is a short fixed name; `where` and `what` tell a person what to put right."""

    rule: str
    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what} [{self.rule}]"
