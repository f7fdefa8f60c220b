"""The house stands as it was drawn: who may import whom, which heavy library may be named where, how long a file may be."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "waveflow"
FLOORS = {"cli": 6, "show": 5, "shop": 4, "study": 3, "engine": 2, "physics": 1, "compiled": 0}
ANYWHERE_BUT_PHYSICS = {"errors", "units"}
ONLY_IN = {
    "numba": ("compiled.py",),
    "llvmlite": ("compiled.py",),
    "cantera": ("physics/gas.py",),
    "matplotlib": ("show/",),
    "rich": ("show/",),
    "click": ("cli.py", "show/"),
    "distributed": ("study/cluster.py",),
}
MODULES = sorted(PACKAGE.rglob("*.py"))


def imports(path: Path, top_level_only: bool = False) -> list[str]:
    """Dotted names a module imports."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = tree.body if top_level_only else ast.walk(tree)
    names = []
    for node in nodes:
        if isinstance(node, ast.Import):
            names.extend(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names.append(node.module)
    return names


def room(path: Path) -> str:
    """The floor's name: the sub-package, or the module itself at the top."""
    relative = path.relative_to(PACKAGE)
    return relative.parts[0].removesuffix(".py")


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_downwards_only(path: Path) -> None:
    here = room(path)
    if here == "__init__":
        return
    for name in imports(path):
        if not name.startswith("waveflow."):
            continue
        there = name.split(".")[1]
        if there in ANYWHERE_BUT_PHYSICS:
            assert here not in ("physics", "compiled"), f"{here} may not import {there}"
        elif here in ANYWHERE_BUT_PHYSICS:
            pytest.fail(f"{here} stands alone but imports {name}")
        elif there != here:
            assert FLOORS[there] < FLOORS[here], f"{here} imports {name}, which lies above it"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_heavy_libraries_stay_in_their_room(path: Path) -> None:
    relative = str(path.relative_to(PACKAGE)).replace("\\", "/")
    for name in imports(path):
        allowed = ONLY_IN.get(name.split(".")[0])
        assert allowed is None or relative.startswith(allowed), f"{relative} imports {name}"


@pytest.mark.parametrize("module", ["cli.py", "errors.py", "units.py", "engine/case.py", "engine/reading.py"])
def test_the_way_to_a_refusal_is_light(module: str) -> None:
    heavy = {"numba", "scipy", "matplotlib", "cantera"}
    for name in imports(PACKAGE / module, top_level_only=True):
        assert name.split(".")[0] not in heavy


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_files_stay_readable(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400
    assert "utils" not in path.name


def test_sub_packages_are_empty_doors() -> None:
    for door in PACKAGE.rglob("*/__init__.py"):
        assert door.read_text(encoding="utf-8").strip() == ""


def test_no_pickle_eval_or_shell() -> None:
    """Results are open files, and nothing a user writes is executed."""
    for path in MODULES:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        assert not {"pickle", "marshal", "shelve"} & {name.split(".")[0] for name in imports(path)}, path
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in ("eval", "exec"), path
            if isinstance(node, ast.keyword) and node.arg == "shell":
                pytest.fail(f"{path} starts a shell")


def test_no_record_column_hides_an_array_attribute() -> None:
    import numpy as np

    from waveflow.physics import layout

    for name in dir(layout):
        kind = getattr(layout, name)
        if isinstance(kind, np.dtype) and kind.names:
            hidden = set(kind.names) & set(dir(np.recarray(1, dtype=[("x", float)])))
            assert not hidden - {"x"}, f"{name} hides {hidden}"
