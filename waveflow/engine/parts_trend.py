"""What a case says about the trend of the burn's duration; all values SI, angles in crank degrees."""

from __future__ import annotations

from typing import Annotated

from waveflow.engine.fields import Number, Quantity, YesNo, guessed_number, standard
from waveflow.engine.part import Part


class BurnTrend(Part):
    """A TREND, no prediction: how the 10-90 % duration of [burn] changes with speed, residual gas and the inlet jet.

    The three `at_...` say where the duration of [burn] was found or believed: what `waveflow run` shows of the same engine at
    that speed. Two ports that are compared must share them, so they belong into the base.
    """

    use: Annotated[bool, YesNo(why="to compare with and without")] = standard(True, "the trend counts, as it is given")
    at_speed: Annotated[
        float,
        Quantity("speed_rpm", "300 rpm", "20000 rpm", ("1000 rpm", "9000 rpm"), why="reference point", example="4500 rpm"),
    ]
    at_residual: Annotated[
        float, Quantity("fraction", "0 %", "25 %", ("1 %", "12 %"), why="residual gas there", example="3.5 %")
    ]
    at_jet: Annotated[
        float,
        Quantity("velocity", "5 m/s", "500 m/s", ("40 m/s", "300 m/s"), why="inlet jet there", example="140 m/s"),
    ]
    jet_share: Annotated[float, Number(0.0, 1.0, why="share of the turbulence that follows the inlet jet")] = guessed_number(
        0.5, 0.2, 0.8, "the rest follows mean piston speed; our choice"
    )
    power: Annotated[float, Number(0.0, 1.0, (0.4, 0.9), why="of turbulence and flame speed in burn time")] = guessed_number(
        0.667, 0.5, 0.8, "two thirds: Hires, Tabaczynski & Novak 1978, from memory"
    )
    dilution: Annotated[float, Number(0.0, 3.0, (1.5, 2.6), why="loss of laminar speed by residual gas")] = guessed_number(
        2.06, 1.6, 2.5, "Rhodes & Keck 1985, from memory"
    )
