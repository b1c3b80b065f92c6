"""Every example in the documentation is run, and every public name has its documentation and its types."""

import doctest
import importlib
import importlib.util
import inspect
import pathlib
import pkgutil

import glidepath
import pytest

HERE = pathlib.Path(__file__).resolve().parent
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
MODULES = sorted(m.name for m in pkgutil.iter_modules(glidepath.__path__, "glidepath.") if m.name != "glidepath._native")
EXAMPLES = sorted((HERE.parent / "examples").glob("*.py"))


@pytest.mark.parametrize("name", ["glidepath", *MODULES])
def test_examples_of_the_package(name, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)  # an example writes a picture
    assert doctest.testmod(importlib.import_module(name), optionflags=FLAGS).failed == 0


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_example_programs(path, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    result = doctest.testmod(module, optionflags=FLAGS)
    assert result.failed == 0 and result.attempted > 0


def test_public_names_are_documented_and_typed():
    folder = pathlib.Path(glidepath.__path__[0])
    assert (folder / "py.typed").exists()
    stub = (folder / "_native.pyi").read_text()
    for name in vars(glidepath._native):
        if not name.startswith("__") or name == "__version__":
            assert name in stub, f"{name} is not in _native.pyi"
    for name in glidepath.__all__:
        thing = getattr(glidepath, name)
        if thing.__class__.__module__ != "builtins" or not (inspect.isclass(thing) or inspect.isfunction(thing)):
            continue
        if getattr(glidepath._native, name, None) is thing:
            for method in (m for m in vars(thing) if not m.startswith("_")):
                assert method in stub, f"{name}.{method} is not in _native.pyi"
            continue
        assert inspect.getdoc(thing), f"{name} has no documentation"
        if inspect.isclass(thing):
            for method, what in vars(thing).items():
                if not method.startswith("_") and callable(what):
                    assert inspect.getdoc(what), f"{name}.{method} has no documentation"
                    assert inspect.signature(what).return_annotation is not inspect.Signature.empty, method
