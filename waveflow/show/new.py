"""`waveflow new` and `waveflow sensitive`: a case from answers, and which value of a case matters most."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from waveflow.show.endings import Refused
from waveflow.show.fanout import fan_out
from waveflow.show.terminal import say, say_if_cold

NEW_CELL = "20 mm"


@click.command(short_help="Write a case from answers to plain questions.")
@click.argument("file", type=click.Path(path_type=Path), metavar="NAME.toml")
@click.option("--answer", "given", multiple=True, metavar="NAME=ANSWER", help='Answer a question beforehand, such as '
              'bore="80.6 mm"; "?" at the end says it is a guess; may be repeated.')  # fmt: skip
@click.option("--answers", "kept", type=click.Path(path_type=Path), help="Take answers from a file of such lines (TOML).")
@click.option("--force", is_flag=True, help="Overwrite a file of that name.")
@click.option("--no-sensitivity", is_flag=True, help="Do not run the engine to find which answers matter most.")
@click.option("--rpm", metavar="SPEEDS", help="Speeds at which the sensitivity is run, such as 3000,6000; by default one, "
              "at seven tenths of the range.")  # fmt: skip
@click.option("--quiet", "-q", is_flag=True, help="No progress and no remarks on standard error.")
def new(file: Path, given: tuple[str, ...], kept: Path | None, force: bool, no_sensitivity: bool, rpm: str | None,
        quiet: bool) -> None:  # fmt: skip
    """Write a commented, runnable case NAME.toml from answers to some twenty-five questions.

    Enter takes a guess and marks it as one. Where standard input is no terminal, questions with a guess are not asked.
    """
    if file.suffix.lower() != ".toml":
        raise Refused(f"{file}: the name of a case file ends in .toml")
    if file.exists() and not force:
        raise Refused(f"{file}: exists already; --force overwrites it")
    if not file.parent.is_dir():
        raise Refused(f"{file}: there is no folder {file.parent}")
    speeds = None if rpm is None else speeds_of(rpm)
    from waveflow.engine.firstcase import case_text
    from waveflow.errors import CaseError
    from waveflow.study.writing import write_atomic

    answers: dict[str, Any] = {}
    try:
        _answers(_given(given, kept), sys.stdin.isatty(), answers)
        text, case = case_text(answers, str(file))
    except (CaseError, KeyboardInterrupt):
        if sys.stdin.isatty() and answers:
            _keep(file, answers)
        raise
    write_atomic(file, text.encode())
    if not quiet:
        say(f"Written: {file}. What was understood: waveflow check {file}")
        for warning in case.warnings:
            say(f"Note: {warning}")
    if no_sensitivity:
        return
    low, high = case.range.from_, case.range.to
    made = _show(case, speeds or [round(low + 0.7 * (high - low), -2)], NEW_CELL, None, quiet, False)
    questions = to_measure(made)
    if questions:
        click.echo("Of what was guessed, measuring these tells most: " + " ".join(questions))


def to_measure(made: Any) -> list[str]:
    """The questions behind the guesses that matter most, three at most, the most telling first."""
    from waveflow.engine.interview import QUESTIONS

    asked = {each.key: each.text for each in QUESTIONS}
    guessed = [row.varied.key for row in made.rows if row.varied.mark == "guess" and row.varied.key in asked]
    return [asked[key] for key in guessed[:3]]


def speeds_of(rpm: str) -> list[float]:
    """Speeds [rpm] of a text such as "3000,6000"; raises Refused."""
    try:
        speeds = [float(word) for word in rpm.lower().replace("rpm", "").split(",")]
    except ValueError:
        speeds = []
    if not speeds or not all(100.0 <= speed <= 30000.0 for speed in speeds):
        raise Refused(f'--rpm "{rpm}": write speeds from 100 to 30000 rpm, such as 3000,6000')
    return list(dict.fromkeys(speeds))


def _given(texts: tuple[str, ...], kept: Path | None) -> dict[str, tuple[str, str]]:
    """Answers by name with where they stand, those of the options over those of the file."""
    from waveflow.engine.files import parse_toml, read_text

    found: dict[str, tuple[str, str]] = {}
    if kept is not None:
        tree, lines = parse_toml(read_text(kept, str(kept)), str(kept))
        for name, value in tree.items():
            if isinstance(value, (dict, list, bool)):
                place = f"{kept}:{lines.get((name,), 1)}: {name}"
                raise Refused(f'{place}: write the answer as one text, such as {name} = "80.6 mm"')
            found[name] = str(value), f"{kept}:{lines.get((name,), 1)}"
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals or not name.strip():
            raise Refused(f'--answer "{text}": write NAME=ANSWER, such as --answer bore="80.6 mm"')
        found[name.strip()] = value, "--answer"
    return found


def _keep(file: Path, answers: Mapping[str, Any]) -> None:
    """What was typed is not lost: a file of answers beside the case that was to be written."""
    from waveflow.engine.interview import kept_text
    from waveflow.study.writing import write_atomic

    beside = file.with_suffix(".answers.toml")
    write_atomic(beside, kept_text(answers).encode())
    say(f"Your answers are kept in {beside}; go on with: waveflow new {file} --answers {beside}")


def _answers(given: Mapping[str, tuple[str, str]], ask: bool, answers: dict[str, Any]) -> None:
    """An answer to every question that applies, put into `answers`; raises CaseError with all that is wrong or missing."""
    from difflib import get_close_matches

    from waveflow.engine.interview import NONE, QUESTIONS, Answer, applies, guess_for, read_answer
    from waveflow.errors import CaseError, CaseProblem

    names = [each.name for each in QUESTIONS]
    problems, missing = [], []
    for name in given:
        if name not in names:
            close = get_close_matches(name, names, 1, 0.6)
            hint = f'did you mean "{close[0]}"?' if close else f"questions: {', '.join(names)}"
            problems.append(CaseProblem(given[name][1], name, given[name][0], "no question has this name", hint=hint))
    for number, asked in enumerate(QUESTIONS, 1):
        if asked.only_if and asked.only_if in answers and not applies(asked, answers):
            answers[asked.name] = Answer(NONE, None, "guess")
            continue
        made: Any = None
        if asked.name in given:
            made = read_answer(asked, given[asked.name][0], where=given[asked.name][1])
        elif asked.default is None and not ask:
            hint = f'answer it by --answer {asked.name}="...", or in a file by --answers'
            missing.append(CaseProblem("no answer", asked.name, None, asked.text, hint=hint))
            continue
        elif not problems and not missing:
            guess = guess_for(asked, answers)
            made = _asked(number, len(QUESTIONS), asked, guess) if ask else read_answer(asked, guess, guessed=True)
        if isinstance(made, Answer):
            answers[asked.name] = made
        elif made is not None:
            problems.append(made)
    if problems or missing:
        raise CaseError([*problems, *missing])


def _asked(number: int, of: int, asked: Any, guess: str | None) -> Any:
    """Ask on the terminal until the answer can be used. Enter takes the guess, after a refusal what it suggests."""
    from waveflow.engine.interview import Answer, example_of, read_answer, suggested

    meant = ""
    sample = example_of(asked)
    while True:
        offer = f" [Enter: {guess}, a guess]" if guess else f" (such as {sample})" if sample else ""
        offer = f" [Enter: {meant}]" if meant else offer
        say(f"{number} of {of}. {asked.text}{offer}")
        try:
            text = input("> ").strip()
        except EOFError:
            raise KeyboardInterrupt from None
        text = "" if text == "?" else text
        if not text and guess is None and not meant:
            say("This one cannot be guessed.")
            continue
        made = read_answer(asked, text or meant or guess, guessed=not text and not meant)
        if isinstance(made, Answer):
            return made
        meant = suggested(made)
        say(str(made))


@click.command(short_help="Which uncertain value matters most.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--rpm", required=True, metavar="SPEEDS", help="One speed or a few: 3000,6000.")
@click.option("--cell", default=NEW_CELL, show_default=True, metavar="LENGTH", help="Cells of the pipes; coarse is quick.")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="Set one value of the case; may be repeated.")
@fan_out
@click.option("--json", "as_json", is_flag=True, help="Write one JSON document instead of a table; errors too.")
@click.option("--quiet", "-q", is_flag=True, help="No progress and no remarks on standard error.")
def sensitive(file: Path, rpm: str, cell: str, settings: tuple[str, ...], workers: Any, as_json: bool,
              quiet: bool) -> None:  # fmt: skip
    """Set every uncertain value of a case FILE low and high, one at a time: change of torque and filling."""
    from waveflow.engine.case import load

    speeds, wanted = speeds_of(rpm), {}
    for text in settings:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            raise Refused(f'--set "{text}": write KEY=VALUE, such as --set "intake.runner.length=300 mm"')
        wanted[key.strip()] = value
    _show(load(os.fspath(file), wanted or None), speeds, cell, workers, quiet, as_json)


def _show(case: Any, speeds: list[float], cell: str, workers: Any, quiet: bool, as_json: bool) -> Any:
    from waveflow import units
    from waveflow.study.sensitivity import sensitivity

    case = case.changed({"run.cell": cell})
    size = units.parse(cell, "length")
    say_if_cold(quiet)

    def progress(done: int, total: int, key: str) -> None:
        if not quiet and (done == total or done % max(1, total // 10) == 0):
            say(f"{done} of {total} runs, {key}")

    made = sensitivity(case, speeds, cell=size, workers=workers, progress=progress)
    if as_json:
        from dataclasses import asdict

        from waveflow.show.deliver import print_json

        print_json({**asdict(made), "sentence": made.sentence, "ok": True}, sys.stdout)
        return made
    _print(made)
    return made


def _print(made: Any) -> None:
    from waveflow.show.terminal import console, table

    out = console(None)
    heads = (("value", "left"), ("low", "left"), ("high", "left"), ("mark", "left"), ("torque", "right"), ("VE", "right"))
    rows = []
    for row in made.rows[:12]:
        bands = ["not run" if row.spread(name) < 0 else _percent(row.band(name)) for name in ("torque", "filling")]
        rows.append((row.varied.key, row.varied.low_text, row.varied.high_text, row.varied.mark, *bands))
    out.print(table(heads, rows, f"What each uncertain value does: {len(made.rows)} values, those that matter most"))
    for row in made.rows:
        if row.failed:
            out.print(f"{row.varied.key}: {row.failed}")
    if made.unsettled:
        out.print(f"{made.unsettled} runs did not come to repeat themselves; their changes are rough.")
    out.print(made.sentence)


def _percent(band: tuple[float, float]) -> str:
    return f"{100 * band[0]:+.1f} to {100 * band[1]:+.1f} %"
