"""Fifteen questions in plain words, from whose answers a rig file is written.

Each answer is a text, judged here by one function; a refusal says what would be right. No question asks what can be
worked out, looked up or measured later: such numbers stand in the file, marked as what they are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple


class Question(NamedTuple):
    key: str
    asks: str
    default: str
    judge: Callable[[str], Any]  # raises ValueError with what would be right
    choices: Mapping[str, str] = {}  # short answer, and what it means

    @property
    def several(self) -> bool:
        return self.judge is _parts


class NotUnderstood(ValueError):
    """An answer that means nothing. The text says which question, and what would be right."""


def _numbers(text: str, names: tuple[str, ...], low: tuple[float, ...], high: tuple[float, ...]) -> tuple[float, ...]:
    """Numbers in the order of their names; units and words around them are read over."""
    found = [float(n) for n in re.findall(r"(?<![\w.])-?\d+(?:\.\d+)?", text.replace(",", " "))]
    if len(found) != len(names):
        dot = "; decimals have a dot: 0.5" if re.search(r"\d,\d", text) else ""
        raise ValueError(f"give {len(names)} number{'s' * (len(names) > 1)}: {', '.join(names)}{dot}")
    for number, name, least, most in zip(found, names, low, high, strict=True):
        if not least <= number <= most:
            raise ValueError(f"{number:g} is not a {name} between {least:g} and {most:g}")
    return tuple(found)


def _name(text: str) -> str:
    if not re.fullmatch(r"[a-z0-9][a-z0-9_-]{0,39}", text):
        raise ValueError("give small letters, digits and -, at most 40, beginning with a letter or digit")
    return text


def _cells(text: str) -> tuple[int, float]:
    cells, area_cm2 = _numbers(text.replace("x", " "), ("number of cells", "electrode area in cm2"), (1, 1), (100, 1e4))
    if cells != int(cells):
        raise ValueError("give a whole number of cells")
    return int(cells), area_cm2


def _lye(text: str) -> tuple[str, float]:
    found = re.fullmatch(r"\s*(KOH|NaOH)\D*(\d+(?:\.\d+)?)\s*%?\s*", text, re.IGNORECASE)
    if not found:
        raise ValueError("give KOH or NaOH and percent by mass, for instance: KOH 25")
    name = {"koh": "KOH", "naoh": "NaOH"}[found[1].lower()]
    percent, most = float(found[2]), 45.0 if name == "KOH" else 40.0
    if not 2.0 <= percent <= most:
        raise ValueError(f"{percent:g} % is not between 2 and {most:g}")
    return name, percent


def _seal(text: str) -> float:
    return _numbers(text, ("height in mm",), (5,), (2000,))[0]


def _amps_volts(text: str) -> tuple[float, ...]:
    return _numbers(text, ("largest current in A", "volts with nothing connected"), (2, 1.5), (100, 200))


def _water(text: str) -> float:
    return _numbers(text, ("volume in litres, 0 when it is not known",), (0,), (100,))[0]


def _choice(choices: Mapping[str, str]) -> Callable[[str], str]:
    def judge(text: str) -> str:
        if text not in choices:
            raise ValueError(f"give one of: {', '.join(choices)}")
        return text

    return judge


def _parts(text: str) -> frozenset[str]:
    if text.strip().lower() == "all":
        return frozenset(PARTS)
    given = frozenset(word.strip() for word in text.split(",") if word.strip()) - {"none"}
    unknown = sorted(given - set(PARTS))
    if unknown:
        raise ValueError(f"{unknown[0]!r} is none of: {', '.join(PARTS)}")
    return given


TOUCHES = {"plastic": "polypropylene, EPDM, silicone", "glued": "glued PVC or acrylic: it softens far earlier"}
SUPPLIES = {
    "current knob": "a knob sets the amperes",
    "voltage knob": "a knob sets the volts",
    "fixed voltage": "a brick of 5 or 12 V, or a battery charger",
    "drooping": "a welding source: its volts fall as the current rises",
    "settable": "a voltage on two wires sets the amperes",
}
COOLINGS = {"water": "from the tap or a pump", "fan": "air", "none": "nothing but its surface"}
THERMOMETERS = {
    "dry well": "DS18B20 in a tube that stands in the lye",
    "outside": "DS18B20 taped to plastic: it reads low, so the limits are lower",
    "thermistor": "10 kilohm, in a tube, on a converter",
    "none": "not yet",
}
AMMETERS = {
    "amplifier": "shunt and isolating amplifier, 10 mV/A about a mid-point",
    "hall": "ratiometric Hall sensor on 5 V, behind 10 and 20 kilohm",
    "shunt": "bare 75 mV shunt in the negative lead",
    "none": "not yet",
}
FLOATS = {"both": "one on each side", "hydrogen": "hydrogen side only", "oxygen": "oxygen side only", "none": "not yet"}
GOES = {
    "vent": "outdoors, always",
    "by hand": "a hose that a person moves",
    "valve": "a valve that the guard turns from vent to collection",
}
BOARDS = {
    "high": "transistors, or a relay board whose inputs switch on at 3.3 V high",
    "low": "the commonest relay board: an input at low switches on",
    "low with transistors": "the same, with one transistor before each input, so that high switches on",
}
PARTS = {
    "second contactor": "another means of breaking power, at the mains side",
    "seal-in": "the main contactor holds itself, and a short pulse closes it",
    "contacts": "auxiliary contacts of contactors and watchdog relay",
    "stop button": "it breaks the coils by itself, and its state is read",
    "thermostat": "it breaks the coils by itself",
    "leak": "a contact in the tray",
    "air vane": "a contact in the duct",
    "stack volts": "an isolating amplifier at the stack",
    "pressure": "a sensor on each gas side, -50 to 150 mbar",
    "water seal": "a bubbler at the end of each gas line, 25 mm deep",
    "high float": "a float near the top",
    "horn": "a horn",
    "dead man": "somebody outside this machine is told when it falls silent",
}


def _one_of(key: str, asks: str, default: str, choices: Mapping[str, str]) -> Question:
    return Question(key, asks, default, _choice(choices), choices)


QUESTIONS: tuple[Question, ...] = (
    Question("name", "What is the rig called?", "my-rig", _name),
    Question("cells", "How many cells in series, and how large is one electrode, in cm2?", "3 x 90", _cells),
    Question("lye", "Which lye, and how strong, in percent by mass?", "KOH 25", _lye),
    _one_of("touches", "What does hot lye touch?", "plastic", TOUCHES),
    Question("seal_mm", "How much lye stands over the lowest opening between the gas sides, in mm?", "200", _seal),
    _one_of("supply", "Which kind of power supply?", "current knob", SUPPLIES),
    Question("amps_volts", "Largest current in A, and the supply's volts with no load?", "30, 12", _amps_volts),
    _one_of("cooling", "What cools the cell?", "water", COOLINGS),
    _one_of("temperature", "What measures the lye's temperature?", "dry well", THERMOMETERS),
    _one_of("current", "What measures the current?", "amplifier", AMMETERS),
    _one_of("floats", "Where are low-level floats?", "both", FLOATS),
    Question("water_l", "How many litres of water from full down to the floats? (0: not known)", "0.2", _water),
    _one_of("gas", "Where does the hydrogen go?", "vent", GOES),
    _one_of("board", "What stands between the Pi's pins and the coils?", "high", BOARDS),
    Question("parts", "Which of these do you have? (with commas between, all, or none)", "stop button", _parts, PARTS),
)
BY_KEY = {question.key: question for question in QUESTIONS}


class Answers(NamedTuple):
    """What was answered, understood."""

    name: str
    cells: tuple[int, float]  # in series; electrode area, cm2
    lye: tuple[str, float]  # hydroxide; percent by mass
    touches: str
    seal_mm: float
    supply: str
    amps_volts: tuple[float, float]  # rated, A; open-circuit, V
    cooling: str
    temperature: str
    current: str
    floats: str
    water_l: float
    gas: str
    board: str
    parts: frozenset[str]


def understood(given: Mapping[str, str]) -> Answers:
    """All answers, the missing ones by default. Raises NotUnderstood."""
    unknown = sorted(set(given) - set(BY_KEY))
    if unknown:
        raise NotUnderstood(f"{unknown[0]}: there is no such question. Known: {', '.join(BY_KEY)}.")
    judged = {}
    for question in QUESTIONS:
        text = given.get(question.key, question.default)
        try:
            judged[question.key] = question.judge(text)
        except ValueError as refusal:
            raise NotUnderstood(f"{question.key} = {text!r}: {refusal}.") from None
    return Answers(**judged)
