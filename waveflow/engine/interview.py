"""The questions a shop can answer about an engine, each with what is taken where nobody measured.

An answer is checked by the very kind of the key it becomes, so it takes the same units and is refused in the same words.
Defaults follow from what was answered before; each is a guess with a margin (proportions of common practice, no source).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from pydantic_core import PydanticCustomError

from waveflow import units
from waveflow.engine.fields import Number, Quantity
from waveflow.engine.margins import has_margin
from waveflow.engine.resolved import quoted
from waveflow.engine.tables import split_series
from waveflow.engine.wording import field_at, model_at
from waveflow.errors import CaseProblem

NONE = "none"
_NO = (NONE, "no", "nil", "n/a", "-")


@dataclass(frozen=True)
class Question:
    """One question: its short `name`, `text`, the case `key` that checks the answer, and the guess taken without one.

    `default(facts)` gives the text of the guess from the answers so far (SI numbers by name); None where the question
    must be answered. `only_if` names a question that must not have been answered "none".
    """

    name: str
    text: str
    key: str
    default: Callable[[Mapping[str, Any]], str] | None = None
    may_be_none: bool = False
    only_if: str = ""
    series: bool = False
    mark: str = "measured"


@dataclass(frozen=True)
class Answer:
    """Text as it goes into the case, SI value (a tuple for a column, None for "none") and mark."""

    text: str
    value: Any
    mark: str


def _mm(value: float, share: float) -> str:
    """A length [m] with a margin of `share` [1] of it."""
    return f"{units.plain(1e3 * value, 3)} mm +- {units.plain(1e3 * value * share, 2)} mm"


def _root(facts: Mapping[str, Any]) -> float:
    return math.sqrt(facts["valves"])


QUESTIONS = (
    Question("name", "What is the engine called?", "name", lambda f: "my engine"),
    Question("cylinders", "How many cylinders?", "engine.cylinders"),
    Question("bore", "Bore of a cylinder?", "engine.bore"),
    Question("stroke", "Stroke of the crank?", "engine.stroke"),
    Question("rod", "Rod length, centre to centre?", "engine.rod_length", lambda f: _mm(1.75 * f["stroke"], 0.08)),
    Question("ratio", "Compression ratio?", "compression.ratio", lambda f: "10 +- 0.7"),
    Question("top_speed", "Highest speed it will see?", "range.to"),
    Question("valves", "How many intake valves has a cylinder?", "intake.valve.count", lambda f: "1"),
    Question("intake_valve", "Head diameter of an intake valve?", "intake.valve.head_diameter"),
    Question("exhaust_valve", "Head diameter of an exhaust valve (as many as intake valves)?",
             "exhaust.valve.head_diameter", lambda f: _mm(0.85 * f["intake_valve"], 0.05)),
    Question("intake_lift", "Full lift at the intake valve, lash taken off?", "intake.cam.lobe_lift", mark="card"),
    Question("intake_duration", "Intake duration in crank degrees at 0.050 in (1.27 mm) valve lift? Not the advertised one: "
             "that means nothing without its own height. With nothing else, take about 50 deg off it and put a ? behind.",
             "intake.cam.duration", mark="card"),
    Question("intake_centre", "Full intake lift, crank degrees after gas-exchange top dead centre?",
             "intake.cam.lobe_centre", lambda f: "108 deg +- 4 deg", mark="card"),
    Question("exhaust_lift", "Full lift at the exhaust valve?", "exhaust.cam.lobe_lift",
             lambda f: _mm(f["intake_lift"], 0.08), mark="card"),
    Question("exhaust_duration", "Exhaust duration at 0.050 in valve lift?", "exhaust.cam.duration",
             lambda f: f"{units.plain(f['intake_duration'], 4)} deg +- 8 deg", mark="card"),
    Question("exhaust_centre", "Full exhaust lift, crank degrees before gas-exchange top dead centre?",
             "exhaust.cam.lobe_centre", lambda f: "112 deg +- 4 deg", mark="card"),
    Question("bench_lifts", 'Lifts of your flow sheet ("2, 4, 6, 8 mm"; "none" without a sheet)?', "intake.flow.lift",
             lambda f: NONE, True, series=True),
    Question("intake_flow", 'Intake flow at those lifts ("30, 55, 72, 80 CFM"), leak taken off?', "intake.flow.flow",
             lambda f: NONE, True, "bench_lifts", True),
    Question("exhaust_flow", 'Exhaust flow at those lifts ("none" if not measured)?', "exhaust.flow.flow",
             lambda f: NONE, True, "bench_lifts", True),
    Question("depression", 'Depression of the flow bench ("28 inH2O")?', "intake.flow.depression", lambda f: "28 inH2O",
             only_if="bench_lifts"),
    Question("intake_face", "Diameter of the intake port at the manifold face (round of the same area)?",
             "intake.port.stations[0].width", lambda f: _mm(0.92 * f["intake_valve"] * _root(f), 0.07)),
    Question("intake_throat", "Diameter of the throat below an intake valve seat?", "intake.port.stations[1].width",
             lambda f: _mm(0.86 * f["intake_valve"], 0.04)),
    Question("intake_port_length", "Length of the intake port along its middle, face to valve?", "intake.port.length",
             lambda f: _mm(1.1 * f["bore"], 0.15)),
    Question("runner_length", "Length of the intake pipe in front of the head?", "intake.runner.length",
             lambda f: "250 mm +- 80 mm"),
    Question("runner_diameter", "Its inside diameter at the far end?", "intake.runner.inlet_diameter",
             lambda f: _mm(f["intake_face"], 0.07)),
    Question("plenum", 'Volume of the plenum ("none" where the pipes draw from the open air)?', "intake.plenum.volume",
             lambda f: NONE, True),
    Question("primary_length", "Length of an exhaust pipe from the head to where pipes meet or end?",
             "exhaust.header.primary_length", lambda f: "700 mm +- 150 mm"),
    Question("primary_diameter", "Its inside diameter?", "exhaust.header.primary_diameter",
             lambda f: _mm(1.15 * f["exhaust_valve"] * _root(f), 0.08)),
)  # fmt: skip
_SAMPLE = {"intake": {"flow": {"kind": "sheet"}, "cam": {"kind": "card"}, "port": {"stations": [{}, {}]}},
           "exhaust": {"flow": {"kind": "sheet"}, "cam": {"kind": "card"}}}  # fmt: skip


def question(name: str) -> Question | None:
    """The question of that name; None if there is none."""
    return next((each for each in QUESTIONS if each.name == name), None)


def _kind(asked: Question) -> Any:
    from waveflow.engine.case import Case
    from waveflow.engine.parts_pipe import kind_of
    from waveflow.engine.reading import key_of_text

    key = key_of_text(asked.key)
    model = model_at(Case, key[:-1], _SAMPLE)
    return kind_of(field_at(model, str(key[-1])))


def read_answer(asked: Question, text: str, guessed: bool = False, where: str = "answer") -> Answer | CaseProblem:
    """An answer checked as the case would check it; a "?" at its end says that it is a guess. Or what is wrong with it."""
    given = text.strip()
    if given.endswith("?"):
        given, guessed = given[:-1].rstrip(), True
    mark = "guess" if guessed else asked.mark
    if asked.may_be_none and given.lower() in _NO:
        return Answer(NONE, None, mark)
    kind, info = _kind(asked), SimpleNamespace(context=None)
    try:
        if asked.series:
            pieces = split_series(given)
            return Answer(", ".join(pieces), tuple(kind.read(piece, info) for piece in pieces), mark)
        return Answer(given, kind.read(given, info), mark)
    except PydanticCustomError as error:
        said = error.context or {}
        message, allowed, hint, why = (said.get(name, "") for name in ("message", "allowed", "hint", "why"))
        if asked.series and message == "missing unit" and len(pieces) > 1:
            hint = f'did you mean "{", ".join(pieces)} {kind.unit}"?'
        if "measures a length, not a pressure difference" in message:  # a bench's "28 inches"
            hint = f'did you mean "{units.split(given)[0]} inH2O"?'
        return CaseProblem(where, asked.name, f'"{given}"', message, allowed, hint, None, why)


_MEANT = re.compile(r'did you mean "?([^"?]+)"?\?')


def suggested(problem: CaseProblem) -> str:
    """The answer a refusal suggests; empty where it has none."""
    found = _MEANT.search(problem.hint)
    return found[1] if found else ""


def example_of(asked: Question) -> str:
    """A sample answer with its unit, where the question itself shows none; empty where none is needed."""
    return "" if '("' in asked.text else getattr(_kind(asked), "example", "")


def kept_text(answers: Mapping[str, Answer]) -> str:
    """Answers as lines for a file that `--answers` reads; a "?" marks those that were guessed."""
    rows = []
    for name, answer in answers.items():
        told = question(name)
        guessed = answer.mark == "guess" and told is not None and told.name != "name" and answer.text != NONE
        rows.append(f"{name} = {quoted(answer.text + (' ?' if guessed else ''))}")
    return "\n".join(rows) + "\n"


def applies(asked: Question, answers: Mapping[str, Answer]) -> bool:
    """Whether a question is to be asked after these answers."""
    return not asked.only_if or answers[asked.only_if].text != NONE


def guess_for(asked: Question, answers: Mapping[str, Answer]) -> str | None:
    """Text of the guess without an answer; None where there is none."""
    if asked.default is None:
        return None
    return asked.default({name: each.value for name, each in answers.items()})


def with_margin(asked: Question, answer: Answer, answers: Mapping[str, Answer]) -> str:
    """Text of the answer; a guess of the user's own without a margin gets that of our guess, as a share of it."""
    kind = _kind(asked)
    if answer.mark != "guess" or has_margin(answer.text) or not isinstance(kind, (Quantity, Number)) or asked.series:
        return answer.text
    return f"{answer.text} +- {'5 deg' if getattr(kind, 'kind', '') == 'angle' else '5 %'}"
