"""Options of every command that shows results: the units to read them in, and the standard to correct power to.

They are taken here and hold until the command ends, so that tables, files and figures follow without being told.
"""

from __future__ import annotations

import os
from contextvars import ContextVar
from pathlib import Path
from typing import Any

import click

from waveflow.show.endings import Refused


def _take_units(context: click.Context, option: click.Parameter, text: str | None) -> None:
    if text is None:
        return
    from waveflow.study.columns import asked_units
    from waveflow.units import UnitError

    try:
        context.with_resource(asked_units(text))
    except UnitError as error:
        raise Refused(f'--units "{text}": {error.message}' + (f"; {error.hint}" if error.hint else "")) from None


def _take_standard(context: click.Context, option: click.Parameter, text: str | None) -> None:
    if text is None:
        return
    from waveflow.study.corrections import asked_standard

    try:
        context.with_resource(asked_standard(text))
    except ValueError as error:
        raise Refused(f"--corrected: {error}") from None


in_units = click.option(
    "--units", metavar="UNITS", expose_value=False, callback=_take_units,
    help="Read everything in US, or in units you name: 'lb-ft, hp, psi'; for one column: 'air_flow=lb/min'.",
)  # fmt: skip
_corrected = click.option(
    "--corrected", metavar="STANDARD", expose_value=False, callback=_take_standard,
    help="Show torque and power corrected to 'SAE J1349' or 'ISO 1585', too; without it nothing is corrected.",
)  # fmt: skip


_workbook: ContextVar[Path | None] = ContextVar("workbook asked for", default=None)


def _take_workbook(context: click.Context, option: click.Parameter, path: Path | None) -> None:
    if path is None:
        return
    if path.suffix.lower() != ".xlsx":
        raise Refused(f"--xlsx {path}: the name must end in .xlsx")
    can_write("--xlsx", path)
    token = _workbook.set(path)
    context.call_on_close(lambda: _workbook.reset(token))


def can_write(option: str, path: Path) -> None:
    """Refuse a workbook that cannot be written, before anything is computed for it."""
    from waveflow.study.workbook import has_writer

    if path.suffix.lower() != ".xlsx":
        return
    if not has_writer():
        raise Refused(f'{option} {path}: workbooks are written by XlsxWriter, which is not installed; '
                      'pip install "waveflow[sheets]"')  # fmt: skip
    if not path.parent.is_dir():
        raise Refused(f"{option} {path}: there is no folder {path.parent}")
    if not os.access(path if path.exists() else path.parent, os.W_OK):
        raise Refused(f"{option} {path}: permission denied")


def workbook_asked() -> Path | None:
    """Where the tables of a result are to be written as a workbook, too; None where that was not asked for."""
    return _workbook.get()


_xlsx = click.option(
    "--xlsx", type=click.Path(path_type=Path), metavar="NAME.xlsx", expose_value=False, callback=_take_workbook,
    help="Also write every table of the result as a workbook.",
)  # fmt: skip


def as_read(command: Any) -> Any:
    """All of them, for commands that show torque and power."""
    return in_units(_corrected(_xlsx(command)))
