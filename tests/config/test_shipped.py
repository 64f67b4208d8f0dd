"""The rigs that ship: complete, in step with what is wired on their benches, and with the numbers they promise."""

from __future__ import annotations

import hashlib
import pickle
import tomllib
from pathlib import Path
from typing import Any

import pytest

from controller.config import rigs
from controller.config.load import CompiledRig, load
from controller.core.commands import Source, Verb
from controller.core.limits import Arming, Effect, TripKind
from controller.core.outputs import SHUT_COOLANT_AFTER
from controller.core.rig import Grade
from controller.hardware.description import Ads1115Channel, Ds18b20, PulseMeter, Switch
from controller.hardware.scales import CurrentLoop, LiveZero, TwoPoint

SIMULATOR = Path(__file__).parents[2] / "simulator"


def wired(name: str) -> dict[str, Any]:
    return tomllib.loads((SIMULATOR / f"{name}.wiring.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module", params=rigs.names())
def shipped(request: pytest.FixtureRequest) -> CompiledRig:
    return load(rigs.shipped(request.param))


def test_all_that_ship_are_invented_and_load_without_a_warning(shipped: CompiledRig) -> None:
    assert shipped.warnings == ()
    assert shipped.core.simulated
    assert shipped.file.invented


def test_a_name_that_ships_needs_no_path_and_any_other_is_one() -> None:
    assert {"boathouse", "minimal", "voltage-knob", "fixed-voltage", "drooping", "uncooled"} == set(rigs.names())
    assert rigs.shipped("minimal").is_file()
    assert rigs.shipped("mine.toml") == Path("mine.toml")


def test_the_boathouse_may_be_left_and_the_minimal_rig_may_not() -> None:
    boathouse, minimal = (load(rigs.shipped(name)).core for name in ("boathouse", "minimal"))
    assert (boathouse.grade, boathouse.missing) == (Grade.UNATTENDED, ())
    assert minimal.grade is Grade.ATTENDED
    for words in (
        "second, independent means",
        "seals in",
        "ventilation",
        "water account",
        "leak sensor",
        "falls silent",
    ):
        assert sum(words in what for what in minimal.missing) == 1, words
    assert len(minimal.missing) == 6


def test_the_hash_is_that_of_the_file(shipped: CompiledRig) -> None:
    file = rigs.shipped(shipped.core.name).read_bytes()
    assert shipped.core.rig_hash == hashlib.sha256(file).hexdigest()[:16]


def test_pins_and_ids_are_those_of_the_bench(shipped: CompiledRig) -> None:
    bench, hardware = wired(shipped.core.name), shipped.hardware
    pins = {n: p if isinstance(p, int) else p["pin"] for n, p in bench["pins"].items()}
    outputs = {name: output.pin for name, output in hardware.outputs}
    assert hardware.heartbeat is not None
    outputs["edge"] = hardware.heartbeat.pin
    if hardware.set_point is not None:
        outputs["set_point"] = hardware.set_point.pin
        assert hardware.set_point.full_scale_a == bench["pins"]["set_point"]["full_scale_a"]
    assert outputs == pins
    sources = dict(hardware.signals)
    for meter in bench.get("meter", ()):
        source = sources[meter["signal"]]
        assert isinstance(source, PulseMeter)
        assert (source.pin, source.pulses_per_litre) == (meter["pin"], meter["pulses_per_litre"])
    for thermometer in bench.get("thermometer", ()):
        sensor = sources[thermometer["signal"]]
        assert isinstance(sensor, Ds18b20)
        assert sensor.sensor_id == thermometer["id"]
    others = {
        "main_contact": hardware.main_contact,
        "second_contact": hardware.second_contact,
        "relay_contact": hardware.relay_contact,
        **{f"{name}_button": button for name, button in hardware.buttons},
    }
    for contact in bench["contact"]:
        switch = sources.get(contact["signal"], others.get(contact["signal"]))
        assert isinstance(switch, Switch), contact["signal"]
        assert (switch.pin, switch.proven_when) == (contact["pin"], "low")
    wired_contacts = {contact["signal"] for contact in bench["contact"]}
    assert {n for n, s in sources.items() if isinstance(s, Switch)} <= wired_contacts


def test_each_converter_channel_reads_what_its_part_gives(shipped: CompiledRig) -> None:
    """Volts worked out from the wiring file's parts; numbers from the rig file's scaling."""
    sources = dict(shipped.hardware.signals)
    seen = 0
    for chip in wired(shipped.core.name)["converter"]:
        middle_v = next((part.get("middle_v") for part in chip["inputs"] if "middle_v" in part), None)
        for at, part in enumerate(chip["inputs"]):
            source = sources.get(part["signal"])
            if not isinstance(source, Ads1115Channel):
                continue
            seen += 1
            assert (source.chip.address, source.positive) == (chip["address"], at)
            match part["part"]:
                case "shunt":
                    assert isinstance(source.scale, TwoPoint)
                    per_a = part["shunt_mv"] / 1000.0 / part["shunt_a"] * part["gain"]
                    assert source.scale(30.0 * per_a).number == pytest.approx(30.0, rel=1e-5)
                    if source.chip.known is not None and source.chip.known.positive == source.negative:
                        assert source.chip.known.volts == middle_v
                case "hall":  # half of its rail at rest, behind two resistors, read against two others
                    assert source.negative is not None
                    rest_v = chip["inputs"][source.negative]["volts_always"]
                    share = part["bottom_ohm"] / (part["top_ohm"] + part["bottom_ohm"])
                    at_30_v = (part["rail_v"] / 2.0 + 30.0 * part["mv_per_a"] / 1000.0) * share
                    assert source.scale(at_30_v - rest_v).number == pytest.approx(30.0, abs=0.01)
                case "amplifier":
                    assert isinstance(source.scale, TwoPoint)
                    assert source.scale(6.6 * part["volt_per_volt"]).number == pytest.approx(6.6)
                    assert source.negative == (3 if part["middle_v"] else None)
                case "loop":
                    assert isinstance(source.scale, CurrentLoop)
                    middle_a = 0.012  # half way from 4 to 20 mA
                    halfway = (part["low"] + part["high"]) / 2.0
                    assert source.scale(middle_a * part["ohm"]).number == pytest.approx(halfway)
                case "linear":  # read against its mid-point where it is differential
                    assert isinstance(source.scale, TwoPoint if source.negative is not None else LiveZero)
                    rest_v = 0.0 if source.negative is None else chip["inputs"][source.negative]["volts_always"]
                    half_v, half = (part["low_v"] + part["high_v"]) / 2.0, (part["low"] + part["high"]) / 2.0
                    for at_v, number in ((part["low_v"], part["low"]), (half_v, half)):  # its upper end: out of reach
                        assert source.scale(at_v - rest_v).number == pytest.approx(number)
                case "ntc":  # at 25 C it has its nominal resistance
                    nominal = part["at_25_c_ohm"] / (part["at_25_c_ohm"] + part["pull_up_ohm"])
                    assert source.scale(part["pull_up_v"] * nominal).number == pytest.approx(25.0)
    assert seen == sum(isinstance(source, Ads1115Channel) for source in sources.values())


def test_thirty_amperes_are_code_4b00_and_the_converter_ends_at_51_a() -> None:
    rig = load(rigs.shipped("boathouse"))
    source = dict(rig.hardware.signals)["current"]
    assert isinstance(source, Ads1115Channel)
    assert source.scale(0x4B00 * source.full_scale_v / 32768.0).number == pytest.approx(30.0)
    current = rig.core.signals[rig.core.position("current")]
    assert current.electrical_high == pytest.approx(51.198, abs=1e-3)
    assert current.electrical_low == pytest.approx(-51.2, abs=1e-3)


def test_limits_that_the_core_names_are_there() -> None:
    names = {limit.name for limit in load(rigs.shipped("boathouse")).core.limits}
    assert names >= {"stop chain", "over-temperature", "coolant flow low", "over-current", "current while off"}
    assert SHUT_COOLANT_AFTER & names == SHUT_COOLANT_AFTER - {"level rising"}  # needs a level in mm


# Numbers as agreed for the boathouse: threshold, delay, grace, arming, who resets.
AGREED = {
    "over-temperature": (70.0, 2.0, 6.0, Arming.ALWAYS, TripKind.RESETTABLE),
    "coolant flow low": (0.8, 10.0, 2.0, Arming.POWERED, TripKind.RESETTABLE),
    "coolant flow high": (2.5, 3.0, 2.0, Arming.ALWAYS, TripKind.LOCAL),
    "over-current": (35.0, 1.0, 2.0, Arming.POWERED, TripKind.LOCAL),
    "short": (45.5, 0.0, 2.0, Arming.POWERED, TripKind.LOCK_OUT),
    "reversed": (-1.0, 0.0, 2.0, Arming.POWERED, TripKind.LOCK_OUT),
    "current while off": (0.5, 0.3, 2.0, Arming.OPENED, TripKind.LOCK_OUT),
    "cell voltage high": (9.0, 2.0, 2.0, Arming.POWERED, TripKind.LOCAL),
    "cell voltage low": (4.2, 1.5, 2.0, Arming.POWERED, TripKind.LOCAL),
    "gas pressure hydrogen side": (15.0, 0.3, 0.5, Arming.ALWAYS, TripKind.RESETTABLE),
    "room hydrogen": (0.8, 2.0, 2.0, Arming.ALWAYS, TripKind.LOCAL),
    "hydrogen in oxygen": (2.0, 5.0, 2.0, Arming.POWERED, TripKind.LOCAL),
}


@pytest.mark.parametrize("name", AGREED)
def test_the_boathouse_trips_where_agreed(name: str) -> None:
    limit = {x.name: x for x in load(rigs.shipped("boathouse")).core.limits}[name]
    assert limit.effect is Effect.TRIP
    assert (limit.threshold, limit.delay_s, limit.grace_s, limit.armed, limit.kind) == pytest.approx(AGREED[name])


def test_flow_and_air_are_proven_by_the_start_and_nothing_else_is() -> None:
    limits = load(rigs.shipped("boathouse")).core.limits
    assert {limit.name for limit in limits if limit.proving} == {"coolant flow low", "ventilation lost"}


def test_a_window_of_intermittence_is_three_graces() -> None:
    rig = load(rigs.shipped("boathouse")).core
    assert rig.signals[rig.position("pressure_hydrogen")].window_scans == 15  # 3 x 0.5 s at ten a second
    assert rig.signals[rig.position("current")].window_scans == 60
    assert rig.signals[rig.position("cell_temperature")].window_scans == 180


def test_a_sample_of_the_shared_bus_is_not_old_before_the_next_one_comes() -> None:
    """A sensor is asked again after all others; a result is there 0.92 s after its start."""
    for name in rigs.names():
        rig = load(rigs.shipped(name))
        sensors = [s for s in rig.core.signals if s.device == "1-Wire bus"]
        for sensor in sensors:
            assert 1.5 * sensor.period_s > 0.92 * (len(sensors) + 1)


def test_what_may_be_asked_from_elsewhere_is_what_the_file_grants() -> None:
    assert load(rigs.shipped("minimal")).core.permitted == frozenset()
    assert load(rigs.shipped("boathouse")).core.permitted == {
        (Verb.START, Source.REMOTE),
        (Verb.RESET, Source.REMOTE),
        (Verb.SET_CURRENT, Source.REMOTE),
        (Verb.START, Source.PLAN),
    }


def test_venting_takes_five_volumes_by_faraday() -> None:
    """1.45 L x 5 / 24.465 L/mol x 2 F / 3 cells, gas at 25 C."""
    assert load(rigs.shipped("boathouse")).core.vent_charge_c == pytest.approx(19062, rel=1e-3)


def test_what_runs_needs_no_pydantic(shipped: CompiledRig) -> None:
    packed = pickle.dumps((shipped.core, shipped.hardware))
    assert b"pydantic" not in packed
    assert b"controller.config" not in packed
    assert pickle.loads(packed) == (shipped.core, shipped.hardware)
