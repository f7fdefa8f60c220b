"""Written bad cases: every sentence, word for word."""

import subprocess
import sys
from pathlib import Path

import pytest
from case_texts import GOOD

from waveflow.engine.case import Case, load_text
from waveflow.engine.part import key_of
from waveflow.engine.wording import models_in, nearest_key
from waveflow.errors import CaseError

ROWS = Path(__file__).with_name("bad_cases.txt").read_text(encoding="utf-8").split("\n")


def plain(text):
    return text.replace("\\\\", "\0").replace("\\n", "\n").replace("\0", "\\")


def blocks():
    block = []
    for row in [*(row for row in ROWS[3:] if row), "- "]:
        if row.startswith("- ") and block:
            yield pytest.param(plain(block[0][2:]), plain(block[1][2:]), block[2:], id=block[1][2:60])
            block = []
        block.append(row)


BAD = list(blocks())


def problems(text, **more):
    with pytest.raises(CaseError) as caught:
        load_text(text, "engine.toml", **more)
    return caught.value.problems


def test_the_unspoilt_case_is_good():
    assert load_text(GOOD).warnings == ()
    assert len(BAD) > 180


@pytest.mark.parametrize(("old", "new", "expected"), BAD)
def test_every_sentence(old, new, expected):
    assert GOOD.count(old) >= 1
    assert [str(each) for each in problems(GOOD.replace(old, new, 1))] == expected


def test_all_mistakes_come_out_together():
    """Values, keys, and checks between values, from one reading."""
    text = GOOD
    for old, new in (
        ('bore = "80 mm"', "bore = 80"),
        ("rocker_ratio", "rocker_raito"),
        ('{ at = "30 mm"', '{ at = "3 mm", widht = "3 mm"'),
        ('head_diameter = "32 mm"', 'head_diameter = "320 mm"'),
        ('silencer_at = "500 mm"', 'silencer_at = "1000 mm"'),
        ('close = "382 deg"', 'close = "82 deg"'),
        ('to = "7500 rpm"', 'to = "750 rpm"'),
        ('blocked_area = "38 mm2"', 'blocked_area = "3.8 cm"'),
        ('leak = "1 CFM"\n', ""),
    ):
        text = text.replace(old, new, 1)
    found = problems(text)
    assert [each.key for each in found] == [
        "engine.bore", "intake.cam.rocker_raito", "intake.flow.leak", "intake.port.stations[1].widht",
        "intake.port.stations[3].blocked_area", "exhaust.valve.head_diameter", "exhaust.cam.close",
        "exhaust.header.silencer_at", "range.to",
    ]  # fmt: skip


def test_fuel_into_a_plenum_that_is_not_there():
    start, end = GOOD.index("[intake.plenum]"), GOOD.index("[exhaust.valve]")
    text = GOOD[:start] + GOOD[end:].replace('kind = "gasoline"', 'kind = "gasoline"\nadded = "plenum"')
    assert [each.message for each in problems(text)] == ["there is no plenum"]


def test_a_wrong_value_is_not_blamed_on_what_depends_on_it():
    assert [each.key for each in problems(GOOD.replace('lobe_lift = "6.4 mm"', 'lobe_lift = "x"'))] == [
        "intake.cam.lobe_lift"
    ]
    assert [each.key for each in problems(GOOD.replace("[intake.flow]", "[intake.flwo]"))] == ["intake.flwo"]


def test_mistakes_hold_what_a_page_needs():
    (found,) = problems(GOOD.replace('bore = "80 mm"', 'bore = "800 mm"'))
    assert (found.file, found.line, found.key, found.value) == ("engine.toml", 7, "engine.bore", '"800 mm"')
    assert (found.message, found.allowed, found.hint) == ("above 300 mm", "20 to 300 mm", 'did you mean "80 mm"?')


def all_tables(model=Case):
    yield model
    for field in model.model_fields.values():
        for each in models_in(field.annotation):
            yield from all_tables(each)


def one_letter_slips(word):
    letters = "aeinrst_"
    for at in range(len(word)):
        yield word[:at] + word[at + 1 :]
        yield word[:at] + word[at] + word[at:]
        yield word[:at] + letters[at % len(letters)] + word[at + 1 :]
        if at:
            yield word[: at - 1] + word[at] + word[at - 1] + word[at + 1 :]


@pytest.mark.parametrize("slips", [1, 2])
def test_misspelt_keys_find_the_right_name(slips):
    """One slip in any key of four letters or more, two slips in any of six or more: nearest name right in 95 %."""
    right = tried = 0
    seen = set()
    for model in all_tables():
        keys = {key_of(name, field) for name, field in model.model_fields.items()}
        for key in sorted(keys):
            if len(key) < (4 if slips == 1 else 6) or (model, key) in seen:
                continue
            seen.add((model, key))
            words = set(one_letter_slips(key))
            if slips == 2:
                words = {again for word in sorted(words)[:: 7] for again in list(one_letter_slips(word))[:: 5]}
            for word in words - keys:
                tried += 1
                right += nearest_key(word, model, Case)[0] == key
    assert tried > 1000
    assert right / tried >= 0.95


def test_refusing_a_bad_case_brings_in_no_number_library(tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text(GOOD.replace('bore = "80 mm"', "bore = 80"))
    code = (
        "import sys\nfrom waveflow.engine.case import load\nfrom waveflow.errors import CaseError\n"
        f"try:\n    load({str(bad)!r})\nexcept CaseError as error:\n    print(len(error.problems))\n"
        "print([name for name in ('numpy', 'scipy', 'numba', 'cantera', 'matplotlib') if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split("\n")[:2] == ["1", "[]"]
