"""`waveflow bench`: a port and its valve on the modelled flow bench, beside the sheet that was measured."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import click

from waveflow.show.endings import Refused


@click.command(short_help="A port on the modelled flow bench.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--depression", metavar="PRESSURE", help="Test depression, such as '10 inH2O'; by default that of the sheet.")
@click.option("--side", type=click.Choice(["intake", "exhaust"]), help="One side only.")
@click.option("--reverse", is_flag=True, help="Against the port's normal direction.")
@click.option("--lift", "lifts", metavar="LIFTS", help="Lifts such as '2, 4, 6 mm'; by default those of the sheet.")
@click.option("--coefficient-of", "share", type=click.Choice(["whole port", "valve alone"]), help="What the coefficient in "
              "use contains, in place of the case's own choice.")  # fmt: skip
@click.option("--beside", type=click.Path(path_type=Path), help="Another case whose sheet is set beside this one, brought "
              "to the same depression.")  # fmt: skip
@click.option("--predict-from", "base", type=click.Path(path_type=Path), help="Predict the sheet of FILE from the measured "
              "sheet of this case, whatever FILE's own sheet says.")  # fmt: skip
@click.option("--figure", type=click.Path(path_type=Path), help="Draw flow against lift (.png or .svg).")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="Set one value of the case; may be repeated.")
@click.option("--json", "as_json", is_flag=True, help="Write one JSON document instead of tables; errors too.")
def bench(file: Path, depression: str | None, side: str | None, reverse: bool, lifts: str | None, share: str | None,
          beside: Path | None, base: Path | None, figure: Path | None, settings: tuple[str, ...],
          as_json: bool) -> None:  # fmt: skip
    """Put the port and valve of a case FILE on a modelled flow bench: CFM against lift, and what is left for the valve."""
    from waveflow.engine.case import load
    from waveflow.engine.valvealone import NoCoefficient

    _figure_name(figure)
    case = load(os.fspath(file), _settings(settings))
    other = load(os.fspath(beside)) if beside is not None else None
    pressure, places = _depression(depression), _lifts(lifts)
    if base is not None:
        for given, option in ((depression, "--depression"), (reverse, "--reverse"), (share, "--coefficient-of"),
                              (beside, "--beside")):  # fmt: skip
            if given:
                raise Refused(f"--predict-from cannot be combined with {option}: the prediction stands at the depression and "
                              "in the direction of the measured sheet; leave one of the two out")  # fmt: skip
        _predict(load(os.fspath(base)), case, side, places, figure, as_json)
        return
    from waveflow.study.benchrun import bench as run_bench

    try:
        runs = run_bench(case, pressure, side=side, reverse=reverse, lift=places, share=share)
    except NoCoefficient as none:
        raise Refused(f"{os.fspath(file)}: {none}") from None
    except ValueError as error:
        raise Refused(f"{os.fspath(file)}: {error}") from None
    from waveflow.show.benchtable import bench_data, print_bench

    if figure is not None:
        from waveflow.show.benchfigure import bench_figure
        from waveflow.show.canvas import save

        save(bench_figure(case, runs), figure)
    if as_json:
        from waveflow.show.deliver import print_json

        print_json(bench_data(case, runs, other), sys.stdout)
    else:
        print_bench(case, runs, other, sys.stdout)


def _predict(base: Any, case: Any, side: str | None, places: list[float] | None, figure: Path | None,
             as_json: bool) -> None:  # fmt: skip
    from waveflow.study.predicted import predicted_sheet

    try:
        sheets = [predicted_sheet(base, case, each, places) for each in ((side,) if side else ("intake", "exhaust"))]
    except ValueError as error:
        raise Refused(f"--predict-from {base.source}: {error}") from None
    from waveflow.show.deliver import print_json
    from waveflow.show.predicted import predicted_data, print_predicted

    if figure is not None:
        from waveflow.show.benchfigure import predicted_figure
        from waveflow.show.canvas import save

        save(predicted_figure(base, case, sheets), figure)
    if as_json:
        print_json(predicted_data(base, case, sheets), sys.stdout)
    else:
        print_predicted(base, case, sheets, sys.stdout)


def _settings(settings: tuple[str, ...]) -> dict[str, str] | None:
    wanted = {}
    for text in settings:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            raise Refused(f'--set "{text}": write KEY=VALUE, such as --set "intake.flow.leak=1 CFM"')
        wanted[key.strip()] = value
    return wanted or None


def _figure_name(path: Path | None) -> None:
    if path is None:
        return
    if path.suffix.lower() not in (".png", ".svg"):
        raise Refused(f"--figure {path}: the name must end in .png or .svg")
    if not path.parent.is_dir():
        raise Refused(f"--figure {path}: there is no folder {path.parent}")


def _depression(text: str | None) -> float | None:
    from waveflow.units import UnitError, parse

    if text is None:
        return None
    try:
        found = parse(text, "pressure_difference")
    except UnitError as error:
        raise Refused(f'--depression "{text}": {error.message}; write it with its unit, such as "28 inH2O"') from None
    low, high = parse("1 inH2O", "pressure_difference"), parse("300 inH2O", "pressure_difference")
    if not low <= found <= high:
        raise Refused(f'--depression "{text}": allowed 1 to 300 inH2O')
    return found


def _lifts(text: str | None) -> list[float] | None:
    from waveflow.units import UnitError, parse

    if text is None:
        return None
    words = [word.strip() for word in text.split(",")]
    unit = words[-1].lstrip("0123456789. ")
    found = []
    for word in words:
        try:
            found.append(parse(word if word.lstrip("0123456789. ") else f"{word} {unit}", "length"))
        except UnitError as error:
            raise Refused(f'--lift "{text}": {error.message}; write lifts such as "2, 4, 6 mm"') from None
    if not all(0.0 < each <= 0.03 for each in found):
        raise Refused(f'--lift "{text}": allowed above 0 to 30 mm')
    return found
