"""Fixtures of the page's tests: one browser for all, one stage each."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from controller.page.shell import read_built
from simulator.boards.wire import CONTROL_SOCKET
from tests.broker import until
from tests.page.stage import Stage, bad_words, chromium, fresh_is, phone


@pytest.fixture(scope="session")
def browser_of_all() -> Iterator[Browser]:
    read_built()  # says what to do where the page is not built
    with chromium() as found:
        yield found


@pytest.fixture(scope="session")
def stages(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[], Stage]]:
    """One set of processes for as many tests as leave it well; each finds it as new."""
    made: list[Stage] = []

    def ready() -> Stage:
        if made and made[-1].well:
            made[-1].as_new()
        else:
            for ill in made:
                ill.close()
            made[:] = [Stage(tmp_path_factory.mktemp("stage"), "--open-view")]
        return made[-1]

    yield ready
    for stage in made:
        stage.close()


@pytest.fixture
def stage(stages: Callable[[], Stage]) -> Stage:
    return stages()


@pytest.fixture
def bench_folder(tmp_path: Path) -> Iterator[Path]:
    """A real bench process, simulated hardware of the boathouse rig."""
    folder = tmp_path / "bench"
    command = [sys.executable, "-m", "controller.cli", "bench", "boathouse", "--dir", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as bench:
        until((folder / CONTROL_SOCKET).exists, what="the bench")
        yield folder
        bench.terminate()


Look = Callable[..., Page]


@pytest.fixture
def look(browser_of_all: Browser) -> Iterator[Look]:
    """Opens a page on a phone and waits until it is live. Fails the test for an error or a violated policy."""
    contexts, words = [], []

    def open_page(stage: Stage, path: str = "/", kind: str | None = "live", **more: Any) -> Page:
        context = phone(browser_of_all, **more)
        contexts.append(context)
        page = context.new_page()
        words.append(bad_words(page))
        page.goto(stage.address + path)
        if kind is not None:
            fresh_is(page, kind)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert [w for found in words for w in found] == []
