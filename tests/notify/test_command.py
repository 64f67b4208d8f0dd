"""`lyewatch notify`: its settings, its trial, and what it says when it starts."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from controller.cli.notify import notify
from controller.cli.problems import Problem
from controller.notify.decide import Rules
from controller.notify.settings import EXAMPLE, WrongSettings, load
from tests.broker import mosquitto
from tests.notify.ends import dead_line, web


def settings(folder: Path, text: str) -> Path:
    path = folder / "notify.toml"
    path.write_text(text)
    return path


def test_the_example_is_a_settings_file(tmp_path: Path) -> None:
    printed = CliRunner().invoke(notify, ["--example"]).output
    found = load(settings(tmp_path, printed))
    assert printed == EXAMPLE
    assert found.rules() == Rules(quiet_from_min=22 * 60 + 30, quiet_to_min=7 * 60, silent_s=180.0, top_up_hours=3.0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("services = []", "services: is empty; give one service at least"),
        (
            'services = ["json://h"]\nquite = "22:00-07:00"',
            "quite: there is no such key; known: services, second_person, quiet,",
        ),
        ('services = ["json://h"]\nquiet = "22-7"', "'22-7' is not a span of time; write it like \"22:30-07:00\""),
        ('services = ["json://h"]\nsilent_after_s = 1', "silent_after_s: Input should be greater than or equal to 10"),
        ('quiet = ""', "services: is missing; `lyewatch notify --example` has one to copy"),
        ("services = [", "not TOML"),
    ],
)
def test_wrong_settings_are_refused_with_the_key_and_what_would_be_right(tmp_path: Path, text: str, said: str) -> None:
    path = settings(tmp_path, text)
    with pytest.raises(WrongSettings) as error:
        load(path)
    assert said in str(error.value)
    assert str(path) in str(error.value)


def test_a_file_that_is_not_there_or_not_text_is_said_to_be_so(tmp_path: Path) -> None:
    with pytest.raises(WrongSettings, match="No such file or directory; to begin with: lyewatch notify --example >"):
        load(tmp_path / "notify.toml")
    (tmp_path / "notify.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(WrongSettings, match="save the file as UTF-8"):
        load(tmp_path / "notify.toml")


def test_a_trial_says_which_service_took_the_message_and_which_did_not(tmp_path: Path) -> None:
    with web() as server:
        path = settings(tmp_path, f'services = ["{server.line}"]\nsecond_person = ["{dead_line()}"]')
        result = CliRunner().invoke(notify, [str(path), "--test"])
        assert server.titles == ["lyewatch: a test"]
    assert result.output == "json://127.0.0.1: taken\njson://127.0.0.1: NOT taken\n"
    assert isinstance(result.exception, Problem)
    assert result.exception.code == 1


def test_a_line_that_is_no_service_is_refused(tmp_path: Path) -> None:
    result = CliRunner().invoke(notify, [str(settings(tmp_path, 'services = ["nonsense://x"]'))])
    assert isinstance(result.exception, Problem)
    assert result.exception.code == 2


def test_on_the_rigs_own_machine_it_says_that_nobody_is_told_when_that_dies(tmp_path: Path) -> None:
    path = settings(tmp_path, f'services = ["{dead_line()}"]')
    with mosquitto(tmp_path / "broker") as broker:
        command = [sys.executable, "-m", "controller.cli", "notify", str(path), "--broker-port", str(broker.port)]
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
            assert process.stderr is not None
            said = [process.stderr.readline() for _ in range(3)]
            process.send_signal(signal.SIGTERM)
            process.stderr.read()
    assert said[0] == "The broker is on this machine: when it dies, nobody is told.\n"
    assert said[2] == "Telling json://127.0.0.1.\n"
    assert process.returncode == 0
