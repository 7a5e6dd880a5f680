"""Every public figure of the package can say where it comes from, and its docstring names the unit."""

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator

import pytest

import sootline.heat
from sootline.heat.viscosity import ViscosityLine, viscosity_index
from sootline.heat.why import origin

PLUMBING = {"elementwise", "why"}  # typed numpy and the tracer itself give no figures
NO_FIGURE = {"check_fractions"}


def public_functions() -> Iterator[tuple[str, Callable[..., object]]]:
    for info in pkgutil.iter_modules(sootline.heat.__path__):
        if info.name in PLUMBING:
            continue
        module = importlib.import_module(f"sootline.heat.{info.name}")
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(thing, "__module__", "") != module.__name__:
                continue
            if inspect.isfunction(thing) and name not in NO_FIGURE:
                yield f"{info.name}.{name}", thing
            elif inspect.isclass(thing):
                for method, function in vars(thing).items():
                    if inspect.isfunction(function) and not method.startswith("_"):
                        yield f"{info.name}.{name}.{method}", function


FUNCTIONS = dict(public_functions())


def test_the_package_is_seen() -> None:
    assert len(FUNCTIONS) > 70


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_every_public_function_names_its_source(name: str) -> None:
    found = origin(FUNCTIONS[name])
    assert found.source and found.what.endswith((".", ":"))


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_functions_that_can_refuse_say_so(name: str) -> None:
    if re.search(r"check_range\(|check_positive\(|raise OutOfRange", inspect.getsource(FUNCTIONS[name])):
        doc = inspect.getdoc(FUNCTIONS[name]) or ""
        assert "Raises" in doc or "not below" in doc or "not above" in doc or "Valid:" in doc


def test_origin_of_a_figure() -> None:
    found = origin(viscosity_index)
    assert found.function == "sootline.heat.viscosity.viscosity_index"
    assert found.source.startswith("ASTM D2270")
    assert origin(ViscosityLine.at).source == "ASTM D341."


def test_untraceable_figure_is_refused() -> None:
    def guess() -> float:
        """A number [-]."""
        return 1.0

    with pytest.raises(ValueError, match="names no source"):
        origin(guess)
