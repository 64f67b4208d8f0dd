"""`lyewatch curve`: what the demo cell's volts and efficiency do against its current, as numbers or as a picture.

Only wiring: numbers and picture come from simulator.plant.curves.
"""

from __future__ import annotations

import json
from pathlib import Path

import click

from controller.cli.problems import examples
from simulator.plant import BOATHOUSE
from simulator.plant.curves import PictureError, draw, minimum_current_a, polarisation

from .problems import Problem, json_option

SHARES = (0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.3)  # of rated current, in the table


@click.command(epilog=examples("curve", "curve --at 25 --at 62 --picture curve.png"))
@click.option(
    "--at", "temperatures", type=click.FloatRange(5.0, 100.0), multiple=True, default=(25.0, 62.0), show_default=True,
    help="Temperature of the lye, C; up to four times.",
)  # fmt: skip
@click.option("--picture", type=click.Path(dir_okay=False, path_type=Path), help="Draw it: a .png or .svg file.")
@json_option
def curve(temperatures: tuple[float, ...], picture: Path | None, as_json: bool) -> None:
    """Volts and efficiency of the invented demo cell against its current, from the simulator."""
    currents_a = [share * BOATHOUSE.wear.rated_a for share in SHARES]
    curves = {at: polarisation(BOATHOUSE, at, currents_a) for at in temperatures}
    fit_from_a = minimum_current_a(BOATHOUSE)
    if picture is not None:
        try:
            draw(BOATHOUSE, picture, temperatures)
        except (PictureError, OSError) as problem:
            raise Problem(str(problem), 2) from problem
    if as_json:
        click.echo(
            json.dumps(
                {
                    "rig": BOATHOUSE.title,
                    "minimum_current_a": fit_from_a,
                    "curves": [
                        {"temperature_c": at, "points": [point._asdict() for point in points]}
                        for at, points in curves.items()
                    ],
                },
                indent=2,
            )
        )
        return
    click.echo(f"{BOATHOUSE.title}: one cell; efficiency on the higher heating value; no measurement")
    click.echo("      A   mA/cm2" + "".join(f"{f'V at {at:g} C':>14}{'%':>5}" for at in curves))
    for n, amps in enumerate(currents_a):
        row = [points[n] for points in curves.values()]
        marked = "" if amps >= fit_from_a else "  gas not fit"
        cells = "".join(f"{p.cell_v:14.3f}{100.0 * p.efficiency_hhv:5.0f}" for p in row)
        click.echo(f"{amps:7.1f}{row[0].density_ma_cm2:9.0f}{cells}{marked}")
    click.echo(f"Below {fit_from_a:.1f} A more than 1 % of hydrogen would be in the oxygen.")
    if picture is not None:
        click.echo(f"Drawn: {picture}")


COMMANDS: list[click.Command] = [curve]
