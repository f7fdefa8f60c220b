"""`waveflow sheet`: a flow sheet as a shop keeps it, previewed, asked about, written plain, and before beside after."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from waveflow.show.endings import BAD_INPUT, Refused
from waveflow.show.terminal import console, say, table
from waveflow.show.words import counted, plain

OPTIONS = {
    "lift unit": "--lift-unit",
    "flow unit": "--flow-unit",
    "side": "--side",
    "depression": "--depression",
    "decimal mark": "--decimal",
    "leak subtracted": "--leak-subtracted",
    "plate corrected": "--plate-corrected",
    "valve": "--valve",
}
MOUNTS = ("same mount", "remounted", "other bench")
MOST_SHOWN = 30


def _twice(name: str, metavar: str, words: str) -> Any:
    return click.option(name, multiple=True, metavar=metavar, help=words)


@click.command(short_help="Read a flow sheet as a shop keeps it; before beside after.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("after_file", type=click.Path(path_type=Path), required=False)
@_twice("--lift-unit", "UNIT", "mm, in or thou, where the sheet does not say; given twice, the second is for AFTER_FILE.")
@_twice("--flow-unit", "UNIT", "CFM, L/s, L/min or m3/h, where the sheet does not say.")
@_twice("--side", "SIDE", "intake or exhaust, where the sheet does not say.")
@_twice("--depression", "PRESSURE", 'Test depression, such as "28 inH2O".')
@_twice("--decimal", "MARK", "comma or point, where the numbers leave it open.")
@_twice("--valve", "DIAMETER", "Valve head, for lifts counted in valve diameters.")
@_twice("--leak-subtracted", "YES/NO", "Whether the leak is already taken off the readings.")
@_twice("--plate-corrected", "YES/NO", "Whether the readings are already corrected by the plate check.")
@_twice(
    "--answer",
    "NAME=VALUE",
    'Answer another question, such as --answer "column 3=intake after"; for AFTER_FILE alone begin with "after ".',
)
@_twice("--leave-out", "ROWS", "Leave out rows by number: 7,12.")
@_twice("--page", "NAME", "Page of a workbook; its first by default.")
@click.option(
    "--between",
    "mount",
    type=click.Choice(MOUNTS),
    help="What lies between the two readings: the same mount, the head taken off and on again (by default), or another bench.",
)
@click.option("--repeat", metavar="PERCENT", help='Your own repeatability, such as "0.7 %", instead of common practice.')
@click.option(
    "--case",
    "case_file",
    type=click.Path(path_type=Path),
    help="Weigh the flow by the time this case's cam spends at each lift.",
)
@click.option(
    "--write",
    "target",
    type=click.Path(path_type=Path),
    metavar="NAME.csv",
    help="Write the sheet as a plain CSV, and show the lines to paste into a case.",
)
@click.option(
    "--as",
    "what",
    type=click.Choice(("flow", "stations", "lift")),
    default="flow",
    show_default=True,
    help="What FILE holds: a flow sheet, the stations of a port, or a cam's lift table.",
)
@click.option("--force", is_flag=True, help="Overwrite a file of that name.")
@click.option("--json", "as_json", is_flag=True, help="Write one JSON document instead of tables; errors too.")
def sheet(
    file: Path,
    after_file: Path | None,
    answer: tuple[str, ...],
    leave_out: tuple[str, ...],
    page: tuple[str, ...],
    mount: str | None,
    repeat: str | None,
    case_file: Path | None,
    target: Path | None,
    what: str,
    force: bool,
    as_json: bool,
    **given: tuple[str, ...],
) -> None:
    """Read a flow sheet FILE (CSV in any dialect, xlsx), ask what it leaves open, and compare it with AFTER_FILE or with the
    sheet's own columns "after": what is above the noise of the bench, lift by lift.

    Nothing is guessed and nothing is taken in by half: a row that cannot be used must be corrected or left out by number.
    """
    if target is not None and target.suffix.lower() != ".csv":
        raise Refused(f"--write {target}: the name must end in .csv")
    if what != "flow":
        if after_file is not None or case_file is not None:
            raise Refused(f"--as {what}: takes one FILE, and neither AFTER_FILE nor --case")
        answers, rows = _answers(given, answer, 0, 1), _row_numbers(leave_out, 0)
        _import(file, what, answers, rows, page[0] if page else "", target, force, as_json)
        return
    own = None if repeat is None else _repeat(repeat)
    case = None
    if case_file is not None:
        from waveflow.engine.case import load

        case = load(case_file)
    paths = [file, *([after_file] if after_file is not None else [])]
    sheets, open_ones = [], False
    for number, path in enumerate(paths):
        answers = _answers(given, answer, number, len(paths))
        rows = _row_numbers(leave_out, number)
        ask = sys.stdin.isatty() and not as_json
        made = _settled(path, answers, rows, page[min(number, len(page) - 1)] if page else "", ask)
        sheets.append(made)
        open_ones = open_ones or not made.ready
        if not as_json:
            _preview(path, made)
            print(file=sys.stdout)
    if open_ones:
        _refuse(sheets, paths, as_json)
    from waveflow.show.sheetviews import compared, print_compared, write_sheets

    views = compared(sheets, mount, own, case)
    written = write_sheets(sheets, target, force) if target is not None else []
    if as_json:
        from waveflow.show.deliver import print_json

        data = {"sheets": [_data(each) for each in sheets], "compared": [view.data() for view in views]}
        print_json({**data, "files": [str(path) for path, _ in written]}, sys.stdout)
        return
    print_compared(console(None), views)
    for path, lines in written:
        say(f"Written: {path}")
        print(f"# to paste into a case in the folder of {path.name}\n{lines}" if lines else "", file=sys.stdout)


def _import(file: Path, what: str, answers: dict, rows: set[int], page: str, target: Any, force: bool, as_json: bool) -> None:
    from waveflow.engine.tableimport import import_table
    from waveflow.show import importing

    ask = sys.stdin.isatty() and not as_json
    made = _settled(file, answers, rows, page, ask, lambda grid, given: import_table(grid, what, given))
    if not as_json:
        importing.preview(file, made)
    if not made.ready:
        _refuse([made], [file], as_json, importing.data_of)
    if target is not None:
        importing.write(made, target, force)
    if as_json:
        from waveflow.show.deliver import print_json

        print_json(importing.data_of(made), sys.stdout)


def _repeat(text: str) -> float:
    from waveflow.units import UnitError, parse

    try:
        value = parse(text if "%" in text else f"{text} %", "fraction")
    except UnitError as error:
        raise Refused(f'--repeat "{text}": {error}; write such as "0.7 %"') from None
    if not 0.0005 <= value <= 0.1:
        raise Refused(f'--repeat "{text}": a bench repeats to 0.05 to 10 %')
    return value


def _answers(given: Mapping[str, tuple[str, ...]], more: tuple[str, ...], number: int, count: int) -> dict[str, str]:
    """Answers for the first (`number` 0) or the second file."""
    found = {}
    for key, option in OPTIONS.items():
        values = given[{"--decimal": "decimal"}.get(option, option[2:].replace("-", "_"))]
        if len(values) > count:
            raise Refused(f"{option}: given {len(values)} times for {counted(count, 'sheet')}")
        if values:
            found[key] = values[min(number, len(values) - 1)]
    for text in more:
        name, equals, value = text.partition("=")
        key = " ".join(name.lower().split())
        if not equals or not key:
            raise Refused(f'--answer "{text}": write NAME=VALUE, such as --answer "column 3=intake after"')
        if key.startswith("after ") and number == 0:
            continue
        found[key.removeprefix("after ")] = value
    return found


def _row_numbers(texts: tuple[str, ...], number: int) -> set[int]:
    if not texts:
        return set()
    text = texts[min(number, len(texts) - 1)] if len(texts) > 1 or number == 0 else ""
    try:
        return {int(word) for word in text.replace(" ", "").split(",") if word}
    except ValueError:
        raise Refused(f'--leave-out "{text}": write row numbers, such as 7,12') from None


def _settled(path: Path, answers: dict[str, str], rows: set[int], page: str, ask: bool, reader: Any = None) -> Any:
    """The sheet with every question answered, as far as somebody sits at the terminal."""
    from dataclasses import replace

    from waveflow.engine.grid import read_grid, split_page
    from waveflow.engine.sheetreading import flow_file
    from waveflow.errors import CaseError

    read = reader or flow_file
    name, own_page = split_page(str(path))
    whole = read_grid(Path(name), str(path), page or own_page)
    said: Any = None
    while True:
        note = tuple(f"row {row} left out, as told" for row in sorted(rows))
        grid = replace(whole, rows=tuple(row for row in whole.rows if row[0] not in rows), notes=(*whole.notes, *note))
        try:
            made = read(grid, answers)
        except CaseError as error:
            if said is None:
                raise
            for problem in error.problems:
                say(str(problem))
            answers.pop(said)
            made, said = read(grid, answers), None
        if not ask or made.ready:
            return made
        if made.questions:
            said = made.questions[0].key
            say(str(made.questions[0]))
            answers[said] = _typed()
        else:
            for bad in made.bad_rows:
                say(str(bad))
            say(f"Leave out {counted(len(made.bad_rows), 'row')}? yes or no")
            if _typed().lower() not in ("yes", "y", "ja"):
                return made
            rows |= {each.line for each in made.bad_rows}


def _typed() -> str:
    try:
        return input("> ").strip()
    except EOFError:
        raise KeyboardInterrupt from None


def _preview(path: Path, made: Any) -> None:
    out = console(None)
    out.print(plain(str(path), 200), style="bold")
    for text in made.recognised():
        out.print(plain(text, 300))
    if made.columns and made.lifts:
        unit = {"D": "lift/D"}.get(made.lift_unit, f"lift, {made.lift_unit or '?'}")
        heads = [("row", "right"), (unit, "right"), *((f"{each.name}, {each.unit or '?'}", "right") for each in made.columns)]
        rows = [
            [str(line), made.lifts[k], *(each.texts[k] or "" for each in made.columns)] for k, line in enumerate(made.lines)
        ]
        cut = rows if len(rows) <= MOST_SHOWN else [*rows[: MOST_SHOWN - 5], ["..."] * len(heads), *rows[-4:]]
        out.print(table(heads, cut))
    for note in made.notes:
        out.print(f"Note: {plain(note, 300)}")
    if made.foreign:
        out.print("This sheet speaks of another bench: what it gains or loses beside a sheet of yours may be the bench's.")


def _refuse(sheets: list[Any], paths: list[Path], as_json: bool, data_of: Any = None) -> None:
    """Say what is left open and how to answer it, and leave with the exit code of bad input."""
    lines = []
    for made, path in zip(sheets, paths, strict=True):
        lines += [f"{path}: {question}" for question in made.questions]
        lines += [f"{path}:{bad.line}: {bad.why}: {bad.text}" for bad in made.bad_rows]
    hints = []
    for number, made in enumerate(sheets):
        hints += [option_for(question, number) for question in made.questions]
        if made.bad_rows:
            hints.append(f"--leave-out {','.join(str(bad.line) for bad in made.bad_rows)}")
    hints = list(dict.fromkeys(hints))
    asked, bad = sum(len(made.questions) for made in sheets), sum(len(made.bad_rows) for made in sheets)
    said = " and ".join(
        text
        for text in (counted(asked, "question") if asked else "", counted(bad, "row") + " that cannot be used" if bad else "")
        if text
    )
    cure = "Answer it with your own values, such as" if asked else "Correct the file, or leave out what it cannot say"
    tail = f"{said}; nothing was taken in. {cure}: {' '.join(hints)}"
    if as_json:
        from waveflow.show.deliver import print_json

        told = [(data_of or _data)(each) for each in sheets]
        print_json({"sheets": told, "sentences": [*lines, tail], "answer_by": hints}, sys.stdout, False)
    for line in (*lines, tail):
        say(line)
    raise click.exceptions.Exit(BAD_INPUT)


def option_for(question: Any, number: int = 0) -> str:
    """The option that answers a question, with its first reading as the example."""
    example = question.readings[0] if question.readings else "..."
    option = OPTIONS.get(question.key)
    if option is None:
        return f'--answer "{"after " if number else ""}{question.key}={example}"'
    return f'{option} "{example}"' if " " in example else f"{option} {example}"


def _data(made: Any) -> dict[str, Any]:
    columns = [
        {
            "name": each.name,
            "side": each.side,
            "label": each.label,
            "unit": each.unit,
            "depression": each.depression,
            "readings": list(each.texts),
        }
        for each in made.columns
    ]
    questions = [
        {"key": each.key, "text": str(each), "readings": list(each.readings), "option": option_for(each)}
        for each in made.questions
    ]
    return {
        "file": made.source,
        "understood": made.recognised(),
        "lift_unit": made.lift_unit,
        "lifts": list(made.lifts),
        "columns": columns,
        "facts": dict(made.facts),
        "questions": questions,
        "foreign": made.foreign,
        "bad_rows": [vars(each) for each in made.bad_rows],
        "notes": list(made.notes),
    }
