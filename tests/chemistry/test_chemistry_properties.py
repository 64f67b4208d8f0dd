"""What always holds, over the whole stated range: directions, ends, inverses, arrays like scalars, refusals outside."""

from __future__ import annotations

import doctest
import inspect
import math
import re
from collections.abc import Callable
from functools import partial
from itertools import pairwise
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.chemistry import batch, efficiency, faraday, gas_safety, lye, room, thermodynamics
from controller.chemistry.errors import OutOfRange
from controller.chemistry.lye import Lye

MODULES = (faraday, thermodynamics, lye, batch, efficiency, gas_safety, room)
KINDS = st.sampled_from(list(Lye))
TEMPERATURE_C = st.floats(0.0, 120.0)
STRENGTH = st.floats(0.0, 0.30)  # where every property of both lyes is known
SOME = st.floats(1e-3, 1e3)
SHARE = st.floats(1e-4, 1.0)


def public(module: Any) -> list[Callable[..., Any]]:
    return [
        function
        for name, function in vars(module).items()
        if inspect.isfunction(function) and function.__module__ == module.__name__ and not name.startswith("_")
    ]


EVERY = [
    pytest.param(function, id=f"{module.__name__.rpartition('.')[2]}.{function.__name__}")
    for module in MODULES
    for function in public(module)
]


@pytest.mark.parametrize("function", EVERY)
def test_every_function_says_its_source(function: Callable[..., Any]) -> None:
    assert re.search(r"\b[Ss]ource\b", function.__doc__ or "")


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__.rpartition(".")[2])
def test_the_examples_in_the_docstrings_are_true(module: ModuleType) -> None:
    assert doctest.testmod(module).failed == 0


# One row a formula: the formula on its numbers alone, and where each of them may lie.
Formula = Callable[..., Any]
ON_NUMBERS: dict[str, tuple[Formula, tuple[st.SearchStrategy[float], ...]]] = {
    **{
        f"{of.__name__} {kind.formula}": (partial(of, kind), (STRENGTH, TEMPERATURE_C))
        for of in (
            lye.density_kg_m3,
            lye.conductivity_s_m,
            lye.heat_capacity_j_kg_k,
            lye.water_activity,
            lye.vapour_pressure_kpa,
        )
        for kind in Lye
    },
    **{f"freezing {kind.formula}": (partial(lye.freezing_point_c, kind), (STRENGTH,)) for kind in Lye},
    **{
        f"boiling {kind.formula}": (partial(lye.boiling_point_c, kind), (STRENGTH, st.floats(5.0, 500.0)))
        for kind in Lye
    },
    "saturation": (thermodynamics.water_vapour_pressure_kpa, (st.floats(0.0, 350.0),)),
    "vaporisation": (thermodynamics.heat_of_vaporisation_j_kg, (TEMPERATURE_C,)),
    "water heat": (thermodynamics.water_heat_capacity_j_kg_k, (TEMPERATURE_C,)),
    "standard voltage": (thermodynamics.standard_voltage_v, (TEMPERATURE_C, st.floats(0.1, 50.0))),
    "reversible voltage": (
        thermodynamics.reversible_voltage_v,
        (st.floats(0.0, 95.0), st.floats(0.9, 50.0), st.floats(0.1, 1.0)),
    ),
    "thermoneutral voltage": (thermodynamics.thermoneutral_voltage_v, (TEMPERATURE_C,)),
    "cold feed voltage": (thermodynamics.cold_feed_voltage_v, (TEMPERATURE_C,)),
    "hydrogen": (faraday.hydrogen_mol, (SOME, st.floats(1, 20))),
    "oxygen": (faraday.oxygen_g, (SOME, st.floats(1, 20))),
    "litres": (faraday.gas_litres, (SOME, st.floats(-50, 300), st.floats(50, 5000), st.floats(0, 49))),
    "evaporated": (faraday.evaporated_g, (SOME, st.floats(0, 49), st.floats(50, 5000))),
    "voltage efficiency": (efficiency.voltage_efficiency, (st.floats(0.1, 100.0),)),
    "faraday efficiency": (efficiency.faraday_efficiency, (st.floats(0.0, 10.0), SOME)),
    "energy efficiency": (efficiency.energy_efficiency, (st.floats(0.1, 100.0), SHARE)),
    "energy": (efficiency.energy_kwh_kg, (st.floats(0.1, 100.0), st.floats(0.01, 1.0))),
    "energy by volume": (efficiency.energy_kwh_nm3, (st.floats(0.1, 100.0), st.floats(0.01, 1.0))),
    "heat": (efficiency.heat_w, (SOME, st.floats(0.5, 5.0), TEMPERATURE_C)),
    "crossover": (gas_safety.hydrogen_in_oxygen, (st.floats(0.0, 1e5), st.floats(1e-9, 1e-2))),
    "left": (gas_safety.oxygen_left, (st.floats(0.0, 50.0), SHARE)),
    "until fit": (gas_safety.time_until_fit_min, (SOME, SOME)),
    "charge until fit": (gas_safety.charge_until_fit_c, (SOME, st.floats(0.0, 20.0))),
    "suck back": (
        gas_safety.suck_back_l,
        (SOME, st.floats(0.0, 90.0), st.floats(0.0, 90.0), SHARE.filter(lambda x: x > 0.01)),
    ),
    "stored energy": (gas_safety.stored_energy_kj, (SOME, SHARE)),
    "dilution": (room.dilution_air_m3_h, (SOME, SHARE)),
    "room": (room.hydrogen_fraction, (st.floats(0.0, 10.0), st.floats(0.0, 1e4), SOME, st.floats(0.0, 1e4))),
    "natural": (
        room.natural_fraction,
        (st.floats(0.0, 10.0), st.floats(1e-4, 1.0), st.floats(1e-4, 1.0), st.floats(0.1, 5.0)),
    ),
    "closed": (room.closed_room_hours, (st.floats(1e-3, 1.0), SOME, SHARE)),
    "strength after": (
        batch.fraction_after,
        (st.floats(0.0, 0.5), st.floats(10.0, 100.0), st.floats(0.0, 4.9), st.floats(0.0, 100.0), SHARE),
    ),
    "carbonate": (batch.carbonate_open_surface_mol, (SOME, SOME)),
}


@pytest.mark.parametrize("name", ON_NUMBERS)
@given(data=st.data())
@settings(max_examples=25, deadline=None)
def test_inside_its_range_a_formula_gives_a_finite_number_and_an_array_the_same_ones(
    name: str, data: st.DataObject
) -> None:
    formula, ranges = ON_NUMBERS[name]
    rows = data.draw(st.lists(st.tuples(*ranges), min_size=1, max_size=4))
    singly = [formula(*row) for row in rows]
    assert all(type(number) is float and math.isfinite(number) for number in singly)
    together = formula(*np.array(rows).T)
    assert together.shape == (len(rows),)
    assert together == pytest.approx(np.array(singly), rel=1e-12, abs=1e-12)


@given(STRENGTH, st.lists(TEMPERATURE_C, min_size=1, max_size=6))
@settings(deadline=None)
def test_one_strength_at_many_temperatures_keeps_the_shape_of_the_temperatures(
    fraction: float, temperatures: list[float]
) -> None:
    column = np.array(temperatures).reshape(-1, 1)
    assert lye.density_kg_m3(Lye.KOH, fraction, column).shape == column.shape


def rises(formula: Callable[[float], float], low: float, high: float, steps: int = 60) -> bool:
    values = [formula(x) for x in np.linspace(low, high, steps)]
    return all(b > a for a, b in pairwise(values))


@given(KINDS, TEMPERATURE_C)
@settings(max_examples=25, deadline=None)
def test_more_hydroxide_is_heavier_drier_and_boils_later(kind: Lye, temperature_c: float) -> None:
    assert rises(lambda w: lye.density_kg_m3(kind, w, temperature_c), 0.0, 0.5)
    assert rises(lambda w: -lye.water_activity(kind, w, temperature_c), 0.0, 0.4)
    assert rises(lambda w: -lye.heat_capacity_j_kg_k(kind, w, min(temperature_c, 90.0)), 0.002, 0.20)


@given(KINDS, st.floats(20.0, 200.0))
@settings(max_examples=10, deadline=None)
def test_stronger_lye_boils_hotter_and_so_does_lye_under_pressure(kind: Lye, pressure_kpa: float) -> None:
    assert rises(lambda w: lye.boiling_point_c(kind, w, pressure_kpa), 0.0, 0.4, 9)
    assert rises(lambda p: lye.boiling_point_c(kind, 0.25, p), pressure_kpa, 2 * pressure_kpa, 5)


@given(KINDS, st.floats(0.005, 0.30))
@settings(max_examples=25, deadline=None)
def test_warm_lye_is_lighter_conducts_better_and_steams_more(kind: Lye, fraction: float) -> None:
    assert rises(lambda t: -lye.density_kg_m3(kind, fraction, t), 5.0, 120.0)
    assert rises(lambda t: lye.conductivity_s_m(kind, fraction, t), 0.0, 120.0)
    assert rises(lambda t: lye.vapour_pressure_kpa(kind, fraction, t), 0.0, 200.0)


@pytest.mark.parametrize(("kind", "low", "high"), [(Lye.NAOH, 0.12, 0.26), (Lye.KOH, 0.22, 0.38)])
@pytest.mark.parametrize("temperature_c", [5.0, 25.0, 60.0])
def test_conductivity_has_one_maximum_at_a_strength_people_use(
    kind: Lye, low: float, high: float, temperature_c: float
) -> None:
    """Common practice, no source: NaOH from 15 %, KOH from 25 %, both moving up as the lye warms."""
    fractions = np.linspace(0.0, lye._OF[kind].conductivity_to, 200)
    values = lye.conductivity_s_m(kind, fractions, temperature_c)
    best = int(values.argmax())
    assert low < fractions[best] < high
    assert (np.diff(values[: best + 1]) > 0).all()
    assert (np.diff(values[best:]) < 0).all()


def test_voltages_go_the_way_thermodynamics_says() -> None:
    assert rises(lambda t: -thermodynamics.standard_voltage_v(t), 0.0, 120.0)
    assert rises(lambda t: -thermodynamics.thermoneutral_voltage_v(t), 0.0, 120.0)
    assert rises(thermodynamics.cold_feed_voltage_v, 0.0, 120.0)
    assert rises(lambda p: thermodynamics.reversible_voltage_v(60.0, p, 0.7), 0.5, 50.0)
    assert rises(lambda a: -thermodynamics.reversible_voltage_v(20.0, 1.0, a), 0.1, 1.0)


@pytest.mark.parametrize(
    "function",
    [
        faraday.hydrogen_mol,
        faraday.oxygen_mol,
        faraday.water_mol,
        faraday.hydrogen_g,
        faraday.oxygen_g,
        faraday.water_g,
    ],
)
def test_no_charge_makes_nothing(function: Callable[..., float]) -> None:
    assert function(0.0, 3) == 0.0


@given(SOME, st.integers(1, 50))
def test_charge_and_hydrogen_are_each_others_inverse(charge_c: float, cells: int) -> None:
    assert faraday.charge_c(faraday.hydrogen_mol(charge_c, cells), cells) == pytest.approx(charge_c, rel=1e-12)


@given(SOME, st.floats(-50.0, 300.0), st.floats(60.0, 5000.0), st.floats(0.0, 50.0))
def test_litres_and_moles_are_each_others_inverse(
    mol: float, temperature_c: float, pressure_kpa: float, vapour_kpa: float
) -> None:
    litres = faraday.gas_litres(mol, temperature_c, pressure_kpa, vapour_kpa)
    assert faraday.gas_mol(litres, temperature_c, pressure_kpa, vapour_kpa) == pytest.approx(mol, rel=1e-12)


@given(KINDS, st.floats(0.0, 0.5), TEMPERATURE_C)
@settings(deadline=None)
def test_a_hydrometer_gives_back_the_strength_the_density_came_from(
    kind: Lye, fraction: float, temperature_c: float
) -> None:
    density = lye.density_kg_m3(kind, fraction, temperature_c)
    assert lye.mass_fraction(kind, density, temperature_c) == pytest.approx(fraction, abs=1e-9)


@given(KINDS, st.floats(0.0, 0.4), st.floats(10.0, 300.0))
@settings(deadline=None)
def test_at_its_boiling_point_the_vapour_has_the_pressure(kind: Lye, fraction: float, pressure_kpa: float) -> None:
    boils_c = lye.boiling_point_c(kind, fraction, pressure_kpa)
    assert lye.vapour_pressure_kpa(kind, fraction, boils_c) == pytest.approx(pressure_kpa, rel=1e-9)


@given(st.floats(1e-6, 0.99), st.floats(1e-9, 1e-2))
def test_crossover_current_and_share_are_each_others_inverse(fraction: float, leak: float) -> None:
    density = gas_safety.current_density_a_m2(fraction, leak)
    assume(density < 1e6)
    assert gas_safety.hydrogen_in_oxygen(density, leak) == pytest.approx(fraction, rel=1e-9)
    assert gas_safety.crossover_mol_s_m2(fraction, density) == pytest.approx(leak, rel=1e-9)


@given(st.floats(1e-8, 1e-3))
def test_less_current_always_means_more_hydrogen_in_the_oxygen(leak: float) -> None:
    assert rises(lambda j: -gas_safety.hydrogen_in_oxygen(j, leak), 0.0, 4000.0)
    assert gas_safety.hydrogen_in_oxygen(0.0, leak) == 1.0


@given(st.floats(0.0, 20.0), st.floats(0.01, 1.0))
def test_purge_volumes_and_oxygen_left_are_each_others_inverse(volumes: float, start: float) -> None:
    assert gas_safety.volume_changes(gas_safety.oxygen_left(volumes, start), start) == pytest.approx(volumes, abs=1e-9)


@given(SOME, st.floats(1.0, 90.0), st.floats(1.0, 90.0), st.floats(0.1, 1.0))
def test_cooling_draws_in_and_warming_pushes_out_the_same_gas(
    gas_l: float, warm_c: float, cold_c: float, activity: float
) -> None:
    cooled_l = gas_l - gas_safety.suck_back_l(gas_l, warm_c, cold_c, activity)
    assert gas_safety.suck_back_l(cooled_l, cold_c, warm_c, activity) == pytest.approx(
        cooled_l - gas_l, rel=1e-9, abs=1e-9
    )
    if warm_c > cold_c + 0.1:
        assert 0.0 < gas_l - cooled_l < gas_l


@given(st.floats(1e-3, 1.0), st.floats(1e-3, 0.5))
def test_the_air_asked_for_holds_the_room_at_the_share_asked_for(hydrogen_m3_h: float, fraction: float) -> None:
    air_m3_h = room.dilution_air_m3_h(hydrogen_m3_h, fraction)
    assert room.hydrogen_fraction(hydrogen_m3_h, air_m3_h, 30.0, 1e6) == pytest.approx(fraction, rel=1e-9)
    assert room.hydrogen_fraction(hydrogen_m3_h, 2.0 * air_m3_h, 30.0, 1e6) < fraction


@given(st.floats(1e-3, 1.0), st.floats(1.0, 1000.0), st.floats(1e-4, 0.02))
def test_a_closed_room_is_never_said_to_take_longer_than_it_does(
    hydrogen_m3_h: float, space_m3: float, fraction: float
) -> None:
    hours = room.closed_room_hours(hydrogen_m3_h, space_m3, fraction)
    mixed = room.hydrogen_fraction(hydrogen_m3_h, 0.0, space_m3, hours)
    assert mixed <= fraction * (1 + 1e-12)
    assert mixed == pytest.approx(fraction, rel=0.011)


@given(st.floats(1e-3, 0.05), st.floats(0.005, 0.2), st.floats(0.5, 3.0))
def test_larger_or_higher_openings_hold_less_hydrogen(hydrogen_m3_h: float, opening_m2: float, height_m: float) -> None:
    share = room.natural_fraction(hydrogen_m3_h, opening_m2, opening_m2, height_m)
    assert room.natural_fraction(hydrogen_m3_h, 2 * opening_m2, opening_m2, height_m) < share
    assert room.natural_fraction(hydrogen_m3_h, opening_m2, opening_m2, 2 * height_m) < share


@given(KINDS, st.floats(0.01, 0.30), st.floats(0.1, 50.0), st.floats(0.5, 1.0), st.floats(5.0, 40.0))
@settings(deadline=None)
def test_a_batch_has_the_strength_and_volume_asked_for(
    kind: Lye, fraction: float, litres: float, purity: float, temperature_c: float
) -> None:
    made = batch.batch(kind, fraction, litres, purity, temperature_c)
    total_g = made.pack_g + made.water_g
    assert made.pack_g * purity / total_g == pytest.approx(fraction, rel=1e-9)
    assert total_g / lye.density_kg_m3(kind, fraction, temperature_c) == pytest.approx(litres, rel=1e-9)
    assert made.portions * batch.PORTION_RISE_K >= made.rise_k > 0.0


@given(KINDS, st.floats(0.05, 0.30), st.floats(0.05, 0.30), st.floats(1.0, 20.0), st.floats(0.8, 1.0))
@settings(deadline=None)
def test_both_ways_of_correcting_end_at_the_strength_wanted(
    kind: Lye, now: float, wanted: float, litres: float, purity: float
) -> None:
    change = batch.correct(kind, now, wanted, litres, purity)
    added = purity if change.add == "caustic" else 0.0
    kg_l = lye.density_kg_m3(kind, now, 25.0) / 1000
    kept_kg = kg_l * litres
    assert batch.fraction_after(now, kept_kg, added_kg=change.add_g / 1000, added_fraction=added) == pytest.approx(
        wanted, rel=1e-9
    )
    drained_kg = kept_kg - kg_l * change.drain_l
    replaced = batch.fraction_after(now, drained_kg, added_kg=change.replace_g / 1000, added_fraction=added)
    assert replaced == pytest.approx(wanted, rel=1e-9)
    volume_l = (drained_kg + change.replace_g / 1000) / lye.density_kg_m3(kind, wanted, 25.0) * 1000
    assert volume_l == pytest.approx(litres, rel=1e-9)


@given(st.floats(0.05, 0.40), st.floats(1.0, 50.0), st.floats(0.0, 0.5))
def test_water_used_and_poured_back_changes_nothing(fraction: float, lye_kg: float, used: float) -> None:
    water_kg = used * lye_kg * (1 - fraction)
    assert batch.fraction_after(fraction, lye_kg, water_kg, water_kg) == pytest.approx(fraction, rel=1e-12)
    assert batch.fraction_after(fraction, lye_kg, water_kg) >= fraction * (1 - 1e-12)


@given(KINDS, st.floats(0.01, 0.45), st.floats(0.1, 20.0), st.floats(0.0, 1.0))
def test_every_carbonate_takes_two_hydroxides(kind: Lye, fraction: float, lye_kg: float, share: float) -> None:
    hydroxide_mol = 1000 * fraction * lye_kg / kind.molar_mass_g_mol
    left = batch.hydroxide_fraction_after_carbonate(kind, fraction, lye_kg, share * hydroxide_mol / 2)
    assert left == pytest.approx(fraction * (1 - share), abs=1e-12)


REFUSED: list[tuple[Callable[[], object], str]] = [
    (lambda: lye.density_kg_m3(Lye.KOH, 0.6, 20.0), "mass_fraction is 0.6; give 0 to 0.5 (share of mass)"),
    (lambda: lye.density_kg_m3(Lye.KOH, 0.2, 121.0), "temperature_c is 121; give 0 to 120 C"),
    (lambda: lye.density_kg_m3(Lye.KOH, 0.2, np.array([20.0, -1.0])), "temperature_c is -1; give 0 to 120 C"),
    (lambda: lye.water_activity(Lye.NAOH, 0.45, 20.0), "mass_fraction is 0.45; give 0 to 0.4 (share of mass)"),
    (lambda: lye.boiling_point_c(Lye.NAOH, 0.2, 1.0), "pressure_kpa is 1; give 5 to 500 kPa"),
    (lambda: lye.conductivity_s_m(Lye.NAOH, math.nan, 20.0), "mass_fraction is nan; give 0 to 0.3 (share of mass)"),
    (lambda: thermodynamics.standard_voltage_v(25.0, 0.0), "pressure_bar is 0; give 0.1 to 50 bar"),
    (lambda: batch.batch(Lye.KOH, 0.45, 1.0, 0.4), "purity is 0.4; give 0.5 to 1 (share of mass)"),
    (lambda: gas_safety.oxygen_left(-1.0), "volume_changes is -1; give 0 to 1000 volumes"),
    (lambda: room.layer_m3(12.0, 0.0), "depth_m is 0; give 0.001 to 100 m"),
]


@pytest.mark.parametrize(("ask", "message"), REFUSED, ids=[message for _, message in REFUSED])
def test_outside_its_range_a_formula_names_the_value_the_range_and_the_unit(
    ask: Callable[[], object], message: str
) -> None:
    with pytest.raises(OutOfRange) as refusal:
        ask()
    assert str(refusal.value) == message


def test_a_hydrometer_reading_lighter_than_water_is_refused() -> None:
    with pytest.raises(OutOfRange, match="kg/m3 at that temperature"):
        lye.mass_fraction(Lye.KOH, 900.0, 20.0)
