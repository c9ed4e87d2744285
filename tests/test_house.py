"""The house keeps its shape: who may know whom, and who may touch the world outside."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
STRANGERS = {"panels": {"nesting", "tankwright"}, "nesting": {"panels", "tankwright"}}

#: What reads or writes files, prints, asks the clock or the network.
OUTSIDE_MODULES = {"pathlib", "io", "os", "shutil", "tempfile", "time", "datetime", "socket", "urllib", "logging"}
OUTSIDE_CALLS = {"open", "print", "input"}
#: The one engine that runs in a process of its own needs the system; it hands over data, not files.
MAY_TOUCH = {"nesting/_profile_engine.py", "nesting/_profile_child.py"}


def sources(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


def imported(path: Path) -> set[str]:
    """First names of every absolute import in a file, wherever it stands."""
    names: list[str] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names.append(node.module)
    return {name.split(".")[0] for name in names}


@pytest.mark.parametrize("package", STRANGERS)
def test_package_does_not_know_its_neighbours(package):
    """Geometry never hears of sheets, and nesting never hears of tanks."""
    for path in sources(package):
        met = imported(path) & STRANGERS[package]
        assert not met, f"{path.relative_to(ROOT)} imports {met}"


@pytest.mark.parametrize("package", STRANGERS)
def test_package_returns_values_and_touches_nothing(package):
    """Neither half opens a file, prints or reads the clock of the day."""
    for path in sources(package):
        name = path.relative_to(ROOT).as_posix()
        if name in MAY_TOUCH:
            continue
        met = imported(path) & (OUTSIDE_MODULES - ({"time"} if package == "nesting" else set()))
        assert not met, f"{name} imports {met}"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in OUTSIDE_CALLS, f"{name}, line {node.lineno}: {node.func.id}()"


def test_help_does_not_wait_for_heavy_libraries():
    """``--help`` loads none of the libraries that take a noticeable time to import."""
    heavy = ["numpy", "scipy", "shapely", "ezdxf", "reportlab", "xlsxwriter", "pydantic"]
    code = (
        "import sys; from tankwright.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        f"met = [m for m in {heavy!r} if m in sys.modules]\n"
        "sys.stderr.write(' '.join(met))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert ran.stderr == ""
    assert "start" in ran.stdout


def test_lock_names_no_registry():
    """The lock serves any machine: names and versions, no addresses."""
    text = (ROOT / "requirements.lock").read_text()
    assert "://" not in text
    assert "numpy==" in text


def test_public_names_are_where_they_are_said_to_be():
    """Every name that a package announces can be had from it, and none is missing from the list."""
    import nesting
    import panels

    for package in (panels, nesting):
        for name in package.__all__:
            assert getattr(package, name) is not None
    assert set(panels._MODULE_OF) == set(panels.__all__)
