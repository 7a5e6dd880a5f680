"""`python -m hardware.generate`: check the data, then write every generated file; with `pdf`, the booklet instead."""

from __future__ import annotations

import sys

from hardware.generate.checks import problems
from hardware.generate.load import REPOSITORY, load
from hardware.generate.outputs import outputs


def main(arguments: list[str]) -> int:
    if arguments not in ([], ["pdf"]):
        print("usage: python -m hardware.generate [pdf]", file=sys.stderr)
        return 2
    hardware = load()
    found = problems(hardware)
    for problem in found:
        print(problem, file=sys.stderr)
    if found:
        return 1
    if arguments:
        from hardware.generate.pdf import build_pdf

        print(build_pdf())
        return 0
    for path, text in outputs(hardware).items():
        target = REPOSITORY / path
        target.parent.mkdir(parents=True, exist_ok=True)
        if not target.exists() or target.read_text(encoding="utf-8") != text:
            target.write_text(text, encoding="utf-8")
            print(path)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
