"""A commented case file from answers: every guess with its margin and mark, every default as a comment beside it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from waveflow import units
from waveflow.engine.case import Case, load_text
from waveflow.engine.interview import NONE, Answer, question, with_margin
from waveflow.engine.resolved import quoted

_ORDER = {1: [1], 2: [1, 2], 3: [1, 3, 2], 4: [1, 3, 4, 2], 5: [1, 2, 4, 5, 3], 6: [1, 5, 3, 6, 2, 4],
          8: [1, 8, 4, 3, 6, 5, 7, 2]}  # fmt: skip
_HEAD = """\
# Written by `waveflow new`. Every size is a text with its unit; "+-" gives its margin; a pressure says "abs" or "gauge".
# Guesses stand with their margin and are marked at the end. Values nobody gave are comments with their likely range:
# take the # away (and that of the [table] above them) and put your own value there.
"""
# coefficient on the curtain of a common two-valve port, from memory; a flow sheet of your own is far better
_USUAL_FLOW = "[0.70, 0.68, 0.64, 0.58, 0.52, 0.46, 0.41, 0.37, 0.33]"
_USUAL_LIFT = "[0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45]"

_NOT_TOLD = ("reservoir", "groups", "format", "firing_order", "valves_open")  # follow from the rest

Lines = dict[str, list[str]]


class _Writer:
    def __init__(self, answers: Mapping[str, Answer]) -> None:
        self.answers = answers
        self.tables: Lines = {"": []}
        self.marks: dict[str, str] = {}

    def put(self, table: str, name: str, value: str, comment: str = "", mark: str = "") -> None:
        """One line; `value` as TOML."""
        line = f"{name} = {value}"
        self.tables.setdefault(table, []).append(f"{line:<36} # {comment}" if comment else line)
        if mark:
            self.marks[f"{table}.{name}" if table else name] = mark

    def guess(self, table: str, name: str, text: str, why: str) -> None:
        self.put(table, name, quoted(text), f"guess: {why}", "guess")

    def answer(self, asked: str, table: str, name: str, plain: bool = False) -> None:
        given, about = self.answers[asked], question(asked)
        text = with_margin(about, given, self.answers)
        comment = "guess, not measured" if given.mark == "guess" and asked != "name" else ""
        self.put(table, name, text if plain else quoted(text), comment, given.mark if asked != "name" else "")

    def value(self, name: str) -> Any:
        return self.answers[name].value


def tables_of(answers: Mapping[str, Answer]) -> tuple[Lines, dict[str, str]]:
    """The lines of every table, and the marks by key."""
    w = _Writer(answers)
    cylinders, valves = w.value("cylinders"), w.value("valves")
    w.answer("name", "", "name")
    w.put("engine", "cylinders", str(cylinders))
    order = _ORDER.get(cylinders, list(range(1, cylinders + 1)))
    if cylinders > 1:
        w.put("engine", "firing_order", str(order), "guess: the common order; yours may differ", "guess")
    for asked, name in (("bore", "bore"), ("stroke", "stroke"), ("rod", "rod_length")):
        w.answer(asked, "engine", name)
    w.answer("ratio", "compression", "ratio")
    for side in ("intake", "exhaust"):
        _side(w, side, valves)
    _intake_pipes(w)
    _exhaust_pipes(w, cylinders, valves)
    w.guess("ambient", "pressure", "101.3 kPa abs +- 1.5 kPa", "sea level on a middling day")
    w.guess("ambient", "temperature", "20 degC +- 10 degC", "a mild day")
    w.put("fuel", "kind", '"gasoline"', "guess: not asked", "guess")
    top = w.value("top_speed")
    w.put("range", "from", f'"{units.plain(max(500.0, round(top * 0.25, -2)), 5)} rpm"', "a quarter of the highest")
    w.answer("top_speed", "range", "to")
    return w.tables, w.marks


def _side(w: _Writer, side: str, valves: int) -> None:
    w.put(f"{side}.valve", "count", str(valves))
    w.answer(f"{side}_valve", f"{side}.valve", "head_diameter")
    cam = f"{side}.cam"
    w.put(cam, "kind", '"card"')
    w.answer(f"{side}_lift", cam, "lobe_lift")
    w.put(cam, "rocker_ratio", "1.0", "lift and duration as they are at the valve")
    w.answer(f"{side}_duration", cam, "duration")
    w.put(cam, "duration_at", '"0.050 in"', "a duration says nothing without the lift it was read at")
    w.answer(f"{side}_centre", cam, "lobe_centre")
    flow = f"{side}.flow"
    if w.answers[f"{side}_flow"].text == NONE:
        w.put(flow, "kind", '"coefficient"', "no flow sheet: a common port, from memory")
        w.put(flow, "lift_over_diameter", _USUAL_LIFT)
        w.put(flow, "coefficient", _USUAL_FLOW, "", "guess")
        w.put(flow, "reference_area", '"curtain"')
        w.put(flow, "factor", '"1.0 +- 0.1"', "guess: scales the whole table", "guess")
        return
    w.put(flow, "kind", '"sheet"')
    w.answer("bench_lifts", flow, "lift")
    w.answer(f"{side}_flow", flow, "flow")
    w.answer("depression", flow, "depression")
    w.put(flow, "reference_area", '"curtain"')
    w.put(flow, "leak_subtracted", "true", "as asked; false needs leak = what was read at zero lift")
    w.put(flow, "plate_corrected", "true", "guess: say false and give plate_expected and plate_read", "guess")
    if valves > 1:
        w.put(flow, "valves_open", str(valves), "guess: all valves of the side were open on the bench", "guess")
    w.put(flow, "factor", '"1.0 +- 0.03"', "guess: how far a bench may be off", "guess")


def _intake_pipes(w: _Writer) -> None:
    face, throat, length = (w.answers[name] for name in ("intake_face", "intake_throat", "intake_port_length"))
    valves = w.value("valves")
    branches = f", branches = {valves}" if valves > 1 else ""
    face_text, throat_text = (with_margin(question(name), w.answers[name], w.answers)
                              for name in ("intake_face", "intake_throat"))  # fmt: skip
    end = f"{units.plain(1e3 * length.value, 5)} mm"
    w.put("intake.port", "stations", f"[\n"
          f'  {{ at = "0 mm", width = {quoted(face_text)}, note = "manifold face" }},\n'
          f'  {{ at = "{end}", width = {quoted(throat_text)}{branches}, note = "throat" }},\n]')  # fmt: skip
    for number, each in enumerate((face, throat)):
        w.marks[f"intake.port.stations[{number}].width"] = each.mark
    w.marks["intake.port.stations[1].at"] = length.mark
    w.answer("runner_length", "intake.runner", "length")
    w.answer("runner_diameter", "intake.runner", "inlet_diameter")
    w.put("intake.runner", "outlet_area", f'"{units.plain(0.25e6 * 3.14159265 * face.value**2, 5)} mm2"',
          "as wide as the port's face")  # fmt: skip
    w.put("intake.runner", "entry", '"bellmouth"', "guess: or plain, flanged", "guess")
    if w.answers["plenum"].text != NONE:
        w.answer("plenum", "intake.plenum", "volume")
        size = 1e3 * w.value("bore") * 0.65 * max(1.0, w.value("cylinders") / 4) ** 0.5
        w.guess("intake.throttle", "diameter", f"{units.plain(size, 3)} mm +- {units.plain(0.12 * size, 2)} mm",
                "not asked")  # fmt: skip


def _exhaust_pipes(w: _Writer, cylinders: int, valves: int) -> None:
    head, bore = 1e3 * w.value("exhaust_valve"), 1e3 * w.value("bore")
    branches = f", branches = {valves}" if valves > 1 else ""
    throat, exit_, length = 0.87 * head, 0.97 * head * valves**0.5, 0.75 * bore
    sizes = [f"{units.plain(each, 3)} mm +- {units.plain(0.06 * each, 2)} mm" for each in (throat, exit_)]
    w.put("exhaust.port", "stations", "[             # guess: from the valve's size, not asked\n"
          f'  {{ at = "0 mm", width = "{sizes[0]}"{branches}, note = "throat" }},\n'
          f'  {{ at = "{units.plain(length, 3)} mm", width = "{sizes[1]}", note = "flange" }},\n]', "", "guess")  # fmt: skip
    w.answer("primary_length", "exhaust.header", "primary_length")
    w.answer("primary_diameter", "exhaust.header", "primary_diameter")
    if cylinders > 1:
        wide = 1e3 * w.value("primary_diameter") * 1.45
        w.guess("exhaust.header", "tail_length", "1500 mm +- 500 mm", "all pipes meet in one tail; not asked")
        w.guess("exhaust.header", "tail_diameter", f"{units.plain(wide, 3)} mm +- {units.plain(0.1 * wide, 2)} mm",
                "not asked")  # fmt: skip


def case_text(answers: Mapping[str, Answer], label: str = "new case") -> tuple[str, Case]:
    """Text of the case file and the case it is. Raises CaseError where answers contradict each other."""
    tables, marks = tables_of(answers)
    case = load_text(_joined(tables, marks, {}), label)
    comments: Lines = {}
    for each in case.assumptions:
        table, _, name = each.key.rpartition(".")
        if "[" in each.key or name in _NOT_TOLD or table in ("intake.reservoir", "exhaust.reservoir"):
            continue
        spread = f", likely {each.range_text}" if each.range_text else ""
        line = f"# {name} = {_toml(each.value_text)}"
        comments.setdefault(table, []).append(f"{line:<36} # {each.mark}{spread}: {each.why}")
    if "burn" in comments:
        comments["burn"].insert(0, '# kind = "wiebe"')
    text = _joined(tables, marks, comments)
    return text, load_text(text, label)


def _toml(text: str) -> str:
    if text in ("true", "false") or text.startswith('"'):
        return text
    try:
        float(text)
    except ValueError:
        return quoted(text)
    return text


def _joined(tables: Lines, marks: Mapping[str, str], comments: Lines) -> str:
    pieces = [_HEAD + "\n".join([*tables[""], *comments.get("", [])])]
    for name in [each for each in tables if each]:
        pieces.append("\n".join([f"[{name}]", *tables[name], *comments.get(name, [])]))
    for name in [each for each in comments if each and each not in tables]:
        pieces.append("\n".join([f"# [{name}]", *comments[name]]))
    lines = [f"{quoted(key)} = {quoted(mark)}" for key, mark in marks.items()]
    head = "[marks]                             # where each value comes from: measured, card, default or guess"
    pieces.append("\n".join([head, *lines]))
    return "\n\n".join(pieces) + "\n"
