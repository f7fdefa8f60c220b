"""Stations and lift tables out of a spreadsheet: previewed with their bad rows, written as the plain CSV of a case."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from waveflow.show.endings import Refused
from waveflow.show.terminal import console, say, table
from waveflow.show.words import plain

MOST_SHOWN = 40
PASTE = {
    "stations": "[intake.port]               # or exhaust.port; from the manifold face (intake) or the valve (exhaust)\n"
                'file = "{}"\n',
    "lift": "[intake.cam]                # or exhaust.cam; degrees after gas-exchange top dead centre\n"
            'kind = "table"\nfile = "{}"\n'
            '# lift_of = "lobe"         # or "valve": where the dial indicator stood. The case asks for it.\n',
}  # fmt: skip


def preview(path: Path, made: Any) -> None:
    """The table as read [engine.tableimport.ImportedTable] and what is to be said of it."""
    out = console(None)
    out.print(f"{plain(str(path), 200)}: {len(made.rows)} rows, {made.what}", style="bold")
    heads = [("row", "right"), *((head, "right") for head in made.headings())]
    rows = [[str(line), *cells] for line, cells in made.rows]
    cut = rows if len(rows) <= MOST_SHOWN else [*rows[: MOST_SHOWN - 5], ["..."] * len(heads), *rows[-4:]]
    out.print(table(heads, cut))
    for note in made.notes:
        out.print(f"Note: {plain(note, 300)}")


def data_of(made: Any) -> dict[str, Any]:
    """The same as data for JSON."""
    return {"file": made.source, "what": made.what, "columns": made.headings(), "rows": [[n, *cells] for n, cells in made.rows],
            "questions": [{"key": each.key, "text": str(each), "readings": list(each.readings)} for each in made.questions],
            "bad_rows": [vars(each) for each in made.bad_rows], "notes": list(made.notes)}  # fmt: skip


def write(made: Any, target: Path, force: bool) -> None:
    """Writes the plain CSV and shows the lines for a case."""
    from waveflow.study.writing import write_atomic

    if not target.parent.is_dir():
        raise Refused(f"--write {target}: there is no folder {target.parent}")
    if target.exists() and not force:
        raise Refused(f"--write: {target} exists already; --force overwrites it")
    write_atomic(target, made.normal_csv().encode())
    say(f"Written: {target}")
    print(f"# to paste into a case in the folder of {target.name}\n{PASTE[made.what].format(target.name)}", file=sys.stdout)
