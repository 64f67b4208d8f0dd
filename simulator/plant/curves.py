"""Polarisation and efficiency of a cell: as numbers, and as a picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from controller.chemistry import efficiency
from controller.chemistry.constants import GAS_J_MOL_K, ZERO_CELSIUS_K

from . import sides
from .gases import H2_MOL_C, O2_MOL_C
from .inputs import NEUTRAL
from .parameters import Parameters
from .rates import model

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FIT_PERCENT = 1.0  # hydrogen in oxygen at which people are warned
A_M2_PER_MA_CM2 = 10.0
DPI = 150
LOWEST_V = 1.2  # about the reversible voltage: nothing is made below
COLOURS = ("#2a6f97", "#c1440e", "#3a7d44", "#6a4c93")


class Point(NamedTuple):
    current_a: float
    density_ma_cm2: float
    cell_v: float
    efficiency_hhv: float  # higher heating value of the hydrogen made, over the electricity


class PictureError(Exception):
    """The picture cannot be drawn; the text says what to do."""


def polarisation(parameters: Parameters, temperature_c: float, currents_a: Iterable[float]) -> list[Point]:
    """Steady points of one cell at a temperature: film full, lye as filled, bubbles as that current makes them.

    currents_a: above 0. Joints are left out: this is the cell, not the leads.
    """
    plant, c, y = model(parameters), parameters.cell, parameters.hydraulics
    void_of = sides.void(c)
    litres = GAS_J_MOL_K * (temperature_c + ZERO_CELSIUS_K) / parameters.atmosphere_pa * y.bubble_s
    points = []
    for amps in currents_a:
        # the film is as full as it stays under this current: it takes what it leaks
        full_c = c.film_full_c * amps / (amps + c.film_full_c / c.film_leak_s)
        films = (full_c,) * c.cells
        bubbles_m3 = litres * amps * c.cells * (H2_MOL_C + O2_MOL_C)
        e = plant.electrodes(temperature_c, y.mass_fraction, 1.0, void_of(bubbles_m3), 0.0, 0.0, films, NEUTRAL)
        found = plant.stack(amps, films, e, 0.0)
        cell_v = found.cell_v[0]
        share = found.gas_a / (c.cells * amps)
        density = amps / c.electrode_area_m2 / A_M2_PER_MA_CM2
        points.append(Point(amps, density, cell_v, share * efficiency.voltage_efficiency(cell_v)))
    return points


def minimum_current_a(parameters: Parameters, percent: float = FIT_PERCENT) -> float:
    """The current below which crossover brings more than percent of hydrogen into the oxygen."""
    y, cells = parameters.hydraulics, parameters.cell.cells
    crossing = y.crossover_mol_s_bar * parameters.atmosphere_pa * 1e-5
    share = percent / 100.0
    # crossing x / (x + half) = share / (1 - share) x O2_MOL_C, with x the gas current of all cells
    return (crossing * (1.0 - share) / share / O2_MOL_C - y.crossover_half_a) / cells


def draw(
    parameters: Parameters,
    picture: Path,
    temperatures_c: Sequence[float] = (25.0, 62.0),
    largest_a: float | None = None,
) -> None:
    """Write the picture; its suffix says which kind (.png or .svg)."""
    try:
        from matplotlib.figure import Figure
    except ImportError as missing:
        raise PictureError("drawing needs matplotlib: pip install 'lyewatch[plot]'") from missing
    if picture.suffix not in (".png", ".svg"):
        raise PictureError(f"{picture} ends in {picture.suffix or 'nothing'}; give a name that ends in .png or .svg")
    rated_a = parameters.wear.rated_a
    largest_a = largest_a or 4.0 / 3.0 * rated_a
    per_a = 1.0 / parameters.cell.electrode_area_m2 / A_M2_PER_MA_CM2
    figure = Figure(figsize=(8.0, 7.0), layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True)
    currents_a = [largest_a * (n / 200.0) ** 1.5 for n in range(1, 201)]
    for temperature_c, colour in zip(temperatures_c, COLOURS, strict=False):
        points = polarisation(parameters, temperature_c, currents_a)
        (rated,) = polarisation(parameters, temperature_c, (rated_a,))
        coldest = temperature_c == min(temperatures_c)  # its curve is the highest in volts, the lowest in efficiency
        for axes, curve, mark, text, above in (
            (upper, [p.cell_v for p in points], rated.cell_v, f"{rated.cell_v:.2f} V", coldest),
            (
                lower,
                [100.0 * p.efficiency_hhv for p in points],
                100.0 * rated.efficiency_hhv,
                f"{100.0 * rated.efficiency_hhv:.0f} %",
                not coldest,
            ),
        ):
            axes.plot(
                [p.density_ma_cm2 for p in points], curve, color=colour, label=f"{temperature_c:g} °C", linewidth=2
            )
            axes.plot(rated.density_ma_cm2, mark, "o", color=colour)
            axes.annotate(
                text, (rated.density_ma_cm2, mark), xytext=(6, 8 if above else -16), textcoords="offset points",
                color=colour,
            )  # fmt: skip
    too_little = minimum_current_a(parameters) * per_a
    for axes in (upper, lower):
        _dress(axes, too_little, rated_a * per_a, largest_a * per_a)
    neutral_v = efficiency.voltage_efficiency(1.0)  # volts at which the electricity is just the heating value
    upper.axhline(neutral_v, color="#555555", linestyle="--", linewidth=1)
    upper.text(
        largest_a * per_a, neutral_v, f"{neutral_v:.2f} V: 100 % ", ha="right", va="bottom", fontsize=9, color="#555555"
    )
    upper.text(
        0.5 * too_little, 0.04, f"gas not fit\n(H₂ in O₂ > {FIT_PERCENT:g} %)",
        transform=upper.get_xaxis_transform(), ha="center", va="bottom", fontsize=9, color="#7a5c00",
    )  # fmt: skip
    upper.text(
        rated_a * per_a, 0.04, f" rated {rated_a:g} A", transform=upper.get_xaxis_transform(), fontsize=9,
        color="#555555",
    )  # fmt: skip
    upper.set_ylabel("cell voltage / V")
    upper.set_ylim(bottom=LOWEST_V)
    upper.legend(title="lye at", loc="upper left", bbox_to_anchor=(0.0, 1.0))
    lower.set_ylabel("efficiency on the higher heating value / %")
    lower.set_xlabel("current density / (mA/cm²)")
    lower.set_ylim(40.0, 100.0)
    amperes = upper.secondary_xaxis("top", functions=(lambda d: d / per_a, lambda a: a * per_a))
    amperes.set_xlabel("current / A")
    area_cm2 = parameters.cell.electrode_area_m2 * 1e4
    y = parameters.hydraulics
    figure.suptitle(
        f"{parameters.title}: one cell, {area_cm2:g} cm², {100.0 * y.mass_fraction:g} % {y.lye.formula} (simulated)"
    )
    figure.savefig(picture, dpi=DPI)


def _dress(axes: Axes, too_little: float, rated: float, largest: float) -> None:
    axes.axvspan(0.0, too_little, color="#f2c14e", alpha=0.3, linewidth=0)
    axes.axvline(rated, color="#555555", linestyle=":", linewidth=1)
    axes.set_xlim(0.0, largest)
    axes.grid(alpha=0.3)
