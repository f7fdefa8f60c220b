"""What a case says about its charger: compressor side, cooler, charge pipe, and the exhaust before the turbine. SI inside.

Three kinds, by what is known of the exhaust: a turbine whose shaft must balance, measured pressures, or a stated ratio.
"""

from __future__ import annotations

from typing import Annotated, Literal

from waveflow.engine.fields import Choice, Number, Quantity, guess, guessed_number, standard
from waveflow.engine.part import Part, one_of, series
from waveflow.engine.parts_pipe import BORE_OF_PIPE

_MEMORY = "textbook-type value, from memory"
_PRACTICE = "common practice, no source"
EXHAUST = Quantity(
    "pressure", "50 kPa abs", "1500 kPa abs", ("90 kPa abs", "600 kPa abs"), why="mean in the manifold, before the turbine",
    example="250 kPa abs",
)  # fmt: skip


class _Charger(Part):
    """What all kinds share. `boost` is the pressure before the throttle [Pa absolute inside], behind cooler and charge pipe's
    inlet. The charge is as warm as `charge_temperature` says, else as the compressor and the cooler leave it."""

    boost: Annotated[
        float,
        Quantity(
            "pressure", "80 kPa abs", "700 kPa abs", ("120 kPa abs", "350 kPa abs"), why="charge before the throttle",
            example="110 kPa gauge",
        ),
    ]  # fmt: skip
    charge_temperature: (
        Annotated[
            float,
            Quantity(
                "temperature", "-20 degC", "250 degC", ("15 degC", "120 degC"), why="charge behind the cooler",
                example="45 degC",
            ),
        ]
        | None
    ) = None  # fmt: skip
    cooler: Annotated[str, Choice(("air", "none"), why="what cools the charge")] = standard("air", "cooled by ambient air")
    cooler_effectiveness: Annotated[
        float, Quantity("fraction", "0 %", "100 %", ("30 %", "95 %"), why="of the way down to ambient")
    ] = guess("fraction", "70 %", "50 %", "85 %", f"charge cooler; {_PRACTICE}")
    compressor_efficiency: Annotated[
        float, Quantity("fraction", "30 %", "90 %", ("55 %", "80 %"), why="isentropic over true work")
    ] = guess("fraction", "70 %", "60 %", "77 %", f"compressor; {_MEMORY}")
    filter_loss: Annotated[
        float, Quantity("pressure_difference", "0 kPa", "20 kPa", ("0 kPa", "6 kPa"), why="before the compressor")
    ] = guess("pressure_difference", "2 kPa", "0.5 kPa", "5 kPa", f"air filter and its pipe; {_PRACTICE}")
    filter_loss_at: (
        Annotated[float, Quantity("mass_flow", "1 g/s", "2000 g/s", why="air flow of the filter's loss")] | None
    ) = None
    charge_pipe_length: (
        Annotated[
            float,
            Quantity("length", "20 mm", "6000 mm", ("200 mm", "3000 mm"), why="compressor to throttle", example="900 mm"),
        ]
        | None
    ) = None
    charge_pipe_diameter: Annotated[float, BORE_OF_PIPE] | None = None
    manifold_volume: Annotated[
        float, Quantity("volume", "20 cc", "20 L", ("100 cc", "5 L"), why="where the primaries meet, before the turbine")
    ] = guess("volume", "500 cc", "200 cc", "1500 cc", f"collector and turbine inlet; {_PRACTICE}")


class PowerBalance(_Charger):
    """A turbine as a choking nozzle of fixed area beside a wastegate, on one shaft with the compressor."""

    kind: Literal["power balance"]
    turbine_area: Annotated[
        float,
        Quantity(
            "area", "30 mm2", "20000 mm2", ("150 mm2", "3000 mm2"), why="nozzle that passes what the turbine passes",
            example="420 mm2",
        ),
    ]  # fmt: skip
    turbine_efficiency: Annotated[
        float, Quantity("fraction", "20 %", "90 %", ("50 %", "80 %"), why="true over isentropic work, total to static")
    ] = guess("fraction", "65 %", "55 %", "72 %", f"turbine, mean over its pulses; {_MEMORY}")
    mechanical_efficiency: Annotated[
        float, Quantity("fraction", "50 %", "100 %", ("85 %", "100 %"), why="of the shaft and its bearings")
    ] = guess("fraction", "95 %", "90 %", "98 %", f"shaft bearings; {_MEMORY}")
    wastegate_area: (
        Annotated[float, Quantity("area", "0 mm2", "20000 mm2", why="open all the way, as a nozzle", example="500 mm2")] | None
    ) = None
    behind_turbine: Annotated[
        float, Quantity("pressure_difference", "0 kPa", "150 kPa", ("0 kPa", "50 kPa"), why="above ambient")
    ] = guess("pressure_difference", "8 kPa", "2 kPa", "25 kPa", f"exhaust pipe behind the turbine; {_PRACTICE}")
    if_short: Annotated[str, Choice(("stop", "less boost"), why="where the turbine cannot hold the boost")] = standard(
        "stop", "a speed at which the boost cannot be held is refused"
    )


class MeasuredExhaust(_Charger):
    """The mean pressure in the manifold as a gauge showed it, linear between speeds and level beyond the last."""

    kind: Literal["measured exhaust pressure"]
    speed: series(Quantity("speed_rpm", "100 rpm", "25000 rpm", why="engine speed", example="2000 rpm"))
    exhaust_pressure: series(EXHAUST)


class ExhaustRatio(_Charger):
    """The mean pressure in the manifold as a multiple of that in the plenum, both absolute."""

    kind: Literal["exhaust ratio"]
    ratio: Annotated[float, Number(0.4, 5.0, (0.8, 2.2), why="exhaust over plenum, both absolute")] = guessed_number(
        1.5, 1.1, 2.2, f"small road turbo; well-matched race ones 0.8 to 1.5; {_PRACTICE}"
    )


Charger = one_of(PowerBalance, MeasuredExhaust, ExhaustRatio)
