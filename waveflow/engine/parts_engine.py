"""What a case says about the engine itself and how it is run: sizes, compression, fuel, burn, walls, ideal switches."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from waveflow.engine.fields import Choice, Number, Quantity, Whole, Words, YesNo, guess, guessed_number, standard
from waveflow.engine.part import Part, one_of, series

_MEMORY = "textbook-type value, from memory"
_METAL = Quantity("temperature", "-20 degC", "600 degC", ("40 degC", "350 degC"), why="mean over the surface and cycle")


class Engine(Part):
    cylinders: Annotated[int, Whole(1, 16, why="cylinders", example="4")]
    firing_order: (
        Annotated[tuple[Annotated[int, Whole(1, 16, why="cylinders as they fire")], ...], Field(max_length=16)] | None
    ) = None
    bore: Annotated[
        float, Quantity("length", "20 mm", "300 mm", ("40 mm", "135 mm"), why="engine cylinder", example="80.6 mm")
    ]
    stroke: Annotated[
        float, Quantity("length", "15 mm", "300 mm", ("30 mm", "140 mm"), why="engine cylinder", example="76.2 mm")
    ]
    rod_length: Annotated[
        float, Quantity("length", "25 mm", "600 mm", ("70 mm", "260 mm"), why="centre to centre", example="128 mm")
    ]
    pin_offset: Annotated[float, Quantity("length", "-20 mm", "20 mm", ("-3 mm", "3 mm"), why="pin off centre")] = (
        standard(0.0, "pin on the cylinder's centreline")
    )
    redline: (
        Annotated[
            float,
            Quantity(
                "speed_rpm",
                "300 rpm",
                "25000 rpm",
                ("3000 rpm", "15000 rpm"),
                why="highest speed it stands",
                example="7000 rpm",
            ),
        ]
        | None
    ) = None


class Compression(Part):
    """Either a ratio, or what the burette and the gauges say; `clearance_volume` [m3] follows from both."""

    ratio: Annotated[float, Number(4.0, 25.0, (7.5, 15.0), why="compression ratio", example="9.8")] | None = None
    chamber: (
        Annotated[
            float, Quantity("volume", "1 cc", "500 cc", ("8 cc", "150 cc"), why="head chamber", example="36.5 cc")
        ]
        | None
    ) = None
    dish: Annotated[
        float, Quantity("volume", "-100 cc", "200 cc", ("-40 cc", "60 cc"), why="piston crown, + is a dish")
    ] = standard(0.0, "flat piston")
    deck: Annotated[
        float, Quantity("length", "-5 mm", "20 mm", ("-1.5 mm", "3 mm"), why="piston below the deck at TDC")
    ] = standard(0.0, "piston level with the deck")
    gasket_bore: (
        Annotated[float, Quantity("length", "20 mm", "310 mm", why="hole in the head gasket", example="81.6 mm")] | None
    ) = None
    gasket_thickness: (
        Annotated[
            float, Quantity("length", "0.05 mm", "10 mm", ("0.3 mm", "3 mm"), why="squeezed gasket", example="1.2 mm")
        ]
        | None
    ) = None
    chambers: series(Quantity("volume", "1 cc", "500 cc", ("8 cc", "150 cc"), why="one for each cylinder"), 1) | None = None
    _clearance_volume: float = PrivateAttr(default=math.nan)

    @property
    def clearance_volume(self) -> float:
        """Volume [m3] above the piston at top dead centre, one cylinder (pin offset not counted)."""
        return self._clearance_volume


class Ambient(Part):
    pressure: Annotated[
        float,
        Quantity(
            "absolute_pressure",
            "40 kPa abs",
            "120 kPa abs",
            ("80 kPa abs", "105 kPa abs"),
            example="101 kPa abs",
            why="weather",
        ),
    ]
    temperature: Annotated[
        float, Quantity("temperature", "-50 degC", "70 degC", ("-10 degC", "45 degC"), why="weather", example="20 degC")
    ]
    relative_humidity: Annotated[float, Quantity("fraction", "0 %", "100 %", why="weather", example="55 %")] = guess(
        "fraction", "50 %", "20 %", "90 %", "a middling day"
    )


class _Lambda(Number):
    """Air over what the fuel needs; an air-fuel ratio in its place is the likely slip."""

    def _cure(self, value: float) -> str:
        if 9.0 <= value <= 20.0:
            return "that looks like an air-fuel ratio: 13.0 to 1 on gasoline is lambda 0.89"
        return super()._cure(value)


class Fuel(Part):
    kind: Annotated[
        str, Choice(("gasoline", "ethanol_blend", "methanol", "none"), why="what is burned", example="gasoline")
    ]
    lambda_: Annotated[float, _Lambda(0.6, 2.0, (0.75, 1.1), why="air over what the fuel needs")] = Field(
        default=0.89,
        alias="lambda",
        json_schema_extra={
            "mark": "guess", "low": 0.78, "high": 0.95, "why": "mixture at full load; common practice, no source",
        },
    )  # fmt: skip
    added: Annotated[str, Choice(("valve", "plenum"), why="where the vapour joins the air")] = standard(
        "valve", "injected at the valve: fresh pipes hold air"
    )
    evaporation_share: Annotated[float, Quantity("fraction", "0 %", "100 %", why="share of the latent heat")] = guess(
        "fraction", "30 %", "0 %", "70 %", "share of the latent heat taken from the charge; our choice"
    )
    temperature: Annotated[float, Quantity("temperature", "-50 degC", "120 degC", why="liquid fuel")] | None = None


_HEAT = Annotated[
    float,
    Quantity(
        "energy_per_mass", "1 kJ/kg", "5000 kJ/kg", why="ideal gas only: heat per kg of fresh air", example="1800 kJ/kg"
    ),
]


class Wiebe(Part):
    """Wiebe burn by its half-burned angle [deg after TDC] and its 10-90 % duration [deg]."""

    kind: Literal["wiebe"]
    ca50: Annotated[float, Quantity("angle", "-20 deg", "80 deg", ("3 deg", "30 deg"), why="after firing TDC")] = guess(
        "angle", "9 deg", "6 deg", "14 deg", f"half burned; {_MEMORY}"
    )
    duration_10_90: Annotated[float, Quantity("angle", "5 deg", "120 deg", ("14 deg", "50 deg"), why="burn")] = guess(
        "angle", "26 deg", "20 deg", "34 deg", f"10 to 90 % burned; {_MEMORY}"
    )
    a: Annotated[float, Number(1.0, 12.0, (4.0, 7.5), why="Wiebe's efficiency factor")] = guessed_number(
        5.0, 5.0, 6.9, _MEMORY
    )
    m: Annotated[float, Number(0.1, 8.0, (1.0, 4.0), why="Wiebe's shape factor")] = guessed_number(
        2.0, 1.5, 3.0, _MEMORY
    )
    heat_per_kg_fresh_air: _HEAT | None = None


class WiebeDirect(Part):
    """Wiebe burn by start [deg, 0 = firing TDC, so 700 is 20 before it] and whole duration [deg]."""

    kind: Literal["wiebe_direct"]
    start: Annotated[float, Quantity("angle", "0 deg", "720 deg", why="0 is firing top dead centre", example="700 deg")]
    duration: Annotated[
        float, Quantity("angle", "5 deg", "200 deg", ("20 deg", "110 deg"), why="burn", example="50 deg")
    ]
    a: Annotated[float, Number(1.0, 12.0, (4.0, 7.5), why="Wiebe's efficiency factor", example="6.908")]
    m: Annotated[float, Number(0.1, 8.0, (1.0, 4.0), why="Wiebe's shape factor", example="2")]
    normalised: Annotated[bool, YesNo(why="is all burned at the end?")] = standard(True, "all burned at the end")
    heat_per_kg_fresh_air: _HEAT | None = None


class BurnTable(Part):
    """Measured burn: burned share against crank angle [deg after firing TDC]."""

    kind: Literal["table"]
    angle: series(Quantity("angle", "-180 deg", "360 deg", ("-90 deg", "180 deg"), why="after firing TDC"), 3)
    fraction: series(Number(0.0, 1.0, why="burned share"), 3)
    read_from: Annotated[str, Words(200, why="table the values came from")] = ""
    heat_per_kg_fresh_air: _HEAT | None = None


class Motored(Part):
    """No burn at all."""

    kind: Literal["motored"]


Burn = one_of(Wiebe, WiebeDirect, BurnTable, Motored)


class Walls(Part):
    head_temperature: Annotated[float, _METAL] = guess(
        "temperature", "180 degC", "140 degC", "230 degC", f"gas side of the head; {_MEMORY}"
    )
    piston_temperature: Annotated[float, _METAL] = guess(
        "temperature", "230 degC", "190 degC", "280 degC", f"piston crown; {_MEMORY}"
    )
    liner_temperature: Annotated[float, _METAL] = guess(
        "temperature", "150 degC", "110 degC", "190 degC", f"liner; {_MEMORY}"
    )
    heat: Annotated[str, Choice(("woschni", "hohenberg", "adiabatic"), why="heat to the cylinder walls")] = standard(
        "woschni", "wall heat by Woschni"
    )


_FRICTION = Quantity("mean_pressure", "5 kPa", "800 kPa", ("50 kPa", "350 kPa"), why="mean friction pressure")


class Friction(Part):
    """Mean friction pressure [Pa] at two speeds, linear in mean piston speed between and beyond; no pumping in it.

    `peak_share` of what the peak cylinder pressure exceeds `at_peak` by comes on top; 0 leaves the peak pressure out.
    """

    at_2000: Annotated[float, _FRICTION] = guess("mean_pressure", "95 kPa", "75 kPa", "120 kPa", f"friction; {_MEMORY}")
    at_7000: Annotated[float, _FRICTION] = guess(
        "mean_pressure", "210 kPa", "170 kPa", "260 kPa", f"friction; {_MEMORY}"
    )
    peak_share: Annotated[float, Number(0.0, 0.02, (0.0, 0.008), why="share of the peak cylinder pressure")] = standard(
        0.0, "friction by speed alone; 0.003 to 0.008 is usual where it counts, from memory"
    )
    at_peak: Annotated[
        float,
        Quantity(
            "absolute_pressure", "2000 kPa abs", "20000 kPa abs", ("4000 kPa abs", "12000 kPa abs"),
            why="peak cylinder pressure the two points stand for",
        ),
    ] = guess("absolute_pressure", "6000 kPa abs", "4500 kPa abs", "8000 kPa abs", "unboosted, full load; our choice")


_SPEED = Quantity("speed_rpm", "100 rpm", "25000 rpm", ("500 rpm", "15000 rpm"), why="engine speed", example="1500 rpm")


class Range(Part):
    """Speeds [rpm] that matter: the whole range, and the band the engine is used in."""

    from_: Annotated[float, _SPEED] = Field(alias="from")
    to: Annotated[float, _SPEED]
    band: Annotated[tuple[Annotated[float, _SPEED], ...], Field(min_length=2, max_length=2)] | None = None


GRIDS = {
    "quick": (0.025, 0.75, 1e-3, "filling within 0.3 % of its limit on the demo engines"),
    "standard": (0.016, 0.5, 3e-4, "filling within 0.15 % of its limit on the demo engines"),
    "fine": (0.005, 0.5, 1e-4, "filling within 0.05 % of its limit on the demo engines"),
}
"""Cell of a runner [m], that of an intake port over it, change from cycle to cycle, and what that was measured to cost
(benchmarks, frontier)."""


class Run(Part):
    """How finely and how long; `grid` fills in `cell` and `tolerance` where they are not given."""

    grid: Annotated[str, Choice(tuple(GRIDS), why="cells and cycles, coarse to fine")] = standard(
        "standard", GRIDS["standard"][-1]
    )
    cell: (
        Annotated[float, Quantity("length", "0.5 mm", "60 mm", ("2 mm", "25 mm"), why="cell of a runner", example="10 mm")]
        | None
    ) = None
    max_cycles: Annotated[int, Whole(2, 1000, why="cycles before giving up")] = standard(40, "cycles before giving up")
    tolerance: Annotated[float, Number(1e-10, 0.05, (1e-8, 2e-3), why="change from cycle to cycle")] | None = None
    cfl: Annotated[float, Number(0.05, 1.0, (0.3, 1.0), why="share of a cell a wave crosses in a step")] = standard(
        0.95, "share of a cell a wave crosses in a step"
    )


_START_TEMPERATURE = Quantity("temperature", "200 K", "3000 K", why="starting state only", example="300 K", unit="K")
_SHARE = Number(0.0, 1.0, why="share of burned gas")


class Ideal(Part):
    """Switches for verification and teaching; all off for a real engine."""

    gas: Annotated[str, Choice(("real", "constant gamma"))] = standard("real", "real gas mixtures")
    gamma: Annotated[float, Number(1.01, 1.7, (1.2, 1.67), why="ratio of specific heats")] = standard(1.4, "cold air")
    gas_constant: Annotated[
        float, Quantity("gas_constant", "50 J/kg/K", "5000 J/kg/K", ("200 J/kg/K", "500 J/kg/K"), why="ideal gas")
    ] = standard(287.05, "dry air")
    frictionless: Annotated[bool, YesNo(why="pipes")] = standard(False, "pipes have wall friction")
    adiabatic_pipes: Annotated[bool, YesNo(why="pipes")] = standard(False, "pipes exchange heat with their walls")
    infinite_plenum_at_valve: Annotated[bool, YesNo(why="no pipe at all")] = standard(False, "pipes as described")
    no_memory: Annotated[bool, YesNo(why="each cycle starts from rest")] = standard(
        False, "cycles run on until they repeat"
    )
    quasi_steady: Annotated[bool, YesNo(why="pipes without inertia")] = standard(False, "gas has inertia")
    valve_recovery: Annotated[str, Choice(("none", "momentum"), why="cylinder to pipe")] = standard(
        "none", "throat pressure equals pipe pressure when gas leaves the cylinder"
    )
    start_angle: Annotated[float, Quantity("angle", "0 deg", "720 deg", why="0 is firing top dead centre")] | None = (
        None
    )
    start_pressure: Annotated[float, Quantity("pressure", "5 kPa abs", "20000 kPa abs", why="start")] | None = None
    start_temperature: Annotated[float, _START_TEMPERATURE] | None = None
    start_burned: Annotated[float, _SHARE] | None = None
    exhaust_start_temperature: Annotated[float, _START_TEMPERATURE] | None = None
    exhaust_start_burned: Annotated[float, _SHARE] | None = None
