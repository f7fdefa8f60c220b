"""Port options as differences: an enlarged port, and which flow belongs to a port that differs from the measured one.

A flow sheet belongs to the port and valve it was measured with. Where a case changes either and brings no sheet of its
own, the coefficient of the base's sheet on valve-head area is kept and marked as assumed.
"""

from __future__ import annotations

import copy
from typing import Annotated, Any

from waveflow import units
from waveflow.engine.assumptions import Assumption
from waveflow.engine.fields import Choice, Number, Quantity, refuse, standard
from waveflow.engine.margins import split_margin
from waveflow.engine.part import Part
from waveflow.engine.reading import SET, Layer, Reading
from waveflow.errors import CaseProblem

_STRETCH = Quantity("length", "0 mm", "600 mm", why="along the port's centreline", example="20 mm")
_PLACES = Choice(("port", "pinch", "throat"), why='or a stretch, ["20 mm", "60 mm"]', example="port")
ASSUMED_BAND = (0.92, 1.08)
_GEOMETRY = ("at", "shape", "width", "height", "corner_radius", "area", "branches", "blocked_area", "points")


class _Where(Choice):
    """A word, or a stretch of two distances."""

    def read(self, value: Any, info: Any) -> Any:
        if not isinstance(value, (list, tuple)):
            return super().read(value, info)
        if len(value) != 2:
            raise refuse("not two distances", self.allowed(), self.why)
        return tuple(_STRETCH.read(each, info) for each in value)

    def text(self, value: Any) -> str:
        return f'"{value}"' if isinstance(value, str) else " to ".join(_STRETCH.text(each) for each in value)


class Enlarge(Part):
    """A port derived from the measured one: so many per cent of net area more, everywhere or at one place."""

    percent: Annotated[float, Number(-50.0, 100.0, (-20.0, 40.0), why="change of net area", example="15")]
    where: Annotated[str | tuple[float, float], _Where(_PLACES.words, why=_PLACES.why)] = standard("port", "whole port")
    side: Annotated[str, Choice(("intake", "exhaust"))] = standard("intake", "the intake port")


def settle_flows(reading: Reading) -> list[Assumption]:
    """Replaces a flow that does not belong to the port by the base's coefficient; says so in the assumptions."""
    assumed = []
    for side in ("intake", "exhaust"):
        table = reading.tree.get(side)
        flow = table.get("flow") if isinstance(table, dict) else None
        if not isinstance(flow, dict):
            continue
        given_in = _given_in(reading.layers, side)
        stock = None
        if flow.get("kind") == "stock" and "stock_flow" not in flow:
            stock = _earlier(reading.layers[:given_in], side)
            if stock is None:
                _no_base(reading, side)
                continue
        elif flow.get("kind") == "sheet" and _is_other_port(reading, side, given_in):
            stock = (flow, *_head(reading.layers[given_in], side))
        if stock is not None:
            _keep_stock(reading, side, flow, *stock)
        if table["flow"].get("kind") == "stock":
            assumed.append(
                Assumption(
                    f"{side}.flow", "coefficient of the measured port on valve-head area", "assumed", *ASSUMED_BAND,
                    "no flow sheet for this port",
                )
            )  # fmt: skip
    return assumed


def _given_in(layers: list[Layer], side: str) -> int:
    """Number of the layer whose flow stands in the end; a single value set from outside does not count as a flow."""
    for number in range(len(layers) - 1, -1, -1):
        given = layers[number].given.get(side)
        flow = given.get("flow") if isinstance(given, dict) else None
        if isinstance(flow, dict) and (layers[number].label != SET or flow.keys() & {"kind", "file"}):
            return number
    return 0


def _earlier(layers: list[Layer], side: str) -> tuple[dict, Any, Any] | None:
    """Flow, valve and port of the nearest layer below that has a flow of its own."""
    while layers:
        table = layers[-1].merged.get(side)
        flow = table.get("flow") if isinstance(table, dict) else None
        if not isinstance(flow, dict):
            return None
        if flow.get("kind") != "stock":
            return flow, *_head(layers[_given_in(layers, side)], side)
        if "stock_flow" in flow:
            return flow["stock_flow"], flow.get("stock_valve"), flow.get("stock_port")
        layers = layers[: _given_in(layers, side)]
    return None


def _head(layer: Layer, side: str) -> tuple[Any, Any]:
    """Valve and port of a layer; of the port what its losses depend on, without margins (they belong to that other port)."""
    table = layer.merged.get(side, {})
    port = table.get("port")
    if not isinstance(port, dict) or not isinstance(port.get("stations"), list):
        return table.get("valve"), None
    kept = {name: port[name] for name in ("between", "length", "roughness") if name in port}
    rows = [row for row in port["stations"] if isinstance(row, dict)]
    return table.get("valve"), _without_margins(kept | {"stations": rows})


def _without_margins(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _without_margins(item) for name, item in value.items()}
    if isinstance(value, list):
        return [_without_margins(item) for item in value]
    try:
        return split_margin(value)[0] if isinstance(value, str) else value
    except units.UnitError:
        return value


def _no_base(reading: Reading, side: str) -> None:
    key = (side, "flow", "kind")
    file, line = reading.place(key)
    message = "there is no base whose flow could be kept"
    hint = 'name a base with a flow sheet, or give one here: kind = "sheet"'
    reading.notes.problems.append(CaseProblem(file, f"{side}.flow.kind", '"stock"', message, hint=hint, line=line))
    # said once: the model need not complain about the same table again
    reading.tree[side]["flow"] = {"kind": "stock", "stock_flow": _ANY_FLOW, "stock_valve": {"head_diameter": "30 mm"}}


_ANY_FLOW = {
    "kind": "coefficient", "lift_over_diameter": [0.1, 1.0], "coefficient": [0.6, 0.6], "reference_area": "curtain"
}  # fmt: skip


def _keep_stock(reading: Reading, side: str, flow: dict, stock_flow: dict, stock_valve: Any, stock_port: Any) -> None:
    kept = {name: value for name, value in copy.deepcopy(stock_flow).items() if name != "factor"}
    new = {"kind": "stock"}
    factor = flow.get("factor", stock_flow.get("factor"))
    if factor is not None:
        new["factor"] = factor
    new |= {name: value for name, value in flow.items() if flow is not stock_flow and name not in new}
    new |= {"stock_flow": kept, "stock_valve": copy.deepcopy(stock_valve)}
    if stock_port is not None and stock_flow.get("kind") == "sheet":
        new["stock_port"] = copy.deepcopy(stock_port)
    reading.tree[side]["flow"] = new
    head = (side, "flow")
    if flow is stock_flow:
        for key in [key for key in reading.places if key[:2] == head and len(key) > 2]:
            reading.places[(*head, "stock_flow", *key[2:])] = reading.places[key]


def _is_other_port(reading: Reading, side: str, given_in: int) -> bool:
    """Whether port or valve differ from those the sheet was given with."""
    enlarged = _enlarged_in(reading, side)
    if enlarged is not None:
        if enlarged >= given_in:
            return True
        file, line = reading.place((side, "flow"))
        message = "a flow sheet of its own for a port that is only derived"
        hint = "give the stations that were measured with it, or leave the sheet out"
        reading.notes.problems.append(CaseProblem(file, f"{side}.flow", None, message, hint=hint, line=line))
        return False
    before = reading.layers[given_in].merged.get(side)
    return _shape(before) != _shape(reading.tree.get(side))


def _enlarged_in(reading: Reading, side: str) -> int | None:
    table = reading.tree.get("enlarge")
    if not isinstance(table, dict) or table.get("side", "intake") != side:
        return None
    numbers = [number for number, layer in enumerate(reading.layers) if "enlarge" in layer.given]
    return numbers[-1] if numbers else 0


def _shape(table: Any) -> Any:
    """What of a side's description a flow sheet depends on, in comparable form."""
    if not isinstance(table, dict):
        return None
    port, valve = table.get("port"), table.get("valve")
    stations = port.get("stations") if isinstance(port, dict) else None
    rows = [
        {name: _plain(row[name]) for name in _GEOMETRY if name in row}
        for row in (stations if isinstance(stations, list) else [])
        if isinstance(row, dict)
    ]
    sizes = [_plain(valve.get(name)) for name in ("head_diameter", "count")] if isinstance(valve, dict) else None
    return rows, sizes


def _plain(value: Any) -> Any:
    for kind in ("length", "area"):
        try:
            return round(units.parse(split_margin(value)[0], kind), 12)
        except units.UnitError:
            continue
    return str(value)
