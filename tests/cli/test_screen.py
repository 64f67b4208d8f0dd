"""What the terminal shows, from memories made by the core."""

from __future__ import annotations

from io import StringIO

import pytest
from rich.console import Console

from controller.cli.screen import BAR, View, bar, fitting, plain, render
from tests.core.bench import Bench


def shown(view: View) -> str:
    out = StringIO()
    Console(file=out, width=110, force_terminal=False).print(render(view))
    return out.getvalue()


def view(bench: Bench, **status: object) -> View:
    return View(bench.rig, bench.memory, (), status, [])


@pytest.mark.parametrize(("fraction", "full"), [(0.0, 0), (0.5, 12), (1.0, 24), (7.0, 24), (-1.0, 0)])
def test_a_bar_is_full_far_from_the_limit_and_empty_at_it(fraction: float, full: int) -> None:
    assert bar(fraction).plain == "█" * full + "░" * (BAR - full)


def test_what_is_not_seen_is_no_bar_at_all() -> None:
    assert bar(None).plain == "?" * BAR


def test_a_running_rig_shows_its_sentence_its_margins_and_its_numbers() -> None:
    bench = Bench()
    bench.start()
    text = shown(view(bench))
    assert "Running at 30.0 A" in text
    assert "Too much current" in text
    assert "5.00 A left" in text
    assert "Cell temperature" in text
    assert "20.0 C" in text


def test_a_trip_shows_why_and_that_it_may_not_be_left() -> None:
    bench = Bench()
    bench.start()
    bench.numbers["stop chain"] = 0.0
    bench.run(1.0)
    text = shown(view(bench))
    assert "Tripped" in text
    assert "Stop button" in text
    assert "May I leave it? No: a trip stands" in text
    assert "May I leave it? No: a trip stands." in plain(view(bench))


def test_the_controllers_own_faults_are_on_the_screen() -> None:
    assert "Controller: the disk is full" in shown(view(Bench(), faults=["the disk is full"]))


def test_a_rig_that_is_off_says_what_keeps_it_from_starting() -> None:
    bench = Bench()
    bench.run(1.0)
    assert "It can be started." in plain(view(bench))
    bench.numbers["level hydrogen side"] = 0.0
    bench.run(10.0)
    said = next(line for line in plain(view(bench)) if line.startswith("It can"))
    assert said.startswith("It cannot start: not clear: ")
    assert "Level low, hydrogen side" in said


def test_a_rig_that_may_be_left_says_so() -> None:
    bench = Bench()
    bench.run(1.0)
    assert "May I leave it? Yes." in plain(view(bench))


@pytest.mark.parametrize(("width", "height"), [(130, 40), (110, 30), (80, 24), (60, 20), (60, 16)])
@pytest.mark.parametrize("tripped", [False, True])
def test_whatever_the_terminal_what_matters_is_on_it(width: int, height: int, tripped: bool) -> None:
    bench = Bench()
    bench.start()
    if tripped:
        bench.numbers["stop chain"] = 0.0
    bench.run(1.0)
    events = [
        {"number": n, "at_s": 0.0, "what": "state", "subject": "off", "detail": "", "source": "", "ticket": 0,
         "seen": None, "limit": None}
        for n in range(20)
    ]  # fmt: skip
    out = StringIO()
    console = Console(file=out, width=width, height=height, force_terminal=False)
    console.print(fitting(view(bench)._replace(events=events, hint="Ctrl-C ends"), console))
    lines = out.getvalue().splitlines()
    assert len(lines) <= height
    assert max(map(len, lines)) <= width
    text = " ".join(lines)
    assert ("Tripped" if tripped else "Running at 30.0 A") in text
    assert "May I leave it?" in text
    assert "Ctrl-C ends" in text
    if not tripped:
        assert "left" in text
        assert "█…" not in text
        assert "░…" not in text


def test_a_tripped_rig_says_each_cause_once() -> None:
    bench = Bench()
    bench.start()
    bench.numbers["stop chain"] = 0.0
    bench.run(1.0)
    assert "\n".join(plain(view(bench))).count("Stop button") == 1
