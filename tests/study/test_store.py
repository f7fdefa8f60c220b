"""Result folders: every bit back, old or new but never mixed, and a sentence for every damage."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import random
import subprocess
import sys
import time
from pathlib import Path

import made_up
import numpy as np
import pytest
from made_up import Engine, make_case
from test_writing import FailingCalls

from waveflow.study import store, writing
from waveflow.study.compare import Comparison, compare
from waveflow.study.store import StoreError, checks_of, open_folder, open_result, save
from waveflow.study.sweep import sweep


def made(option="as_cast", **engine):
    return sweep(make_case(option), [2000, 3000, 4000, 5000, 6000], run_point=Engine(**engine), workers=1)


def bits(result):
    results = result.results if isinstance(result, Comparison) else (result,)
    return json.dumps([entry.as_dict() for entry in results])


def table(folder):
    text = (folder / "points.csv").read_bytes().decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_a_sweep_comes_back_bit_for_bit(tmp_path):
    result = made(broken=(3000.0,))
    assert save(result, tmp_path / "a" / "b") == tmp_path / "a" / "b"
    back = open_result(tmp_path / "a" / "b")
    assert bits(back) == bits(result) and repr(back) == repr(result) and back.failed == result.failed
    np.testing.assert_array_equal(back.torque, result.torque)


def test_a_comparison_comes_back_with_its_words(tmp_path):
    assumed = sweep(make_case("race", stock_flow=True), "2000:6000", run_point=Engine(centre=5400, level=0.97))
    low, high = made("race", level=0.95), made("race", level=0.99)
    first = sweep(make_case(), "2000:6000", run_point=Engine())
    options = [first, assumed.with_flow_band(low, high)]
    comparison = compare(options, band=(3000, 5500), target="5500 rpm", target_of="torque")
    save(comparison, tmp_path)
    back = open_result(tmp_path)
    assert bits(back) == bits(comparison)
    assert back.headline == comparison.headline and back.sentences == comparison.sentences
    assert back.notes == comparison.notes and back.rows() == comparison.rows()
    data = json.loads((tmp_path / "result.json").read_text())
    assert data["headline"] == comparison.headline and data["leaves_out"].startswith("The model leaves out")
    assert {row["option"] for row in table(tmp_path)} == {
        "as cast", "race", "race, valve flow lowered", "race, valve flow raised",
    }  # fmt: skip


def test_the_file_says_where_it_came_from(tmp_path):
    save(made(), tmp_path, extra={"command": "sweep", "grid": np.float64(0.1)})
    data = json.loads((tmp_path / "result.json").read_text())
    assert data["format"] == store.FORMAT and set(data["program"]) == {"waveflow", "sources", "python", "numpy"}
    assert data["results"][0]["case"]["text"].startswith('name = "made-up"') and data["results"][0]["case"]["digest"]
    assert open_folder(tmp_path).extra == {"command": "sweep", "grid": 0.1}
    assert data["made"].endswith("+00:00")
    assert data["checks"][0] == checks_of(made())


def test_opening_needs_no_solver(tmp_path):
    save(made(), tmp_path)
    script = (
        "import sys; from waveflow.study.store import open_result; open_result(sys.argv[1]);"
        "bad = {'numba', 'cantera', 'matplotlib'} & set(sys.modules); print(sorted(bad)); sys.exit(bool(bad))"
    )
    done = subprocess.run([sys.executable, "-c", script, str(tmp_path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_table_is_in_users_units_with_empty_gaps(tmp_path):
    result = made(broken=(3000.0,))
    save(result, tmp_path)
    raw = (tmp_path / "points.csv").read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf") and raw.count(b"\r\n") == 6 and b"nan" not in raw
    rows = table(tmp_path)
    assert [float(row["rpm [rpm]"]) for row in rows] == [2000, 3000, 4000, 5000, 6000]
    assert float(rows[0]["power [kW]"]) == pytest.approx(result.power[0] / 1e3, rel=1e-9)
    assert float(rows[0]["volumetric_efficiency [%]"]) == pytest.approx(100 * result.volumetric_efficiency[0], rel=1e-9)
    assert float(rows[2]["exhaust_temperature [deg C]"]) == pytest.approx(1100 - 273.15)
    assert "volumetric_efficiency cylinder 4 [%]" in rows[0]
    assert rows[1]["torque [N m]"] == "" and "above the gas table" in rows[1]["note"] and rows[1]["repeats"] == ""
    assert rows[0]["note"] == "" and rows[0]["repeats"] == "yes" and rows[0]["added by refinement"] == "no"


def test_options_with_other_numbers_of_cylinders_share_a_table(tmp_path):
    save(compare([made(), made("twin", cylinders=2)]), tmp_path)
    rows = table(tmp_path)
    one, other = rows[0], rows[-1]
    assert one["volumetric_efficiency cylinder 4 [%]"] and not other["volumetric_efficiency cylinder 4 [%]"]
    assert not other["volumetric_efficiency cylinder 3 [%]"] and other["volumetric_efficiency cylinder 2 [%]"]


HOSTILE = ["=1+1", "+x", "-x", "@x", "\t=1", "a,b", 'a"b', "a\nb", "a\x1b[31m", "Einlaß Ø", "\ud800", "\u202ex", "<b>"]


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_text_in_the_table(tmp_path, name):
    save(made(option=name), tmp_path)
    rows = table(tmp_path)
    assert len(rows) == 5
    for row in rows:
        assert row["option"][:1] not in tuple("=+-@") and row["option"].isprintable()
    assert open_result(tmp_path).option == name


def test_traces_come_back_and_hold_no_objects(tmp_path):
    traces = {"5000 rpm pressure": np.linspace(1e5, 2e5, 721), "angle": np.arange(721)}
    save(made(), tmp_path, traces=traces)
    back = open_folder(tmp_path).traces
    assert back.keys() == traces.keys()
    for name in traces:
        np.testing.assert_array_equal(back[name], traces[name])
    with pytest.raises(ValueError, match="must be numbers"):
        save(made(), tmp_path, traces={"x": np.array([object()])})
    save(made(), tmp_path)
    assert not (tmp_path / "traces.npz").exists() and open_folder(tmp_path).traces == {}


def test_saving_again_replaces_the_whole(tmp_path):
    save(compare([made(), made("race", level=0.97)]), tmp_path)
    (tmp_path / "figure.svg").write_text("someone else's")
    save(made("street"), tmp_path)
    assert open_result(tmp_path).option == "street" and {row["option"] for row in table(tmp_path)} == {"street"}
    assert sorted(os.listdir(tmp_path)) == ["figure.svg", "points.csv", "result.json"]


def damaged(text, how):
    return {
        "cut": text[: len(text) // 2],
        "empty": "",
        "a number": "3",
        "a list": "[1, 2]",
        "deep": "[" * 100000,
        "not text": "\x00\x01",
        "digit changed": text.replace('"torque": [\n     1', '"torque": [\n     2', 1),
        "newer": text.replace('"format": 1', '"format": 2', 1),
        "another thing": text.replace("waveflow result", "other result", 1),
    }[how]


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ("cut", "damaged or not a result"),
        ("empty", "damaged or not a result"),
        ("a number", "damaged or not a result"),
        ("a list", "damaged or not a result"),
        ("deep", "damaged or not a result"),
        ("not text", "damaged or not a result"),
        ("digit changed", "its checksum does not fit"),
        ("newer", "written by a newer version"),
        ("another thing", "not a result"),
    ],
)
def test_damage_is_said_in_one_sentence(tmp_path, how, says):
    save(made(), tmp_path)
    file = tmp_path / "result.json"
    spoilt = damaged(file.read_text(), how)
    assert spoilt != file.read_text()
    file.write_text(spoilt)
    with pytest.raises(StoreError, match=says) as told:
        open_result(tmp_path)
    assert "\n" not in str(told.value) and "result.json" in str(told.value)


def test_every_single_bit_is_watched_over(tmp_path):
    save(made(), tmp_path)
    file = tmp_path / "result.json"
    whole = file.read_bytes()
    chance = random.Random(3)
    before = bits(open_result(tmp_path))
    for _ in range(60):
        place, bit = chance.randrange(len(whole)), 1 << chance.randrange(8)
        file.write_bytes(whole[:place] + bytes([whole[place] ^ bit]) + whole[place + 1 :])
        try:
            after = bits(open_result(tmp_path))
        except StoreError:
            continue
        assert after == before  # only spacing was hit


def test_missing_or_changed_files_are_said(tmp_path):
    with pytest.raises(StoreError, match="no result is stored here"):
        open_result(tmp_path)
    with pytest.raises(StoreError, match="no result is stored here"):
        open_result(tmp_path / "nowhere")
    result = made()
    save(result, tmp_path, traces={"a": np.arange(3.0)})
    (tmp_path / "points.csv").write_text("sorted by hand")
    assert any("points.csv is missing or was changed" in text for text in open_result(tmp_path).warnings)
    (tmp_path / "traces.npz").write_bytes(b"PK")
    with pytest.raises(StoreError, match="traces.npz: it was changed or damaged"):
        open_result(tmp_path)
    save(compare([result, made("race", level=0.97)]), tmp_path)
    (tmp_path / "points.csv").unlink()
    assert any("points.csv is missing" in text for text in open_result(tmp_path).notes)


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EACCES, errno.EIO, errno.EMFILE])
def test_each_failing_call_of_a_save_leaves_old_or_new(tmp_path, monkeypatch, number):
    old, new = made("old"), made("new", level=0.9)
    seen = set()
    for fail_at in range(1, 80):
        folder = tmp_path / str(fail_at)
        save(old, folder, traces={"a": np.arange(3.0)})
        calls = FailingCalls(fail_at, number)
        monkeypatch.setattr(writing, "os", calls)
        monkeypatch.setattr(store, "os", calls)
        try:
            save(new, folder, traces={"a": np.arange(4.0)})
            failed = False
        except StoreError as error:
            failed = True
            assert "\n" not in str(error) and "Errno" not in str(error)
        finally:
            monkeypatch.setattr(writing, "os", os)
            monkeypatch.setattr(store, "os", os)
        stored = open_folder(folder)
        seen.add((failed, stored.result.option))
        assert stored.warnings == () and stored.result.option in (("old", "new") if failed else ("new",))
        assert {row["option"] for row in table(folder)} == {stored.result.option}
        assert len(stored.traces["a"]) == (3 if stored.result.option == "old" else 4)
        if calls.calls < fail_at:
            assert not failed and fail_at > 12
            break
    else:
        pytest.fail("the save never came through clean")
    assert {(True, "old"), (False, "new")} <= seen


SAVING = """
import sys; sys.path.insert(0, sys.argv[1])
from made_up import Engine, make_case
from waveflow.study.store import save
from waveflow.study.sweep import sweep
results = [sweep(make_case(name), range(2000, 6000, 100), run_point=Engine(level=level), workers=1)
           for name, level in (("a", 0.9), ("b", 0.95))]
print("go", flush=True)
for turn in range(100000):
    save(results[turn % 2], sys.argv[2], traces={"a": results[turn % 2].torque})
"""


def test_killed_while_saving_the_folder_is_old_or_new(tmp_path):
    chance = random.Random(5)
    for _ in range(8):
        process = subprocess.Popen(
            [sys.executable, "-c", SAVING, str(Path(made_up.__file__).parent), str(tmp_path)],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdout.readline() == "go\n"
        deadline = time.monotonic() + 10.0
        while not (tmp_path / "result.json").exists() and time.monotonic() < deadline:
            time.sleep(0.001)
        time.sleep(0.03 * chance.random())
        process.kill()
        process.wait()
        process.stdout.close()
        stored = open_folder(tmp_path)
        assert stored.warnings == ()
        assert {row["option"] for row in table(tmp_path)} == {stored.result.option}
        np.testing.assert_array_equal(stored.traces["a"], stored.result.torque)
    save(made("last"), tmp_path)
    assert sorted(os.listdir(tmp_path)) == ["points.csv", "result.json"]  # nothing is left lying about


@pytest.mark.parametrize("cut_after", [0, 1, 2, 3])
def test_cut_off_between_any_two_renames(tmp_path, monkeypatch, cut_after):
    save(made("old"), tmp_path, traces={"a": np.arange(3.0)})
    real, done = writing.commit, []

    class Killed(BaseException):
        pass

    def cut(part, path):
        if len(done) == cut_after:
            raise Killed
        done.append(path)
        real(part, path)

    monkeypatch.setattr(store, "commit", cut)
    monkeypatch.setattr(store, "discard", lambda part: None)
    try:
        save(made("new", level=0.9), tmp_path, traces={"a": np.arange(4.0)})
    except Killed:
        pass
    monkeypatch.undo()
    stored = open_folder(tmp_path)
    assert stored.result.option == ("old" if cut_after == 0 else "new") and stored.warnings == ()
    assert {row["option"] for row in table(tmp_path)} == {stored.result.option}
    assert len(stored.traces["a"]) == (3 if cut_after == 0 else 4)


def test_two_processes_saving_to_one_folder_do_not_mix(tmp_path):
    script = SAVING.replace("range(100000)", "range(12)")
    command = [sys.executable, "-c", script, str(Path(made_up.__file__).parent), str(tmp_path)]
    both = [subprocess.Popen(command, stdout=subprocess.DEVNULL) for _ in range(2)]
    for process in both:
        assert process.wait(timeout=60) == 0
    stored = open_folder(tmp_path)
    assert stored.warnings == () and {row["option"] for row in table(tmp_path)} == {stored.result.option}
    assert not [name for name in os.listdir(tmp_path) if name.endswith(".part")]


def test_a_file_in_the_way_is_said(tmp_path):
    (tmp_path / "out").write_text("")
    with pytest.raises(StoreError, match="out: the folder cannot be made"):
        save(made(), tmp_path / "out")
    with pytest.raises(StoreError, match="a part of the path is a file"):
        open_result(tmp_path / "out")


def test_the_stamp_of_checks():
    stamp = checks_of(sweep(make_case(), [3000, 7000, 4000], run_point=Engine(broken=(4000.0,))))
    assert stamp["failed_at"] == [4000.0] and stamp["not_repeating_at"] == [7000.0] and stamp["speeds"] == 3
    assert stamp["worst_mass_balance"] is None
