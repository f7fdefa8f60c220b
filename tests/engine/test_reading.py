"""Case files from disk: caps, bases, values set from outside."""

import os
from pathlib import Path

import pytest
from case_texts import GOOD
from hypothesis import given
from hypothesis import strategies as st

from waveflow.engine.case import load, load_text
from waveflow.engine.reading import dotted, key_of_text, read, written
from waveflow.errors import CaseError


@pytest.fixture(autouse=True)
def in_its_own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "twin.toml").write_text(GOOD)
    return tmp_path


def sentences(path, **more):
    with pytest.raises(CaseError) as caught:
        load(path, **more)
    return str(caught.value).split("\n")


def write(name, text):
    with open(name, "w", encoding="utf-8") as stream:
        stream.write(text)
    return name


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"\xff\xfe" + "name = 'x'".encode("utf-16-le"), "bad.toml: UTF-16 text; save it as UTF-8"),
        (b"name = 'x'\nnote = 'caf\xe9'\n", "bad.toml:2: not UTF-8 text: byte 0xe9; save it as UTF-8"),
        (b"name = 'x'\n\0", "bad.toml:2: holds a zero byte: not a text file"),
        (b"#" * 1_000_001, "bad.toml: larger than 1 MB: not a case file"),
        (b"a = " + b"[" * 500_000, "bad.toml:1: nested deeper than 64 levels"),
        (b"\n" + b"a." * 400_000 + b"a = 1", "bad.toml:2: nested deeper than 64 levels"),
        (b"a = " + b"9" * 5000, "bad.toml: not valid TOML: a number of too many digits"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_case(data, sentence):
    with open("bad.toml", "wb") as stream:
        stream.write(data)
    assert sentences("bad.toml") == [sentence]


@pytest.mark.parametrize(
    ("text", "line", "cure"),
    [
        ("x = 38.5 mm", 1, '; a value with a unit stands in quotes: x = "38.5 mm"'),
        ("\nx.y-z = 28 inH2O # so", 2, '; a value with a unit stands in quotes: x.y-z = "28 inH2O"'),
        ("x = round", 1, '; a text stands in quotes: x = "round"'),
        ("x = rounded rectangle # c", 1, '; a text stands in quotes: x = "rounded rectangle"'),
        ("a = 1\na = 2", 2, "; the key or table stands in the file twice"),
        ("a = 1\na = 2\nb = 3\n", 2, "; the key or table stands in the file twice"),
        ("[a]\n[a]\n", 2, "; the key or table stands in the file twice"),
        ("a = [1, 2\n", 2, ""),
        ("= 3\n", 1, ""),
    ],
)
def test_no_toml_is_told_with_its_line_and_the_likely_cure(text, line, cure):
    """The parser's own words between line and cure are the library's."""
    write("bad.toml", text)
    (sentence,) = sentences("bad.toml")
    assert sentence.startswith(f"bad.toml:{line}: not valid TOML") and sentence.endswith(cure)


def test_no_file_and_no_plain_file():
    assert sentences("twni.toml") == ['twni.toml: no such file; did you mean "twin.toml"?']
    assert sentences(".") == [".: not a file"]
    assert sentences("a\0b.toml") == ["a\\x00b.toml: not the path of a file"]
    assert sentences("x" * 3000 + ".toml")[0].endswith(("not the path of a file", "cannot be read: File name too long"))
    os.symlink("ring.toml", "ring.toml")
    assert sentences("ring.toml")[0].startswith("ring.toml: ")
    os.mkfifo("pipe.toml")
    assert sentences("pipe.toml") == ["pipe.toml: not a file"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root reads every file")
def test_a_file_that_may_not_be_read():
    os.chmod("twin.toml", 0)
    assert sentences("twin.toml") == ["twin.toml: cannot be read: Permission denied"]


def test_a_byte_order_mark_and_carriage_returns_are_taken():
    with open("dos.toml", "wb") as stream:
        stream.write(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load("dos.toml").model_dump() == load("twin.toml").model_dump()


def test_a_difference_needs_only_what_differs():
    write("big.toml", 'base = "twin.toml"\noption = "big"\n[engine]\nbore = "82 mm"\n[run]\ncell = "5 mm"\n')
    write("big_hot.toml", 'base = "big.toml"\n[ambient]\ntemperature = "35 degC"\n')
    case = load("big_hot.toml")
    assert case.name == "twin" and case.option == "big"
    assert case.engine.bore == 0.082 and case.engine.stroke == 0.076
    assert case.ambient.temperature == 308.15 and case.ambient.pressure == 101000.0
    assert case.run.cell == 0.005
    assert (case.base, load("twin.toml").base) == ("big.toml", None)


def test_lists_and_whole_tables_replace_the_base():
    write("other.toml", 'base = "twin.toml"\n[intake.cam]\nkind = "sine_squared"\nopen = "340 deg"\nclose = "600 deg"\n'
          'max_lift = "9 mm"\n[intake.port]\nstations = [{ at = "0 mm", width = "33 mm" }, '
          '{ at = "70 mm", width = "30 mm" }]\n')  # fmt: skip
    case = load("other.toml")
    assert case.intake.cam.kind == "sine_squared" and len(case.intake.port.stations) == 2
    write("half.toml", 'base = "twin.toml"\n[intake.cam]\nlobe_lift = "6 mm"\n')
    assert sentences("half.toml") == [
        'half.toml:2: intake.cam.kind: missing (allowed "card", "table" or "sine_squared"); did you mean kind = "card"?'
    ]


def test_a_stated_ratio_takes_the_place_of_measured_volumes_and_back():
    write("ratio.toml", 'base = "twin.toml"\n[compression]\nratio = 11\n')
    assert load("ratio.toml").compression.ratio == 11
    write("measured.toml", 'base = "ratio.toml"\n[compression]\nchamber = "30 cc"\ngasket_bore = "81 mm"\n'
          'gasket_thickness = "1 mm"\n')  # fmt: skip
    assert load("measured.toml").compression.chamber == pytest.approx(30e-6)


def test_a_mistake_is_told_with_the_file_it_stands_in():
    os.mkdir("sub")
    write("sub/wide.toml", 'base = "../twin.toml"\n\n[engine]\nbore = "820 mm"\nstroke = "760 mm"\n')
    write("last.toml", 'base = "sub/wide.toml"\n[engine]\nstroke = "7.6 mm"\n')
    assert sentences("last.toml") == [
        'last.toml:3: engine.stroke = "7.6 mm": below 15 mm (allowed 15 to 300 mm: engine cylinder); '
        'did you mean "76 mm"?',
        'sub/wide.toml:4: engine.bore = "820 mm": above 300 mm (allowed 20 to 300 mm: engine cylinder); '
        'did you mean "82 mm"?',
    ]


def test_bases_that_cannot_be():
    write("a.toml", 'base = "b.toml"\n')
    write("b.toml", '\nbase = "a.toml"\n')
    assert sentences("a.toml") == ["b.toml:2: base: bases run in a ring: a.toml -> b.toml -> a.toml"]
    write("own.toml", 'base = "own.toml"\n')
    assert sentences("own.toml") == ["own.toml:1: base: bases run in a ring: own.toml -> own.toml"]
    write("gone.toml", 'base = "twinn.toml"\n')
    assert sentences("gone.toml") == ['gone.toml:1: base: no such file; did you mean "twin.toml"?']
    write("number.toml", "base = 3\n")
    assert sentences("number.toml") == [
        'number.toml:1: base = 3: not the name of a file in quotes; write base = "other_case.toml"'
    ]
    for far in ("/etc/hostname", "C:\\\\x.toml"):
        write("far.toml", f'base = "{far}"\n')
        assert sentences("far.toml")[0].endswith("an absolute path; name the base from this file's own folder")
    for number in range(20):
        write(f"c{number}.toml", f'base = "c{number + 1}.toml"\n')
    assert sentences("c0.toml") == ["c15.toml:1: base: more than 16 bases one upon another"]


def test_a_broken_base_is_told_where_it_is_broken():
    write("broken.toml", "name = \n")
    write("a.toml", 'base = "broken.toml"\n')
    assert sentences("a.toml")[0].startswith("broken.toml:1: not valid TOML at column 8: ")


def test_values_set_from_outside_pass_the_same_checks():
    case = load("twin.toml", {"intake.runner.length": "300 mm", "engine.cylinders": "2", "ideal.frictionless": "true"})
    assert case.intake.runner.length == 0.3 and case.ideal.frictionless is True
    case = load("twin.toml", {"intake.port.stations[1].width": "31 mm", "exhaust.header.groups": "[[1, 2]]"})
    assert case.intake.port.stations[1].width == 0.031
    assert sentences("twin.toml", overrides={"intake.runner.length": "300", "intake.runner.lenght": "3 mm"}) == [
        "--set: intake.runner.length = 300: missing unit (allowed 5 to 2500 mm: along the centreline); "
        'did you mean "300 mm"?',
        '--set: intake.runner.lenght = "3 mm": unknown key; did you mean "length"?',
    ]


def test_values_that_cannot_be_set():
    assert sentences(
        "twin.toml",
        overrides={
            "intake.port.stations[9].width": "31 mm", "base": "x.toml", "a..b": "1", "[3]": "1", "name.x": "1", "": "1",
            "intake.port.stations.x": "1",
        },
    ) == [
        '--set: intake.port.stations[9].width = "31 mm": there is no intake.port.stations[9] to set it in',
        '--set: base = "x.toml": the base cannot be set from outside',
        "--set: a..b = 1: not a key that can be set",
        "--set: [3] = 1: not a key that can be set",
        "--set: name.x = 1: there is no name to set it in",
        "--set:  = 1: not a key that can be set",
        "--set: intake.port.stations.x = 1: there is no intake.port.stations.x to set it in",
    ]  # fmt: skip


def test_setting_another_kind_starts_the_table_anew():
    case = load("twin.toml", {
        "intake.cam.kind": "sine_squared", "intake.cam.open": "340 deg", "intake.cam.close": "600 deg",
        "intake.cam.max_lift": "9 mm",
    })  # fmt: skip
    assert case.intake.cam.open == 340.0


def test_a_set_value_wins_over_every_file():
    write("hot.toml", 'base = "twin.toml"\n[ambient]\ntemperature = "35 degC"\n')
    assert load("hot.toml", {"ambient.temperature": "300 K"}).ambient.temperature == 300.0


def test_a_text_names_no_file():
    with pytest.raises(CaseError) as caught:
        load_text('base = "x.toml"\n' + GOOD.replace('kind = "sheet"', 'kind = "sheet"\nfile = "x.csv"'), "kept")
    assert "kept:1: base: a case given as text cannot name a base" in str(caught.value)
    assert 'intake.flow.file = "x.csv": a case given as text cannot name a file' in str(caught.value)


def test_reading_keeps_the_place_of_every_value():
    write("big.toml", 'base = "twin.toml"\n[engine]\nbore = "82 mm"\n')
    reading = read(Path("big.toml"), "big.toml")
    assert reading.place(("engine", "bore")) == ("big.toml", 3)
    assert reading.place(("engine", "stroke")) == ("twin.toml", 8)
    assert reading.place(("engine", "nothing")) == ("big.toml", 2)
    assert reading.place(("nothing",)) == ("big.toml", None)
    assert reading.value(("intake", "flow", "lift", 2)) == "6 mm"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("a", ("a",)), ("a.b-c_d.e1", ("a", "b-c_d", "e1")), ("a[3].b", ("a", 3, "b")), ("a[1][2]", ("a", 1, 2)),
        ("", None), (".a", None), ("a.", None), ("a[x]", None), ("[1]", None), ("a b", None), ("a[", None), ("a[1]b", None),
        (".".join("a" * 65), None),
    ],
)  # fmt: skip
def test_dotted_keys(text, key):
    assert key_of_text(text) == key
    if key is not None:
        assert dotted(key) == text


def test_values_as_they_would_stand_in_a_file():
    assert [written(x) for x in ("a", 1, 1.5, True, [1, "b"], [1, 2, 3, 4, 5], {"a": 1}, 10**30)] == [
        '"a"', "1", "1.5", "true", '[1, "b"]', "[1, 2, 3, 4, ...]", None, "a very large number",
    ]  # fmt: skip
    assert len(written("x" * 500)) == 60


KEYS = [
    "engine.bore", "intake.port.stations[1].width", "intake.flow.kind", "intake.flow.lift[2]", "intake.cam", "enlarge.where",
    "range", "exhaust.header.primary_length[0]", "compression.ratio", "ambient.pressure", "intake.flow.file", "burn.kind",
]  # fmt: skip


@given(st.dictionaries(st.sampled_from(KEYS) | st.text(max_size=12), st.text(max_size=20) | st.sampled_from(
    ["0 mm", "{}", "[]", "[[1]]", "nan", '"stock"', "card", "1e999 mm", "38,5 mm", "{ kind = 'card' }", "a.csv", "9" * 30]
), max_size=3))  # fmt: skip
def test_whatever_is_set_from_outside_is_taken_or_refused_with_sentences(overrides):
    try:
        load_text(GOOD, "twin.toml", overrides)
    except CaseError as error:
        assert error.problems and all(str(each).isprintable() for each in error.problems)
