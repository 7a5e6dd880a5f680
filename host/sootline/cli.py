"""The command line: `sootline COMMAND ...`. Each command is a module of `sootline.commands` with a `main(argv)`."""

import ast
import importlib
import os
import pkgutil
import sys
from collections.abc import Sequence
from pathlib import Path

import sootline
from sootline import commands
from sootline.errors import UserError


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit status: 2 where the person has to put something right."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    if not arguments or arguments[0] in ("-h", "--help", "help"):
        print(_help())
        return 0 if arguments else 2
    if arguments[0] in ("-V", "--version"):
        print(f"sootline {sootline.__version__}")
        return 0
    name, *rest = arguments
    if name not in _names():
        print(f"sootline: no command '{name}'; there are {', '.join(_names())}", file=sys.stderr)
        return 2
    command = importlib.import_module(f"sootline.commands.{name}")
    try:
        return int(command.main(rest) or 0)
    except UserError as error:
        print(f"sootline: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141


def _names() -> list[str]:
    return sorted(module.name for module in pkgutil.iter_modules(commands.__path__) if not module.name.startswith("_"))


def _help() -> str:
    lines = ["usage: sootline COMMAND ...   (sootline COMMAND --help tells more)", ""]
    for module in pkgutil.iter_modules(commands.__path__):
        if not module.name.startswith("_"):
            source = Path(commands.__path__[0], f"{module.name}.py").read_text()
            text = ast.get_docstring(ast.parse(source)) or ""  # without importing what the command needs
            lines.append(f"  {module.name:<12} {text.partition(chr(10))[0]}")
    return "\n".join(lines)
