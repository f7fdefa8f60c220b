"""The command line: plain verbs, one Python call behind each; no physics here.

Results go to standard output; progress, remarks and errors to standard error. Exit codes: 0 done, 1 the run failed, 2
bad input (nothing was run), 3 some speeds failed, 130 interrupted. Heavy modules are imported inside the commands, so
that help and refusals come at once.
"""

from __future__ import annotations

import os
import shlex
import sys
from pathlib import Path
from typing import Any

import click

from waveflow.errors import CaseError
from waveflow.show.asked import as_read, can_write, in_units
from waveflow.show.bench import bench
from waveflow.show.cam import cam
from waveflow.show.chamber import chamber
from waveflow.show.endings import DONE, FAILED, INTERRUPTED, PARTIAL, Refused, ending_of, hear_terminate, leave
from waveflow.show.fanout import fan_out, foretold
from waveflow.show.new import new, sensitive
from waveflow.show.sheet import sheet
from waveflow.show.spread import spread
from waveflow.show.terminal import prepare_streams, say, say_if_cold

RESULTS = "waveflow-results"
JOURNAL = "finished-points.jsonl"


_file = click.argument("file", type=click.Path(path_type=Path))
_set = click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="Set one value of the case, such as "
                    "intake.runner.length='300 mm'; may be repeated.")  # fmt: skip
_json = click.option("--json", "as_json", is_flag=True, help="Write one JSON document instead of tables; errors too.")
_quiet = click.option("--quiet", "-q", is_flag=True, help="No progress and no remarks on standard error.")
_resume = click.option("--resume", is_flag=True, help="Go on from the finished speeds an interrupted run has kept.")
_out = click.option("--out", type=click.Path(path_type=Path, file_okay=False), default=None,
                    help=f"Folder for results and figures; by default a new one below {RESULTS}.")  # fmt: skip
_rpm = click.option("--rpm", required=True, metavar="SPEEDS", help="1500:7500 (a range, lobes are refined), "
                    "1500:7500:250 (the same from this step), or 2000,3000 (exactly these).")  # fmt: skip


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="waveflow", prog_name="waveflow")
def cli() -> None:
    """Gas dynamics of engine ports: what an enlarged port does to filling, torque and power, before any metal is cut.

    Exit codes: 0 done, 1 run failed, 2 bad input, 3 some speeds failed, 130 interrupted.
    """


for each in (bench, cam, chamber, new, sensitive, sheet, spread):
    cli.add_command(each)


@cli.command(short_help="Say what was understood of a case.")
@_file
@click.option("--figure", type=click.Path(path_type=Path), help="Also draw the gas path to scale (.png or .svg).")
@_set
@in_units
@_json
def check(file: Path, figure: Path | None, settings: tuple[str, ...], as_json: bool) -> None:
    """Say what was understood of a case FILE: tables, drawing, warnings, and every value nobody gave."""
    _figure_name(figure)
    case = _load([file], settings)[0]
    from waveflow.show.check import check_data, check_figure, print_check

    if figure is not None:
        from waveflow.show.canvas import save

        save(check_figure(case), figure)
    if as_json:
        _print_json(check_data(case))
    else:
        print_check(case)


@cli.command(short_help="One speed: one cycle by crank angle.")
@_file
@click.option("--rpm", required=True, type=click.FloatRange(100, 30000), metavar="SPEED", help="Engine speed in rpm.")
@click.option("--probe", "probes", multiple=True, metavar="PLACE", help="Also trace pressure and speed at PLACE, a "
              "distance from the valve: intake:120mm, or 3:exhaust:50mm for cylinder 3; may be repeated.")  # fmt: skip
@click.option("--figure", type=click.Path(path_type=Path), help="Draw the cycle (.png or .svg).")
@click.option("--csv", "table", type=click.Path(path_type=Path), help="Write every trace by crank angle.")
@_set
@as_read
@_json
@_quiet
def run(file: Path, rpm: float, probes: tuple[str, ...], figure: Path | None, table: Path | None,
        settings: tuple[str, ...], as_json: bool, quiet: bool) -> None:  # fmt: skip
    """Run one speed until its cycles repeat, and show one cycle by crank angle."""
    _figure_name(figure)
    _file_name("--csv", table)
    case = _load([file], settings)[0]
    from waveflow.show.cycle_facts import headline
    from waveflow.show.from_results import cycle_view, probe_places
    from waveflow.show.probes import places_asked
    from waveflow.study.compare import LEAVES_OUT
    from waveflow.study.cycle import run as run_cycle

    places = {**probe_places(case), **places_asked(case, probes)}
    say_if_cold(quiet)
    point = _in_background(lambda: run_cycle(case, rpm, probes=places))
    view = cycle_view(case, rpm, point, left_out=LEAVES_OUT)
    from waveflow.show.deliver import point_data, print_json, save_traces
    from waveflow.show.tables import print_point

    save_traces(case, point, table)
    if figure is not None:
        from waveflow.show.canvas import save
        from waveflow.show.cycle_figure import cycle_figure

        save(cycle_figure(view), figure)
    if as_json:
        print_json(point_data(case, point, headline(view)), sys.stdout)
    else:
        print_point(case, point, headline(view), view.stamp)


@cli.command(short_help="One case over speeds.")
@_file
@_rpm
@_out
@_resume
@fan_out
@_set
@as_read
@_json
@_quiet
def sweep(file: Path, rpm: str, out: Path | None, resume: bool, workers: Any, settings: tuple[str, ...],
          as_json: bool, quiet: bool) -> None:  # fmt: skip
    """Run one case FILE over speeds."""
    case = _load([file], settings)[0]
    from waveflow.study.sweep import plan
    from waveflow.study.sweep import sweep as run_sweep

    planned = plan(case, rpm)
    folder = _folder(out, [file], resume)
    from waveflow.show.deliver import print_json, save_sweep, sweep_data
    from waveflow.show.from_results import stamp_of
    from waveflow.show.progress import Watch
    from waveflow.show.tables import print_sweep

    say_if_cold(quiet)
    with Watch(quiet=quiet) as watch:
        watch.say(foretold([case], planned, workers, folder))
        watch.begin(case.option or case.name)
        result = run_sweep(case, rpm, workers=workers, progress=watch, resume=folder / JOURNAL)
    files = save_sweep(result, folder, _command())
    if as_json:
        print_json({**sweep_data(result), "files": [str(each) for each in files]}, sys.stdout)
    else:
        print_sweep(result, stamp_of([result]))
        _written(files, quiet)
    _end([result])


@cli.command(short_help="Two or more cases over speeds, side by side.")
@click.argument("files", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="FILE FILE...")
@_rpm
@click.option("--band", metavar="LOW:HIGH", help="The speeds you drive at, such as 3000:6000: mean change over them.")
@click.option("--target", metavar="SPEED", help="Wanted speed of most power, such as '6500 rpm': which option comes "
              "nearest, and by how much area a derived port would meet it.")  # fmt: skip
@click.option("--target-of", type=click.Choice(["power", "torque", "volumetric_efficiency", "envelope"]),
              default="power", show_default=True, help="What the wanted speed is the peak of.")  # fmt: skip
@_out
@click.option("--grid-check", is_flag=True, help="Repeat the VE peak of each option on three grids: order and error.")
@fan_out
@_resume
@_set
@as_read
@_json
@_quiet
def compare(files: tuple[Path, ...], rpm: str, band: str | None, target: str | None, target_of: str, out: Path | None,
            grid_check: bool, workers: Any, resume: bool, settings: tuple[str, ...], as_json: bool,
            quiet: bool) -> None:  # fmt: skip
    """Run two or more case FILEs over the same speeds and compare each with the first."""
    if len(files) < 2:
        raise Refused("A comparison needs two case files or more; for one, use: waveflow sweep")
    cases = _load(files, settings)
    from waveflow.study.sweep import plan
    from waveflow.study.target import parse_target

    planned, speeds = plan(cases[0], rpm), None if band is None else _band(band)
    if target is not None:
        try:
            parse_target(target)
        except ValueError as error:
            raise Refused(f'--target "{target}": {error}; write a speed such as "6500 rpm"') from None
    folder = _folder(out, files, resume)
    from waveflow.show.deliver import comparison_data, grid_words, print_json, save_outcome
    from waveflow.show.from_results import stamp_of
    from waveflow.show.progress import Watch
    from waveflow.show.tables import print_comparison
    from waveflow.study.together import compare_cases

    say_if_cold(quiet)
    with Watch(quiet=quiet) as watch:
        watch.say(foretold(cases, planned, workers, folder))
        outcome = compare_cases(cases, rpm, band=speeds, target=target, target_of=target_of, grids=grid_check,
                                workers=workers, progress=watch, resume=folder / JOURNAL)  # fmt: skip
    written = save_outcome(outcome, folder, _command())
    made, grid = outcome.comparison, grid_words(outcome.grids)
    if as_json:
        print_json({**comparison_data(made, outcome.extra, grid), "files": [str(each) for each in written]}, sys.stdout)
    else:
        print_comparison(made, stamp_of(made.results, grid), outcome.extra)
        _written(written, quiet)
    _end(made.results)


@cli.command(short_help="Show a kept result again.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--figure", type=click.Path(path_type=Path), help="Draw the comparison again (.png or .svg).")
@click.option("--csv", "table", type=click.Path(path_type=Path), help="Write every point again, in the units asked for.")
@as_read
@_json
def reopen(folder: Path, figure: Path | None, table: Path | None, as_json: bool) -> None:
    """Show the result kept in a FOLDER again, without running anything."""
    _figure_name(figure)
    _file_name("--csv", table)
    from waveflow.show.deliver import comparison_data, print_json, sweep_data, write_again
    from waveflow.show.from_results import stamp_of
    from waveflow.show.tables import print_comparison, print_sweep
    from waveflow.study.compare import Comparison
    from waveflow.study.store import open_folder

    stored = _bad_input(lambda: open_folder(folder))
    made, extra, grid = stored.result, stored.extra.get("sentences", []), stored.extra.get("grid", "")
    for warning in stored.warnings:
        say(f"Note: {warning}")
    compared = isinstance(made, Comparison)
    write_again(made, grid, figure, table)
    if as_json:
        print_json(comparison_data(made, extra, grid) if compared else sweep_data(made), sys.stdout)
    elif compared:
        print_comparison(made, stamp_of(made.results, grid), extra)
    else:
        print_sweep(made, stamp_of([made]))


@cli.command(short_help="Look after the installation.")
@click.option("--quick", is_flag=True, help="Leave out the self-test on an engine with known answers.")
@_json
def doctor(quick: bool, as_json: bool) -> None:
    """Say what this installation is made of, and test it against known answers."""
    from waveflow.show.doctor import examine, print_findings

    findings = examine(quick)
    if as_json:
        _print_json({"findings": [vars(each) for each in findings]}, all(each.ok for each in findings))
    else:
        print_findings(findings)
    if not all(each.ok for each in findings):
        raise click.exceptions.Exit(FAILED)


def _load(files: Any, settings: tuple[str, ...]) -> list[Any]:
    """All cases; the mistakes of all files come out together."""
    from waveflow.engine.case import load

    wanted: dict[str, str] = {}
    for text in settings:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            raise Refused(f'--set "{text}": write KEY=VALUE, such as --set "intake.runner.length=300 mm"')
        wanted[key.strip()] = value
    cases, problems = [], []
    for file in files:
        try:
            cases.append(load(file, wanted or None))
        except CaseError as error:
            problems += error.problems
    if problems:
        raise CaseError(list(dict.fromkeys(problems)))
    return cases


def _figure_name(path: Path | None) -> None:
    if path is not None and path.suffix.lower() not in (".png", ".svg"):
        raise Refused(f"--figure {path}: the name must end in .png or .svg")
    _file_name("--figure", path)


def _file_name(option: str, path: Path | None) -> None:
    """Refuse a file that cannot be written before anything is computed for it."""
    if path is not None and not path.parent.is_dir():
        raise Refused(f"{option} {path}: there is no folder {path.parent}")
    if path is not None and not os.access(path if path.exists() else path.parent, os.W_OK):
        raise Refused(f"{option} {path}: permission denied")
    if path is not None and path.suffix.lower() == ".xlsx":
        can_write(option, path)


def _band(text: str) -> tuple[float, float]:
    try:
        low, high = (float(word) for word in text.lower().replace("rpm", "").split(":"))
    except ValueError:
        raise Refused(f'--band "{text}": write LOW:HIGH in rpm, such as 3000:6000') from None
    if not 0 < low < high:
        raise Refused(f'--band "{text}": the first speed must be below the second')
    return low, high


def _folder(out: Path | None, files: Any, resume: bool) -> Path:
    """The folder for results, made and tried; finished points of an earlier run are kept only to be resumed."""
    from waveflow.study.writing import make_folder, write_atomic

    folder = out or Path(RESULTS) / "-against-".join(file.stem for file in files)[:120]

    def prepared() -> Path:
        made = make_folder(folder)
        if not resume or not (made / JOURNAL).exists():
            write_atomic(made / JOURNAL, b"")
        return made

    return _bad_input(prepared)


def _bad_input(action: Any) -> Any:
    """What `action` gives; a folder that cannot be used before anything was run is bad input."""
    from waveflow.study.writing import StoreError

    try:
        return action()
    except StoreError as error:
        raise Refused(str(error)) from error


def _in_background(job: Any) -> Any:
    """Result of a job that runs in a thread of its own, so that Ctrl-C is heard while compiled code runs."""
    from waveflow.study.workers import Workers, as_finished

    with Workers(1) as pool:
        return next(iter(as_finished([pool.submit(job)]))).result()


def _written(files: Any, quiet: bool) -> None:
    if not quiet:
        say(f"Written to {files[0].parent}: {', '.join(each.name for each in files)}")


def _end(results: Any) -> None:
    """Leave with the exit code the failed speeds call for."""
    failed = sum(len(result.failed) for result in results)
    if failed:
        known = sum(len(result) for result in results)
        raise click.exceptions.Exit(FAILED if failed >= known else PARTIAL)


def _print_json(data: dict[str, Any], ok: bool = True) -> None:
    from waveflow.show.deliver import print_json

    print_json(data, sys.stdout, ok)


_arguments: list[str] = []


def _command(more: str = "") -> str:
    """The command line as it can be typed again."""
    words = ["waveflow", *_arguments, *([more] if more and more not in _arguments else [])]
    if os.name == "nt":
        import subprocess

        return subprocess.list2cmdline(words)
    return shlex.join(words)


def run_line(arguments: list[str]) -> int:
    """Run one command line [list of words] and return its exit code; nothing that is the user's to mend is raised."""
    _arguments[:] = arguments
    try:
        code = cli.main(args=arguments, prog_name="waveflow", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else DONE
    except BaseException as error:  # noqa: BLE001 - the last place that can turn it into a sentence
        return ending_of(error, "--json" in arguments, _command("--resume"))


def main() -> None:
    """Entry point of the `waveflow` command."""
    prepare_streams()
    hear_terminate()
    code = run_line(sys.argv[1:])
    leave(code, at_once=code == INTERRUPTED)
