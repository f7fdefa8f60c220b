"""Options of every command that shows results: the units to read them in, and the standard to correct power to.

They are taken here and hold until the command ends, so that tables, files and figures follow without being told.
"""

from __future__ import annotations

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


def as_read(command: Any) -> Any:
    """Both options, for commands that show torque and power."""
    return in_units(_corrected(command))
