"""The command line as a user meets it: exit codes, what goes where, hostile consoles, interruption and resuming."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest

from waveflow import cli

ROOT = Path(__file__).parent.parent
CASES = ROOT / "cases"
STOCK, RACE, DERIVED = (str(CASES / f"n155{more}.toml") for more in ("", "_race", "_plus15"))
sys.path.insert(0, str(Path(__file__).parent / "study"))
COMMANDS = ("bench", "cam", "chamber", "check", "compare", "doctor", "new", "reopen", "run", "sensitive", "sheet", "spread",
            "sweep")  # fmt: skip

# Runs the command line with the made-up engine of the study tests in the solver's place; argv[1] is its pace [s].
DRIVER = """
import sys
sys.path.insert(0, {studies!r})
from made_up import Engine
import waveflow.study.cycle
waveflow.study.cycle.run_point = Engine(slow=float(sys.argv.pop(1)), broken=tuple(map(float, {broken!r})))
from waveflow.cli import main
main()
"""


@pytest.fixture
def made_up(monkeypatch):
    """The made-up engine in the solver's place."""
    from made_up import Engine

    import waveflow.study.cycle

    engine = Engine()
    monkeypatch.setattr(waveflow.study.cycle, "run_point", engine)
    return engine


def command(*words, **environment):
    """Run the real command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", "from waveflow.cli import main; main()", *words], capture_output=True, timeout=120,
        cwd=environment.pop("cwd", ROOT), env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )  # fmt: skip


def driver(pace, *words, cwd, broken=()):
    """Start the command with the made-up engine in a process of its own."""
    text = DRIVER.format(studies=str(ROOT / "tests" / "study"), broken=list(broken))
    return subprocess.Popen(
        [sys.executable, "-c", text, str(pace), *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip


def bad_case(folder):
    path = folder / "bad.toml"
    path.write_text('name = "x"\n[engine]\ncylinders = 4\nbore = 80.6\nstrok = "76.2 mm"\n')
    return str(path)


def test_help_lists_every_command_and_every_option_is_explained():
    done = command("--help")
    assert done.returncode == 0 and done.stderr == b""
    listing = done.stdout.decode().split("Commands:")[1]
    assert [line.split()[0] for line in listing.strip().splitlines()] == sorted(COMMANDS)
    assert set(cli.cli.commands) == set(COMMANDS)
    for name, each in cli.cli.commands.items():
        assert each.help, name
        for parameter in each.params:
            if isinstance(parameter, click.Option):
                assert parameter.help and parameter.help.rstrip().endswith("."), (name, parameter.name)


@pytest.mark.parametrize(("words", "code", "budget"), [(("--help",), 0, 0.3), (("check", "BAD"), 2, 0.5)])
def test_help_and_refusals_load_nothing_heavy_and_come_at_once(words, code, budget, tmp_path):
    words = [bad_case(tmp_path) if word == "BAD" else word for word in words]
    text = (
        "import sys\nfrom waveflow import cli\n"
        f"code = cli.run_line({words!r})\n"
        "print('LOADED', code, [m for m in ('numba','scipy','matplotlib','cantera','numpy','rich') if m in sys.modules])"
    )
    best = float("inf")
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run([sys.executable, "-c", text], capture_output=True, cwd=ROOT, timeout=60)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        best = min(best, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    assert f"LOADED {code} []" in done.stdout.decode(), done.stdout.decode()
    assert best <= budget  # processor time, so that a busy machine does not matter


def test_bad_case_says_all_mistakes_on_standard_error_and_writes_nothing(tmp_path):
    done = command("sweep", bad_case(tmp_path), "--rpm", "3000", cwd=tmp_path)
    assert done.returncode == 2 and done.stdout == b""
    said = done.stderr.decode()
    assert 'bad.toml:5: engine.strok = "76.2 mm": unknown key; did you mean "stroke"?' in said
    assert "bore" in said and "missing unit" in said and "nothing was run" in said and "Traceback" not in said
    assert [path.name for path in tmp_path.iterdir()] == ["bad.toml"]


def test_mistakes_of_all_files_come_out_together_and_as_json(tmp_path, capsys):
    other = tmp_path / "other.toml"
    other.write_text('name = "y"\nrubbish = 1\n')
    assert cli.run_line(["compare", bad_case(tmp_path), str(other), "--rpm", "3000", "--json"]) == 2
    printed = capsys.readouterr()
    data = json.loads(printed.out)
    assert data["ok"] is False and data["exit_code"] == 2
    assert {Path(problem["file"]).name for problem in data["error"]["problems"]} == {"bad.toml", "other.toml"}
    assert all(problem["text"] in printed.err for problem in data["error"]["problems"])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["compare", STOCK, "--rpm", "3000"], "two case files"),
        (["compare", STOCK, RACE], "--rpm"),
        (["compare", STOCK, RACE, "--rpm", "fast"], "1500:7500"),
        (["sweep", STOCK, "--rpm", "1"], "100"),
        (["compare", STOCK, RACE, "--rpm", "3000", "--band", "6000:3000"], "--band"),
        (["compare", STOCK, RACE, "--rpm", "3000", "--target", "6500"], '--target "6500"'),
        (["compare", STOCK, RACE, "--rpm", "3000", "--colour"], "No such option"),
        (["run", STOCK, "--rpm", "3000", "--probe", "here"], "intake:120mm"),
        (["run", STOCK, "--rpm", "3000", "--probe", "7:intake:10mm"], "cylinders 1 to 4"),
        (["run", STOCK, "--rpm", "3000", "--probe", "intake:9 m"], "reaches 0 to"),
        (["run", STOCK, "--rpm", "3000", "--probe", "intake:12"], "unit"),
        (["run", STOCK, "--rpm", "3000", "--figure", "x.pdf"], ".png or .svg"),
        (["run", STOCK, "--rpm", "3000", "--csv", "/no/such/folder/x.csv"], "no folder"),
        (["check", STOCK, "--set", "bore"], "KEY=VALUE"),
        (["check", STOCK, "--set", "engine.bore=80 parrots"], "engine.bore"),
        (["check", "/no/such/file.toml"], "no such file"),
        (["reopen", "/no/such/folder"], "no result is stored here"),
        (["paint"], "No such command"),
    ],
)
def test_bad_input_is_one_clear_sentence_and_exit_code_2(words, said, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert cli.run_line(words) == 2
    printed = capsys.readouterr()
    assert said in printed.err and "Traceback" not in printed.err and printed.out == ""
    assert list(tmp_path.iterdir()) == []


def test_set_changes_one_value(capsys):
    assert cli.run_line(["check", STOCK, "--set", "intake.runner.length=300 mm", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    runner = next(part for part in data["path"] if part["name"] == "runner")
    assert runner["length_m"] == pytest.approx(0.300)


def test_check_draws_the_gas_path(tmp_path, capsys):
    figure = tmp_path / "path.svg"
    assert cli.run_line(["check", RACE, "--figure", str(figure)]) == 0
    assert "Intake in flow order" in figure.read_text(encoding="utf-8")
    shown = capsys.readouterr().out
    for words in ("firing order 1-3-4-2", "runner x4", "82", "smallest 996", "guesses", "ca50 = 9 deg, likely 6 to 14 deg"):
        assert words in shown
    assert shown.index("guesses") < shown.index("defaults")
    assert shown.rstrip().endswith("outside it.")


def test_compare_writes_a_folder_that_reopens_to_the_same_words(tmp_path, capsys, made_up):
    out = tmp_path / "result"
    words = ["compare", STOCK, DERIVED, "--rpm", "2500:6500:250", "--band", "3000:6000", "--out", str(out)]
    assert cli.run_line(words) == 0
    printed = capsys.readouterr()
    assert {path.name for path in out.iterdir()} == {
        "result.json", "points.csv", "comparison.png", "comparison.svg", cli.JOURNAL
    }  # fmt: skip
    assert "ASSUMED" in printed.out.splitlines()[0] or "ASSUMED" in printed.out.splitlines()[1]
    assert "of 17" in printed.err and "valve flow -8 %" in printed.err and "valve flow +8 %" in printed.err
    assert "VE" not in printed.err.splitlines()[0]
    assert printed.out.rstrip().endswith("outside it.") and "Checks: mass balance" in printed.out
    assert cli.run_line(["reopen", str(out)]) == 0
    assert capsys.readouterr().out == printed.out
    assert cli.run_line(["reopen", str(out), "--json", "--figure", str(tmp_path / "again.png")]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["headline"] in printed.out.replace("\n", " ").replace("  ", " ")
    assert (tmp_path / "again.png").read_bytes()[:4] == b"\x89PNG"


def test_json_result_is_one_document_and_progress_stays_on_standard_error(tmp_path, capsys, made_up):
    words = ["sweep", STOCK, "--rpm", "3000,4000,5000", "--out", str(tmp_path), "--json"]
    assert cli.run_line(words) == 0
    printed = capsys.readouterr()
    data = json.loads(printed.out)
    assert data["ok"] is True and data["result"]["rpm"] == [3000, 4000, 5000]
    assert "3 of 3" in printed.err
    assert cli.run_line([*words, "--quiet"]) == 0
    assert capsys.readouterr().err == ""


def test_some_failed_speeds_give_3_and_all_failed_give_1(tmp_path, capsys, made_up):
    made_up.broken = (4000.0,)
    words = ["sweep", STOCK, "--rpm", "3000,4000", "--out", str(tmp_path)]
    assert cli.run_line(words) == 3
    printed = capsys.readouterr()
    assert "No value at 4000 rpm: runner 2, 4000 rpm, 312 deg: temperature above the gas table" in printed.out
    made_up.broken = (3000.0, 4000.0)
    assert cli.run_line(words) == 1


def test_one_cycle_in_words_picture_and_table(tmp_path, capsys):
    motored = str(CASES / "short_pipes_motored.toml")
    figure, table = tmp_path / "cycle.svg", tmp_path / "cycle.csv"
    words = ["run", motored, "--rpm", "3000", "--probe", "intake:40mm", "--figure", str(figure), "--csv", str(table)]
    assert cli.run_line([*words, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["scalars"]["volumetric_efficiency"] == pytest.approx(0.90878, rel=5e-4)
    text = table.read_text(encoding="utf-8-sig")
    head, *lines = text.splitlines()
    assert head.startswith("crank angle [deg],cylinder 1 pressure [kPa]") and len(lines) == 720
    columns = head.split(",")
    assert "cylinder 1 intake 40 mm from the valve velocity [m/s]" in columns
    flow = [float(line.split(",")[columns.index("cylinder 1 intake flow [g/s]")]) for line in lines]
    air = sum(flow) / (6 * 3000) * 1e-3  # kg a cycle: one row a degree
    swept = 3.14159265 / 4 * 0.086**2 * 0.086
    assert air / (100e3 / (287.05 * 300.0) * swept) == pytest.approx(0.90878, rel=2e-3)
    assert "probes on the intake path" in figure.read_text(encoding="utf-8")
    assert cli.run_line(["run", motored, "--rpm", "3000"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "At 3000 rpm the cylinder fills to 90.9 %" in shown and "Checks: mass balance" in shown


def test_explicit_list_is_computed_exactly_as_given(tmp_path, capsys, made_up):
    assert cli.run_line(["sweep", STOCK, "--rpm", "5000,3000,3100", "--out", str(tmp_path), "--workers", "1"]) == 0
    assert sorted(made_up.calls) == [3000.0, 3100.0, 5000.0]


def test_wanted_speed_and_grids_are_told(tmp_path, capsys, made_up):
    words = ["compare", STOCK, RACE, "--rpm", "3000:7000:250", "--target", "6500 rpm", "--grid-check"]
    assert cli.run_line([*words, "--out", str(tmp_path), "--quiet"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "A port derived from the first option: Area alone cannot meet 6500 rpm" in shown
    assert "cells of 16, 8, 4 mm" in shown and "does not change" in shown
    assert "grid uncertainty of VE" in shown


def test_folder_that_cannot_be_written_is_refused_before_anything_is_run(tmp_path, capsys, made_up):
    occupied = tmp_path / "file"
    occupied.write_text("x")
    assert cli.run_line(["sweep", STOCK, "--rpm", "3000", "--out", str(occupied / "in")]) == 2
    assert "a part of the path is a file" in capsys.readouterr().err and made_up.calls == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_full_disk_is_one_sentence(tmp_path):
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-c", "from waveflow.cli import main; main()", "check", STOCK], stdout=full,
            stderr=subprocess.PIPE, cwd=ROOT, timeout=60,
        )  # fmt: skip
    said = done.stderr.decode()
    assert done.returncode == 1 and "the disk is full" in said and "Traceback" not in said


def test_reader_that_leaves_early_is_no_failure_to_shout_about():
    text = f"{sys.executable} -c 'from waveflow.cli import main; main()' check {STOCK} | head -1"
    done = subprocess.run(["bash", "-c", text], capture_output=True, cwd=ROOT, timeout=60)
    assert done.stdout.startswith(b"N155") and done.stderr == b""


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8"])
def test_consoles_with_few_glyphs_do_not_crash(encoding):
    done = command("check", DERIVED, PYTHONIOENCODING=encoding, COLUMNS="90")
    assert done.returncode == 0 and done.stderr == b""
    shown = done.stdout.decode(encoding)
    assert ("\N{FULL BLOCK}" in shown) == (encoding == "utf-8") and "area, mm" in shown
    if encoding != "ascii":  # there "deg" needs more room than the sign
        assert max(len(line) for line in shown.splitlines()) <= 90


@pytest.mark.parametrize("more", [{"NO_COLOR": "1"}, {"NO_COLOR": "1", "FORCE_COLOR": "1"}, {}])
def test_no_escape_sequences_off_a_terminal(more):
    if "FORCE_COLOR" in more and "NO_COLOR" not in more:
        pytest.skip("asked for")
    done = command("check", STOCK, **more)
    colours = [part[:3] for part in done.stdout.split(b"\x1b[")[1:]]
    assert not any(part.startswith(b"3") or part.startswith(b"4") for part in colours)
    if "FORCE_COLOR" not in more:
        assert b"\x1b" not in done.stdout


def test_interrupting_keeps_finished_speeds_and_the_resumed_run_equals_a_straight_one(tmp_path):
    words = ["sweep", STOCK, "--rpm", "2000:6000:250", "--out", "kept", "--workers", "2"]
    process = driver(0.25, *words, cwd=tmp_path)
    seen = b""
    while b"3 of" not in seen:
        seen = seen + process.stderr.readline()
    begun = time.monotonic()
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert time.monotonic() - begun <= 2.0
    said = err.decode()
    assert process.returncode == 130 and out == b"" and "Traceback" not in said
    assert "speeds of as cast are finished and kept" in said
    resume = said.split("Go on with: ")[1].strip()
    assert resume == f"waveflow sweep {STOCK} --rpm 2000:6000:250 --out kept --workers 2 --resume"
    kept = len((tmp_path / "kept" / cli.JOURNAL).read_text().splitlines())
    assert kept >= 3
    resumed = driver(0.0, *resume.split()[1:], "--json", cwd=tmp_path)
    straight = driver(0.0, *words[:-4], "--out", "straight", "--json", cwd=tmp_path)
    first, second = (json.loads(each.communicate(timeout=60)[0]) for each in (resumed, straight))
    assert first["result"] == second["result"] and resumed.returncode == straight.returncode == 0


def test_request_to_terminate_ends_like_an_interruption(tmp_path):
    process = driver(0.3, "compare", STOCK, RACE, "--rpm", "2000:6000:250", "--out", "kept", cwd=tmp_path)
    while b"2 of" not in process.stderr.readline():
        pass
    process.send_signal(signal.SIGTERM)
    _, err = process.communicate(timeout=10)
    assert process.returncode == 130 and b"--resume" in err


def test_without_resume_old_points_are_not_used(tmp_path, capsys, made_up):
    words = ["sweep", STOCK, "--rpm", "3000,4000", "--out", str(tmp_path)]
    assert cli.run_line(words) == 0 and len(made_up.calls) == 2
    assert cli.run_line(words) == 0 and len(made_up.calls) == 4
    assert cli.run_line([*words, "--resume"]) == 0 and len(made_up.calls) == 4


def test_a_mistake_in_the_program_is_a_sentence_with_a_way_to_see_more(tmp_path, capsys, monkeypatch):
    import waveflow.study.cycle

    def broken(*_args, **_more):
        raise ZeroDivisionError("made up")

    monkeypatch.setattr(waveflow.study.cycle, "run_point", broken)
    assert cli.run_line(["sweep", STOCK, "--rpm", "3000", "--out", str(tmp_path)]) == 1
    said = capsys.readouterr().err
    assert "A mistake in the program: ZeroDivisionError: made up" in said and "Traceback" not in said
    monkeypatch.setenv("WAVEFLOW_DEBUG", "1")
    assert cli.run_line(["sweep", STOCK, "--rpm", "3000", "--out", str(tmp_path)]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_doctor_names_parts_and_fails_on_a_wrong_answer(capsys, monkeypatch):
    from waveflow.show import selftest

    known = dict(selftest.KNOWN)
    monkeypatch.setattr(selftest, "filling", lambda rpm: known[rpm] * (1.0001 if rpm < 4000 else 1.01))
    assert cli.run_line(["doctor", "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["ok"] is False
    findings = {each["what"]: each for each in data["findings"]}
    assert findings["self-test at 1000 rpm"]["ok"] and not findings["self-test at 5000 rpm"]["ok"]
    assert {"Python", "cores", "cache folder", "solver", "libraries"} <= set(findings)
    assert cli.run_line(["doctor", "--quick"]) == 0
    assert "All is well." in capsys.readouterr().out


def test_self_test_case_is_the_shipped_motored_case():
    from waveflow.engine.case import load, load_text
    from waveflow.show.selftest import CASE

    own, shipped = load_text(CASE, "self-test"), load(CASES / "short_pipes_motored.toml")
    for table in ("engine", "compression", "ideal", "burn", "walls"):
        assert getattr(own, table) == getattr(shipped, table), table
    for side in ("intake", "exhaust"):
        for part in ("valve", "cam", "flow"):
            assert getattr(getattr(own, side), part) == getattr(getattr(shipped, side), part), (side, part)
