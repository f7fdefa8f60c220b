"""What a case says about a valve: its sizes, its cam and its flow. All values SI, angles in crank degrees."""

from __future__ import annotations

from typing import Annotated, Literal

from waveflow.engine.fields import Choice, Number, Quantity, Whole, Words, YesNo, guess, guessed_number, standard
from waveflow.engine.part import Part, one_of, series
from waveflow.engine.parts_station import Port

LIFT = Quantity("length", "0.2 mm", "30 mm", why="lift of a valve of a road or race engine", example="6.4 mm")
LASH = Quantity(
    "length", "0 mm", "1.5 mm", ("0 mm", "0.6 mm"), why="play between valve and follower", example="0.25 mm"
)
ROCKER = Number(0.5, 3.0, (0.9, 2.0), why="valve lift over lobe lift")
ROCKER_AT = Quantity("length", "0 mm", "30 mm", why="lobe lifts at which the ratio was read", example="1, 3, 6 mm")
ADVANCE = Quantity("angle", "-30 deg", "30 deg", ("-12 deg", "12 deg"), why="cam moved against its card, + is earlier")
_CHECKING = "a duration means nothing without the lift it was read at, at the follower"
_AREA = "a coefficient means nothing without the area it is counted on"
AREA_REFERENCES = ("curtain", "valve head")


class Valve(Part):
    """The valves of one side of one cylinder; lengths in m, angle in degrees."""

    count: Annotated[int, Whole(1, 4, why="valves of one side of one cylinder")] = standard(1, "one valve a side")
    head_diameter: Annotated[
        float, Quantity("length", "10 mm", "100 mm", ("18 mm", "60 mm"), why="valve head", example="38.5 mm")
    ]
    stem_diameter: Annotated[
        float, Quantity("length", "0 mm", "15 mm", ("4 mm", "12 mm"), why="valve stem", example="7 mm")
    ] = standard(0.0, "no stem taken off the throat; a station's blocked area says what the port loses to it")
    seat_angle: Annotated[
        float, Quantity("angle", "15 deg", "60 deg", ("30 deg", "55 deg"), why="seat against the valve head")
    ] = standard(45.0, "the common seat angle")
    throat_diameter: (
        Annotated[float, Quantity("length", "8 mm", "100 mm", why="passage just under the seat", example="32.6 mm")]
        | None
    ) = None


class Card(Part):
    """A cam as its card gives it. Lift and checking heights at the lobe (follower); lash at the valve."""

    kind: Literal["card"]
    lobe_lift: Annotated[float, LIFT]
    rocker_ratio: Annotated[float, ROCKER] = standard(1.0, "follower straight on the valve")
    lash: Annotated[float, LASH] = standard(0.0, "no play, as with hydraulic followers")
    duration: Annotated[
        float, Quantity("angle", "100 deg", "400 deg", ("180 deg", "330 deg"), why="crank degrees", example="208 deg")
    ]
    duration_at: Annotated[
        float,
        Quantity(
            "length",
            "0.01 mm",
            "3 mm",
            ("0.05 mm", "1.5 mm"),
            why="at the follower",
            must=_CHECKING,
            example="0.050 in",
        ),
    ]
    second_duration: (
        Annotated[float, Quantity("angle", "100 deg", "450 deg", ("180 deg", "360 deg"), why="crank degrees")] | None
    ) = None
    second_duration_at: (
        Annotated[float, Quantity("length", "0.01 mm", "3 mm", why="at the follower", must=_CHECKING)] | None
    ) = None
    lobe_centre: Annotated[
        float,
        Quantity(
            "angle", "60 deg", "160 deg", ("95 deg", "125 deg"), example="110 deg",
            why="crank degrees from gas-exchange top dead centre to full lift",
        ),
    ]  # fmt: skip
    advance: Annotated[float, ADVANCE] = standard(0.0, "cam timed as its card says")
    rocker_at: series(ROCKER_AT) | None = None
    rocker_ratios: series(ROCKER) | None = None


class LiftTable(Part):
    """A cam as read with a degree wheel and a dial indicator; angles in crank degrees after gas-exchange TDC."""

    kind: Literal["table"]
    angle: series(
        Quantity("angle", "-720 deg", "720 deg", ("-400 deg", "400 deg"), why="after gas-exchange top dead centre"), 5
    )
    lift: series(Quantity("length", "0 mm", "30 mm", why="lift of lobe or valve"), 5)
    lift_of: Annotated[
        str, Choice(("lobe", "valve"), must="where the dial indicator stood decides rocker and lash", example="lobe")
    ]
    rocker_ratio: Annotated[float, ROCKER] = standard(1.0, "follower straight on the valve")
    lash: Annotated[float, LASH] = standard(0.0, "no play")
    angle_from: Annotated[str, Choice(("gas exchange TDC",))] = standard("gas exchange TDC", "the only zero there is")
    advance: Annotated[float, ADVANCE] = standard(0.0, "cam timed as it was measured")
    rocker_at: series(ROCKER_AT) | None = None
    rocker_ratios: series(ROCKER) | None = None
    read_from: Annotated[str, Words(200, why="table the values came from")] = ""


class SineSquared(Part):
    """A lift of max_lift * sin^2 between two crank angles (0 = firing TDC, 360 = gas-exchange TDC)."""

    kind: Literal["sine_squared"]
    open: Annotated[float, Quantity("angle", "0 deg", "720 deg", why="0 is firing top dead centre", example="334 deg")]
    close: Annotated[
        float, Quantity("angle", "0 deg", "1080 deg", why="0 is firing top dead centre", example="602 deg")
    ]
    max_lift: Annotated[float, LIFT]


_FACTOR = Annotated[float, Number(0.5, 1.5, (0.9, 1.1), why="scales the valve's flow, to see what an error of it does")]
_AS_GIVEN = "flow as given"
_REVERSE = Annotated[float, Number(0.3, 1.5, (0.75, 1.05), why="flow coefficient backwards over forwards")]
_HEIGHT_OVER_DIAMETER = Number(0.0, 1.0, why="lift over valve-head diameter", example="0.1")
_COEFFICIENT = Number(0.02, 1.2, (0.05, 0.95), why="flow over isentropic flow through the reference area")


_MOUTHS = ("bellmouth", "flanged", "plain", "ideal")


class SheetFlow(Part):
    """A flow-bench sheet: readings of flow [m3/s] at lifts [m] under a depression [Pa]."""

    kind: Literal["sheet"]
    lift: series(Quantity("length", "0 mm", "30 mm", why="lift on the bench", example="1, 2, 3 mm"))
    flow: series(
        Quantity(
            "volume_flow", "0.1 CFM", "1000 CFM", ("1 CFM", "600 CFM"), why="bench reading", example="18, 34, 48 CFM"
        )
    )
    depression: Annotated[
        float,
        Quantity(
            "pressure_difference", "1 inH2O", "100 inH2O", ("3 inH2O", "60 inH2O"), example="28 inH2O", why="bench"
        ),
    ]
    reference_area: Annotated[str, Choice(AREA_REFERENCES, must=_AREA, example="curtain")]
    leak_subtracted: Annotated[bool, YesNo(must="is the bench's leak already taken off the readings?", example="false")]
    leak: Annotated[float, Quantity("volume_flow", "0 CFM", "50 CFM", ("0 CFM", "5 CFM"), why="read at zero lift")] = (
        standard(0.0, "no leak stated")
    )
    plate_corrected: Annotated[
        bool, YesNo(must="are the readings already corrected by the plate check?", example="false")
    ]
    plate_expected: Annotated[float, Quantity("volume_flow", "1 CFM", "1000 CFM", why="plate check")] | None = None
    plate_read: Annotated[float, Quantity("volume_flow", "1 CFM", "1000 CFM", why="plate check")] | None = None
    air_temperature: Annotated[
        float, Quantity("temperature", "-20 degC", "60 degC", ("5 degC", "40 degC"), why="room of the bench")
    ] = guess("temperature", "20 degC", "10 degC", "35 degC", "room of the bench, not stated")
    barometer: Annotated[
        float, Quantity("barometer", "60 kPa", "110 kPa", ("85 kPa", "105 kPa"), why="room of the bench")
    ] = guess("barometer", "101.325 kPa", "95 kPa", "104 kPa", "room of the bench, not stated")
    valves_open: Annotated[int, Whole(1, 4, why="valves open at once on the bench", example="1")] | None = None
    density: Annotated[str, Choice(("room air",), why="what the CFM is counted in")] = standard(
        "room air", "volume counted at the density of the room, both directions"
    )
    other_bench: Annotated[str, Words(120, why="whose, if not the bench of the other sheets: told beside every use")] = ""
    mouth: Annotated[str, Choice(_MOUTHS, why="what the port's outer end breathed through on the bench")] = standard(
        "bellmouth", "clay or a radius plate on the port's mouth"
    )
    stub_length: Annotated[float, Quantity("length", "0 mm", "500 mm", why="pipe fitted to the port's outer end")] = standard(
        0.0, "no stub fitted"
    )
    stub_diameter: Annotated[float, Quantity("length", "10 mm", "120 mm", why="bore of that stub")] | None = None
    adapter_bore: Annotated[float, Quantity("length", "20 mm", "300 mm", why="bore adapter under the head")] | None = None
    coefficient_of: (
        Annotated[str, Choice(("whole port", "valve alone"), why="what the valve's coefficient is to contain")] | None
    ) = None
    reverse_factor: _REVERSE = guessed_number(0.9, 0.75, 1.05, "backflow is rarely measured; our choice")
    factor: _FACTOR = standard(1.0, _AS_GIVEN)
    read_from: Annotated[str, Words(200, why="table the values came from")] = ""


class CoefficientFlow(Part):
    """A flow coefficient against lift over diameter, with the area it was stated on."""

    kind: Literal["coefficient"]
    lift_over_diameter: series(_HEIGHT_OVER_DIAMETER)
    coefficient: series(_COEFFICIENT)
    reference_area: Annotated[
        str,
        Choice(
            (*AREA_REFERENCES, "curtain capped by throat"),
            must=_AREA,
            example="curtain",
        ),
    ]
    throat_area: (
        Annotated[float, Quantity("area", "50 mm2", "8000 mm2", why="passage under the seat", example="1001 mm2")]
        | None
    ) = None
    reverse_factor: _REVERSE = standard(1.0, "same coefficient both ways")
    reverse_coefficient: series(_COEFFICIENT) | None = None
    factor: _FACTOR = standard(1.0, _AS_GIVEN)


class StockFlow(Part):
    """No sheet of its own: the coefficient of the base's flow on valve-head area is kept, and marked as assumed; that of the
    valve alone where the port the sheet was read with is known (`stock_port`), so that the new port brings its own losses."""

    kind: Literal["stock"]
    stock_flow: one_of(SheetFlow, CoefficientFlow)
    stock_valve: Valve
    stock_port: Port | None = None
    factor: _FACTOR = standard(1.0, _AS_GIVEN)


Cam = one_of(Card, LiftTable, SineSquared)
Flow = one_of(SheetFlow, CoefficientFlow, StockFlow)
