"""Case files spoilt at random, token by token: whatever comes in, only CaseError comes out, and at once.

`python -m pytest -m full tests/engine/test_case_mutations.py` spoils 100,000 (an hour or so of one core); a plain run 2,300.
"""

import io
import random
import re
import time
from pathlib import Path

import pytest

from waveflow.engine.case import load
from waveflow.errors import CaseError
from waveflow.show.check import print_check

CASES = Path(__file__).parents[2] / "cases"
ODD = [
    "", " ", "\n", "[", "]", "{", "}", '"', "'", '"""', "=", ",", ".", "#", "\\", "\0", "\x1b[2J", "\u202e", "é", "nan",
    "inf", "-inf", "0", "-1", "1e999", "9" * 400, "99999999999999999999", "true", "1979-05-27T07:32:00Z", '""', '"mm"',
    '"0 mm"', '"-5 mm"', '"1e308 mm"', '"1e-320 mm"', '"1e999 mm"', '"38,5 mm"', '"381 mm"', '"101 kPa"',
    '"1 kPa gauge"', '"stock"', '"sheet"', '"card"', '"table"', '"measured"', '"round"', "[[]]", "[[[[[]]]]]", "{}",
    "[{}]", "kind", "file", "base", "stations",
    "enlarge", "[enlarge]", 'where = ["1 mm", "2 mm"]', "[intake]", "[[intake]]", "[intake.flow]", "file = '/dev/zero'",
    "base = '..'", "file = '.'", "lift = '1 2 3 mm'", "ratio = 10", "a" * 300, "intake.port.stations",
]  # fmt: skip
TOKEN = re.compile(r'"[^"\n]*"|[A-Za-z_][\w-]*|[0-9.]+|\s+|.', re.S)


def spoilt(text: str, dice: random.Random) -> str:
    tokens = TOKEN.findall(text)
    for _ in range(dice.choice((1, 1, 1, 2, 3, 8))):
        at = dice.randrange(len(tokens))
        deed = dice.randrange(6)
        if deed == 0:
            tokens[at] = dice.choice(ODD)
        elif deed == 1:
            tokens.insert(at, dice.choice(ODD))
        elif deed == 2:
            del tokens[at : at + dice.choice((1, 1, 2, 5))]
        elif deed == 3:
            tokens[at] = dice.choice(tokens)
        elif deed == 4:
            other = dice.randrange(len(tokens))
            tokens[at], tokens[other] = tokens[other], tokens[at]
        else:
            tokens.insert(at, tokens[at])
        if not tokens:
            tokens = [""]
    return "".join(tokens)


LONGEST = 1.0  # [s] of CPU for one file, read and shown


def spoil_and_check(folder: Path, name: str, number: int, first: int = 0, shown: int = 1) -> tuple[int, int, float]:
    """(accepted, refused, longest [s]) of `number` spoilt copies of a case in `folder`; of those accepted one in `shown`
    is also printed as `check` prints it."""
    text = (folder / name).read_text(encoding="utf-8")
    target = folder / f"spoilt{Path(name).suffix}"
    accepted = refused = 0
    longest = 0.0
    print_check(load(folder / name), io.StringIO())  # libraries come in before anything is timed
    for seed in range(first, first + number):
        dice = random.Random(f"{name} {seed}")
        target.write_text(spoilt(text, dice), encoding="utf-8", errors="surrogateescape")
        begun = time.process_time()
        try:
            case = load(target)
            accepted += 1
            if accepted % shown == 0:
                out = io.StringIO()
                print_check(case, out)
                assert "\x1b" not in out.getvalue() and "nan" not in out.getvalue().split(), seed
        except CaseError as error:
            refused += 1
            assert error.problems and all(str(problem).isprintable() for problem in error.problems), str(error)
        except Exception as error:
            raise AssertionError(f"{name}, seed {seed}: {type(error).__name__}: {error}") from error
        longest = max(longest, time.process_time() - begun)
    return accepted, refused, longest


@pytest.fixture()
def folder(tmp_path):
    for path in CASES.iterdir():
        if path.suffix in (".toml", ".csv"):
            (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path


@pytest.mark.timeout(120)
@pytest.mark.parametrize(
    ("name", "number"),
    [("n155.toml", 500), ("n155_race.toml", 500), ("starter.toml", 500), ("runner_area_fired.toml", 300),
     ("n155_plus15.toml", 200)],
)  # fmt: skip
def test_only_case_errors_come_out(folder, name, number):
    accepted, refused, longest = spoil_and_check(folder, name, number, shown=12)
    assert refused > number / 3
    assert accepted > 0
    assert longest < LONGEST


@pytest.mark.full
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("piece", range(4))
@pytest.mark.parametrize(
    ("name", "number"),
    [("starter.toml", 12000), ("runner_area_fired.toml", 8000), ("starter_bigger_port.toml", 3500), ("n155_plus15.toml", 500),
     ("n155_race.toml", 500), ("t192_street_low_cylinder.toml", 500)],
)  # fmt: skip
def test_a_hundred_thousand_spoilt_cases(folder, name, number, piece):
    accepted, refused, longest = spoil_and_check(folder, name, number, first=10000 + piece * number)
    print(f"{name}: {accepted} accepted, {refused} refused, longest {longest:.2f} s")
    assert accepted + refused == number and accepted > 0 and longest < LONGEST


@pytest.mark.parametrize("name", ["n155_flow_race.csv", "n155_intake_port_race.csv"])
def test_spoilt_tables(folder, name):
    text = (folder / name).read_text(encoding="utf-8")
    for seed in range(150):
        (folder / name).write_text(spoilt(text, random.Random(seed)), encoding="utf-8")
        try:
            load(folder / "n155_race.toml")
        except CaseError as error:
            assert error.problems
