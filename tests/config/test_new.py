"""The questions of `new`: whatever is answered, there is a rig file that `check` accepts, or a reason and a way out."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.cli.new import new
from controller.config.load import compile_text
from controller.config.problems import RigFileError
from controller.config.questions import PARTS, QUESTIONS, NotUnderstood, Question, understood
from controller.config.written import MOST_LINES, rig_file
from controller.core.limits import Effect
from controller.core.rig import Grade

TODAY = date(2026, 6, 1)
EVERYTHING = ", ".join(PARTS)
WRITTEN = {
    "name": st.from_regex(r"[a-z0-9][a-z0-9_-]{0,39}", fullmatch=True),
    "cells": st.builds("{} x {}".format, st.integers(1, 100), st.integers(1, 10_000)),
    "lye": st.builds("{} {}".format, st.sampled_from(["KOH", "NaOH", "koh"]), st.integers(2, 40)),
    "seal_mm": st.integers(5, 2000).map(str),
    "amps_volts": st.builds("{:.1f} A, {:.1f} V".format, st.floats(2, 100), st.floats(1.6, 200)),
    "water_l": st.floats(0, 100).map("{:.2f}".format),
    "parts": st.sets(st.sampled_from(list(PARTS))).map(", ".join),
}


def answers_to(question: Question) -> st.SearchStrategy[str]:
    return WRITTEN[question.key] if question.key in WRITTEN else st.sampled_from(list(question.choices))


ANSWERS = st.fixed_dictionaries({}, optional={question.key: answers_to(question) for question in QUESTIONS})


@settings(max_examples=300, deadline=None)
@given(said=ANSWERS)
def test_every_answer_set_gives_a_file_that_check_accepts_or_a_reason_and_a_way_out(said: dict[str, str]) -> None:
    try:
        text, _ = rig_file(understood(said), TODAY)
    except RigFileError as refusal:
        for problem in refusal.problems:
            assert problem.wrong
            assert re.search(r"\b(Give|Fit|Use|Put|Set|Measure|A relay board)\b", problem.right), problem
        return
    rig = compile_text(text.encode(), "new.toml", TODAY)
    assert rig.warnings == () or all("attended" in w for w in rig.warnings)
    assert text.count("\n") <= MOST_LINES
    limits = text[text.index("[limits]") :].splitlines()[1:]
    assert all("  # " in line or line.startswith("# ") for line in limits)
    protecting = [x.name for x in rig.core.limits if x.effect in (Effect.TRIP, Effect.STOP)]
    assert all(f'"{name}"' in text or f"{name} " in text for name in protecting)


def test_at_most_fifteen_questions_are_asked_and_each_has_a_usual_answer() -> None:
    assert len(QUESTIONS) <= 15
    for question in QUESTIONS:
        question.judge(question.default)


def test_with_everything_fitted_it_may_be_left_alone() -> None:
    _, rig = rig_file(understood({"parts": EVERYTHING, "seal_mm": "310"}), TODAY)
    assert rig.core.grade is Grade.UNATTENDED


def test_the_usual_answers_give_a_rig_for_somebody_beside_it_and_say_what_is_missing() -> None:
    _, rig = rig_file(understood({}), TODAY)
    assert rig.core.grade is Grade.ATTENDED
    assert any("second, independent" in what for what in rig.core.missing)


@pytest.mark.parametrize("kind", ["current knob", "voltage knob", "fixed voltage", "drooping", "settable"])
@pytest.mark.parametrize("cooling", ["water", "fan", "none"])
def test_every_kind_of_supply_and_cooling_can_run(kind: str, cooling: str) -> None:
    _, rig = rig_file(understood({"supply": kind, "cooling": cooling}), TODAY)
    assert (rig.core.supply.kind, rig.file.cooling.kind) == (kind, cooling)


def test_the_commonest_relay_board_gets_three_ways_out() -> None:
    with pytest.raises(RigFileError) as refused:
        rig_file(understood({"board": "low"}), TODAY)
    text = str(refused.value)
    for way in ("3.3 V with the jumper off", "transistor stage", "behind the watchdog relay"):
        assert way in text
    rig_file(understood({"board": "low with transistors"}), TODAY)


def test_a_pressure_sensor_too_coarse_for_a_shallow_seal_is_told_which_would_do() -> None:
    with pytest.raises(RigFileError, match=r"Fit a sensor with an error under 0\.\d+ mbar"):
        rig_file(understood({"parts": "pressure", "seal_mm": "40"}), TODAY)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"cells": "three"}, "give 2 numbers"),
        ({"cells": "1 x 62,5"}, "decimals have a dot"),
        ({"water_l": "0,2"}, "decimals have a dot"),
        ({"cells": "0 x 90"}, "between 1 and 100"),
        ({"lye": "lime 10"}, "KOH or NaOH"),
        ({"lye": "KOH 60"}, "between 2 and 45"),
        ({"cooling": "ice"}, "give one of: water, fan, none"),
        ({"parts": "leak, a dog"}, "'a dog' is none of"),
        ({"name": "My Rig"}, "small letters"),
        ({"colour": "red"}, "no such question"),
    ],
)
def test_an_answer_that_means_nothing_is_told_what_would_be_right(said: dict[str, str], words: str) -> None:
    with pytest.raises(NotUnderstood, match=re.escape(words)):
        understood(said)


def test_all_parts_may_be_said_wherever_an_answer_is_given() -> None:
    """The question says so, and an answer file or --set is read by the same rule as the terminal."""
    assert understood({"parts": "all"}).parts == understood({"parts": " All "}).parts == frozenset(PARTS)


@pytest.mark.parametrize("more", ["name=shed", "parts=all", "board=low", "temperature=none"])
def test_no_line_of_the_questions_is_wider_than_a_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: str
) -> None:
    monkeypatch.chdir(tmp_path)
    shown = run("shed.toml", "--set", more, said="\n" * 20).output + run("--questions").output
    assert [line for line in shown.splitlines() if len(line) > 80 and not line.endswith("drooping.toml")] == []


def test_a_stack_is_told_where_taps_on_its_cells_are_to_be_had(tmp_path: Path) -> None:
    """No question asks for them; the file that is named has them, and a single cell needs none."""
    stack = run(str(tmp_path / "a.toml"), "--yes").output
    single = run(str(tmp_path / "b.toml"), "--yes", "--set", "cells=1 x 90", "--set", "amps_volts=30, 5").output
    (named,) = re.findall(r"^ +(/.*drooping\.toml)$", stack, re.MULTILINE)
    assert "cell_spread" in compile_text(Path(named).read_bytes(), named, TODAY).file.fitted
    assert "Not asked" in stack
    assert "Written" in single
    assert "Not asked" not in single


# ---- the command


def run(*arguments: str, said: str = "") -> Result:
    return CliRunner().invoke(new, arguments, input=said, catch_exceptions=True)


def test_pressing_enter_fifteen_times_writes_a_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    result = run(str(path), said="\n" * len(QUESTIONS))
    assert result.exit_code == 0, result.output
    assert compile_text(path.read_bytes(), "mine.toml", TODAY).core.name == "my-rig"
    assert "To leave it alone, it needs:" in result.output


def test_a_choice_may_be_given_by_its_number_and_a_slip_is_asked_again(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    said = ["Bad Name", "shed", "1 x 50", "", "2", "150", "3", "20, 5", "", "", "", "", "", "", "", "1, 2", ""]
    result = run(str(path), said="\n".join(said))
    assert result.exit_code == 0, result.output
    rig = compile_text(path.read_bytes(), "mine.toml", TODAY)
    assert (rig.core.name, rig.file.supply.kind) == ("shed", "fixed voltage")
    assert rig.file.cell.wetted == "glued PVC or acrylic"
    assert rig.core.power.has_second
    assert rig.core.power.seal_in


def test_parts_may_be_given_as_all_or_as_a_stretch_of_numbers(tmp_path: Path) -> None:
    for answer, missing in (("all", False), ("1-12", True)):
        path = tmp_path / f"{answer}.toml"
        result = run(str(path), "--set", "seal_mm=310", said="\n" * (len(QUESTIONS) - 2) + answer + "\n")
        assert result.exit_code == 0, result.output
        assert f"{len(QUESTIONS) - 1} questions" in result.output
        assert ("somebody, outside this machine" in result.output) is missing


def test_a_rig_that_cannot_be_run_may_be_put_right_without_answering_everything_again(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    said = "\n" * (len(QUESTIONS) - 2) + "low\n\n" + "board\nlow with transistors\n"
    result = run(str(path), said=said)
    assert result.exit_code == 0, result.output
    assert "three ways out" in " ".join(result.output.split())
    assert compile_text(path.read_bytes(), "mine.toml", TODAY).file.power.main.active == "high"
    left = run(str(tmp_path / "none.toml"), said="\n" * (len(QUESTIONS) - 2) + "low\n\n\n")
    assert "nothing was written" in str(left.exception)
    assert not (tmp_path / "none.toml").exists()


def test_every_converter_that_new_writes_has_a_voltage_that_is_known(tmp_path: Path) -> None:
    """Without one a chip that freezes shows the same number for ever."""
    for current in ("amplifier", "hall", "shunt"):
        _, rig = rig_file(understood({"current": current, "parts": EVERYTHING, "seal_mm": "310"}), TODAY)
        assert all(chip.reference is not None for chip in rig.file.converters.values())


def test_answers_come_from_a_file_and_are_overridden_one_by_one(tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text('cooling = "fan"\nname = "shed"\n', encoding="utf-8")
    assert run(str(tmp_path / "a.toml"), "--answers", str(answers), "--set", "name=barn").exit_code == 0
    rig = compile_text((tmp_path / "a.toml").read_bytes(), "a.toml", TODAY)
    assert (rig.core.name, rig.file.cooling.kind) == ("barn", "fan")


def test_nothing_is_written_where_no_rig_can_run_or_a_file_stands(tmp_path: Path) -> None:
    refused = run(str(tmp_path / "a.toml"), "--yes", "--set", "board=low")
    assert "such a rig cannot be run" in str(refused.exception)
    assert not (tmp_path / "a.toml").exists()
    (tmp_path / "b.toml").write_text("mine", encoding="utf-8")
    assert "there already" in str(run(str(tmp_path / "b.toml"), "--yes").exception)
    assert (tmp_path / "b.toml").read_text(encoding="utf-8") == "mine"
