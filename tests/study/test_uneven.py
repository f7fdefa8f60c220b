"""Cylinder by cylinder: the low one is pointed at, an even head is left alone, and the shares are right."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_up import Engine, make_case

from waveflow.engine.case import load
from waveflow.show.by_cylinder import bench_sentences, comparison_rows, cylinder_names, own_rows, sweep_rows
from waveflow.study.compare import compare
from waveflow.study.sweep import sweep
from waveflow.study.uneven import against_others, changes, comparison_sentences, sweep_sentence

CASES = Path(__file__).parents[2] / "cases"
SPEEDS = [3000.0, 4500.0, 6000.0, 7500.0]


def result(case_name: str, factors=(1.0, 1.0, 1.0, 1.0), at_top=(1.0, 1.0, 1.0, 1.0)):
    """A made-up sweep under the text of a shipped case; each cylinder's columns times its factor, the last speed's as well."""
    made = sweep(make_case(), SPEEDS, run_point=Engine())
    scale = np.ones((4, 1)) * np.array(factors)
    scale[-1] *= at_top
    columns = {name: made.column(name)[:, None] * scale for name in ("volumetric_efficiency", "torque")}
    text = load(CASES / f"{case_name}.toml").text
    return replace(made, per_cylinder={**made.per_cylinder, **columns}, facts=replace(made.facts, text=text, option=case_name))


def test_against_the_mean_of_the_others():
    """One of four at 0.96: 4 % below the others, which stand 4/3.96/3 - ... above the mean that holds it."""
    apart = against_others(result("t192_street", (1.0, 1.0, 1.0, 0.96)))
    assert apart[:, 3] == pytest.approx(-0.04, abs=1e-12)
    assert apart[:, 0] == pytest.approx(1.0 / (2.96 / 3.0) - 1.0, abs=1e-12)


def test_the_low_cylinder_is_named_with_what_is_its_own():
    text = sweep_sentence(result("t192_street_low_cylinder", (1.0, 1.0, 1.0, 0.99), (1.0, 1.0, 1.0, 0.98)))
    assert text == ("Cylinder 4 fills least: 3.0 % below the mean of the others at 7500 rpm, 1.5 % below it on average; it has "
                    "its own intake port and intake flow.")  # fmt: skip
    other = sweep_sentence(result("t192_street", (1.0, 0.98, 1.0, 1.0)))
    assert other.startswith("Cylinder 2 fills least: 2.0 %") and "where it stands in the pipes" in other
    assert sweep_sentence(result("t192_street", (1.0, 0.997, 1.0, 1.0))) == (
        "The cylinders fill alike: none falls more than 0.3 % below the others.")  # fmt: skip


def test_a_comparison_tells_each_cylinder_from_the_same_one():
    """Cylinder 1 low in both, cylinder 4 low in the second only: the second's loss is cylinder 4's."""
    first = result("t192_street", (0.95, 1.0, 1.0, 1.0))
    second = result("t192_street_low_cylinder", (0.95, 1.0, 1.0, 0.99), (1.0, 1.0, 1.0, 0.98))
    found = changes(second, first)
    assert [each.worst for each in found] == pytest.approx([0.0, 0.0, 0.0, 0.99 * 0.98 - 1.0], abs=1e-12)
    assert (found[3].worst_rpm, found[3].cylinder) == (7500.0, 4)
    (text,) = comparison_sentences(compare([first, second]))
    assert text.startswith("t192 street low cylinder: cylinder 4 (own intake port and intake flow) is the low one: it loses")
    assert "loses 3.0 % of filling at 7500 rpm" in text
    assert text.endswith("the other 3 cylinders 0.00 % at most.")
    heads, rows = comparison_rows(compare([first, second]))
    assert [head for head, _ in heads] == ["", "cylinder 1", "cylinder 2", "cylinder 3", "cylinder 4"]
    assert rows[0][1:4] == ["0.0 %*"] * 3 and rows[0][4].startswith("\N{MINUS SIGN}1.") and rows[1][0].endswith("mean torque")


def test_without_cylinders_of_their_own_nothing_is_said():
    first, second = result("t192_street"), result("t192_street", (1.0, 1.0, 1.0, 0.95))
    assert comparison_sentences(compare([first, second])) == [] and comparison_rows(compare([first, second]))[1] == []


def test_an_even_head_is_left_alone():
    case = load(CASES / "n155_street_as_inspected.toml")
    (text,) = bench_sentences(case)
    assert text.startswith("The intake readings of cylinders 1, 2, 3 and 4 lie within 0.7 % of the sheet")
    (even,) = comparison_sentences(compare([result("n155_street"), result("n155_street_as_inspected", (1.0, 0.998, 1.0, 1.0))]))
    assert "no cylinder loses more than 0.2 % of filling" in even


def test_the_inspected_head_points_at_its_low_cylinder_and_its_bowl():
    """Readings 203.5 of 212 CFM at 10 mm; bowl 28.6 in place of 29.2 mm round, two branches, 28.3 mm2 of each blocked."""
    case = load(CASES / "t192_street_low_cylinder.toml")
    low, even = bench_sentences(case)
    area = (np.pi / 4 * 28.6**2 - 28.3) / (np.pi / 4 * 29.2**2 - 28.3) - 1.0
    lost = 100 * (1 - 203.5 / 212)
    assert low == (f"Cylinder 4 reads low on the intake side: \N{MINUS SIGN}{lost:.1f} % at 10.0 mm against the sheet; the "
                   f"station that differs most stands at 80 mm, \N{MINUS SIGN}{-100 * area:.1f} % of area.")  # fmt: skip
    assert "cylinders 1, 2 and 3 lie within 0.7 %" in even
    rows = own_rows(case)
    assert [row[0] for row in rows] == ["1", "1", "1", "2", "3", "3", "3", "4", "4", "4", "4"]
    assert rows[3][1] == "nothing differs" and rows[7][1] == "intake area at 80 mm, mm²"


def test_columns_name_the_cylinders_that_differ():
    made = result("t192_street_low_cylinder")
    own = {4: ("intake port",), 2: ()}
    heads, rows = sweep_rows(made, SPEEDS, own)
    assert [head for head, _ in heads[:5]] == ["rpm", "VE 1", "VE 2", "VE 3", "VE 4*"] and len(rows) == 4
    assert cylinder_names(4, own)[3] == "cylinder 4*"


def test_the_figure_draws_the_cylinder_that_differs_and_says_so():
    from waveflow.show.from_results import comparison_view

    view = comparison_view(compare([result("t192_street"), result("t192_street_low_cylinder", (1.0, 1.0, 1.0, 0.98))]))
    assert "cylinder 4" in view.remarks[0] and view.remarks[1].endswith("cylinder 4, whose port is its own.")
    first, second = (option.tract.find("intake", "port") for option in view.options)
    assert second.content < first.content
    assert comparison_view(compare([result("t192_street"), result("t192_street")])).remarks == ()
