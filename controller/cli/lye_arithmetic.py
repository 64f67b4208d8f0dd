"""`lyewatch lye`: weighing, reading and correcting lye, with the caution where the hand is."""

from __future__ import annotations

from collections.abc import Callable

import click

from controller.chemistry import batch as batches
from controller.chemistry import lye as properties
from controller.chemistry.batch import CAUTIONS
from controller.chemistry.errors import OutOfRange
from controller.chemistry.lye import Lye
from controller.cli.problems import examples

from .answers import (
    CM2_PER_M2,
    KINDS,
    LITRES_PER_M3,
    ROOM_TEMPERATURE_C,
    Answer,
    Line,
    answering,
    kind_option,
    number_option,
)

_PERCENT = number_option("--percent", "Strength, % by mass.")
_LITRES = number_option("--litres", "Litres of lye.")
_PURITY = number_option("--purity", "Purity on the pack, %.", default=100.0)
_AT = number_option("--at", "Temperature, C.", default=ROOM_TEMPERATURE_C, least=-50.0)


@click.group()
def lye() -> None:
    """Lye: weigh it, read its strength, correct it, look it up."""


@lye.command(epilog=examples("lye make --kind koh --percent 25 --litres 4 --purity 90"))
@kind_option()
@_PERCENT
@_LITRES
@_PURITY
@_AT
@answering
def make(kind: str, percent: float, litres: float, purity: float, at: float) -> Answer:
    """Grams to weigh for a batch, and how hot it gets."""
    made = batches.batch(KINDS[kind], percent / 100, litres, purity / 100, at)
    return Answer(
        f"{litres:g} L of {percent:g} % {KINDS[kind].formula} from a pack of {purity:g} %",
        [
            Line("water_g", "water first", made.water_g, "g", 0),
            Line("pack_g", "then, from the pack", made.pack_g, "g", 0),
            Line("portions", "in portions", made.portions, "", 0),
            Line("heat_kj", "heat set free", made.heat_kj, "kJ", 0),
            Line("rise_k", "warms by up to", made.rise_k, "K", 0),
            Line("solution_kg", "weighs in the end", made.solution_kg, "kg", 2),
        ],
        CAUTIONS,
    )


@lye.command(epilog=examples("lye read --kind koh --density 1.21 --at 28"))
@kind_option()
@number_option("--density", "What the hydrometer says, as 1.210 kg/L or as 1210 kg/m3.")
@number_option("--at", "Temperature of the lye when it was read, C.")
@answering
def read(kind: str, density: float, at: float) -> Answer:
    """Strength from a hydrometer reading."""
    kg_m3 = density if density > 100 else density * LITRES_PER_M3
    fraction = properties.mass_fraction(KINDS[kind], kg_m3, at)
    return Answer(
        f"{KINDS[kind].formula} of {kg_m3 / LITRES_PER_M3:.3f} kg/L at {at:g} C",
        [
            Line("percent", "strength (within 0.3)", 100 * fraction, "% by mass"),
            Line("grams_per_litre", "holds", fraction * kg_m3, "g/L", 0),
        ],
        ("Old lye holds carbonate, which is heavy too: the hydroxide is then less than this says.",),
    )


@lye.command(epilog=examples("lye correct --kind naoh --from 24 --to 20 --litres 4"))
@kind_option()
@number_option("--from now", "Strength now, % by mass.")
@number_option("--to wanted", "Strength wanted, % by mass.")
@_LITRES
@_PURITY
@_AT
@answering
def correct(kind: str, now: float, wanted: float, litres: float, purity: float, at: float) -> Answer:
    """Bring a filled rig up or down to a strength."""
    change = batches.correct(KINDS[kind], now / 100, wanted / 100, litres, purity / 100, at)
    stronger = change.add == "caustic"
    return Answer(
        f"{litres:g} L of {KINDS[kind].formula} from {now:g} % to {wanted:g} %",
        [
            Line("add", "add", change.add),
            Line("add_g", "how much, without draining", change.add_g, "g", 0),
            Line("litres_after", "then the rig holds", change.litres_after, "L", 2),
            Line("drain_l", "or, at the same level, first drain", change.drain_l, "L", 2),
            Line("replace_g", f"and replace it by {change.add}", change.replace_g, "g", 0),
        ],
        (
            "Power off, cold, vented. Split it between both sides, then circulate before you read the strength again.",
            *(
                ("Never pellets into the rig: draw off a litre or more, dissolve them in that, cold, then back.",)
                * stronger
            ),
            *CAUTIONS,
        ),
    )


@lye.command(epilog=examples("lye show --kind koh --percent 25 --at 60"))
@kind_option()
@_PERCENT
@_AT
@answering
def show(kind: str, percent: float, at: float) -> Answer:
    """Density, conductivity, boiling and freezing point of a lye."""
    of, fraction = KINDS[kind], percent / 100
    return Answer(
        f"{percent:g} % {of.formula} at {at:g} C",
        [
            Line("density_kg_m3", "density", properties.density_kg_m3(of, fraction, at), "kg/m3", 0),
            _known("conductivity_s_m", "conductivity", "S/m", 1, properties.conductivity_s_m, of, fraction, at),
            _known(
                "heat_capacity_j_kg_k",
                "heat capacity",
                "J/(kg K)",
                0,
                properties.heat_capacity_j_kg_k,
                of,
                fraction,
                at,
            ),
            _known(
                "vapour_pressure_kpa", "vapour pressure", "kPa", 2, properties.vapour_pressure_kpa, of, fraction, at
            ),
            _known("boiling_point_c", "boils at", "C", 1, properties.boiling_point_c, of, fraction),
            _known("freezing_point_c", "begins to freeze at", "C", 1, properties.freezing_point_c, of, fraction),
        ],
    )


def _known(key: str, words: str, unit: str, decimals: int, of_lye: Callable[..., float], *asked: Lye | float) -> Line:
    """A property where its data reach, and the word that they do not where they do not: the others are still useful."""
    try:
        return Line(key, words, of_lye(*asked), unit, decimals)
    except OutOfRange:
        return Line(key, words, "no data")


@lye.command("top-up", epilog=examples("lye top-up --kind koh --percent 25 --litres 4 --used 700 --added 500"))
@kind_option()
@_PERCENT
@_LITRES
@number_option("--used", "Water split and evaporated since, mL.", default=0.0)
@number_option("--added", "Poured in since, g (a millilitre of water is a gram).", default=0.0)
@number_option("--added-percent", "Strength of what was poured in, %; water is 0.", default=0.0)
@_AT
@answering
def top_up(
    kind: str, percent: float, litres: float, used: float, added: float, added_percent: float, at: float
) -> Answer:
    """Strength after water was used and something poured in."""
    kg = litres * properties.density_kg_m3(KINDS[kind], percent / 100, at) / LITRES_PER_M3
    after = batches.fraction_after(percent / 100, kg, used / 1000, added / 1000, added_percent / 100)
    return Answer(
        f"{litres:g} L of {percent:g} % {KINDS[kind].formula}, {used:g} mL used, {added:g} g added",
        [
            Line("percent", "strength now", 100 * after, "% by mass"),
            Line("restore_water_g", "water to bring the weight back", max(0.0, used - added), "g", 0),
        ],
        ("Electrolysis takes only water: top up with deionised water, power off and vented.",),
    )


@lye.command(epilog=examples("lye air --kind koh --percent 25 --litres 4 --surface 150 --hours 24"))
@kind_option()
@_PERCENT
@_LITRES
@number_option("--surface", "Surface open to the air, cm2.")
@number_option("--hours", "How long, h.")
@_AT
@answering
def air(kind: str, percent: float, litres: float, surface: float, hours: float, at: float) -> Answer:
    """Carbonate taken up by lye that stands open (an estimate, good to a factor of three)."""
    kg = litres * properties.density_kg_m3(KINDS[kind], percent / 100, at) / LITRES_PER_M3
    carbonate = batches.carbonate_open_surface_mol(surface / CM2_PER_M2, hours)
    left = batches.hydroxide_fraction_after_carbonate(KINDS[kind], percent / 100, kg, carbonate)
    return Answer(
        f"{litres:g} L of {percent:g} % {KINDS[kind].formula}, {surface:g} cm2 open for {hours:g} h",
        [
            Line("carbonate_mol", "carbonate formed, about", carbonate, "mol", 3),
            Line("percent", "hydroxide left, about", 100 * left, "% by mass", 2),
        ],
        ("Keep it closed: carbonate costs conductivity and a hydrometer does not see it.",),
    )
