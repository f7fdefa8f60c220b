"""Comparisons: shifts, means, cross-overs and worst losses of known curves, and sentences that read right."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up import Engine, make_case

from waveflow.study.change import change_of, find_crossovers
from waveflow.study.compare import LEAVES_OUT, compare
from waveflow.study.records import PointRecord
from waveflow.study.results import CaseFacts, assemble
from waveflow.study.sweep import sweep

SPEEDS = np.arange(2000.0, 8001.0, 25.0)


def curve(torque, rpm=SPEEDS, option="as_cast", failed=(), **facts):
    """A sweep result from a function of speed that gives torque [N m]."""
    records = {}
    for n in rpm:
        if n in failed:
            records[float(n)] = PointRecord(rpm=float(n), failed="broken on purpose")
            continue
        value = float(torque(n))
        records[float(n)] = PointRecord(
            rpm=float(n),
            scalars={
                "volumetric_efficiency": 0.9 + value / 1000.0,
                "torque": value,
                "power": value * n * np.pi / 30.0,
                "runner_sound_speed": 345.0,
            },
            converged=True,
        )
    facts.setdefault("intake_length", 0.6)
    return assemble(CaseFacts(name="made-up", option=option, **facts), list(rpm), records)


def hump(centre, top=120.0, width=4000.0):
    return lambda n: top * np.exp(-(((n - centre) / width) ** 2))


def times(factor, centre=4870.0):
    """The hump at `centre` times a factor of speed."""
    return lambda n: hump(centre)(n) * factor(n)


def test_the_shift_of_a_hump_is_found_to_a_rpm_and_the_envelope_moves_with_it():
    result = compare([curve(hump(4870.0)), curve(hump(5310.0), option="race")])
    versus = result.versus[0]
    assert versus.option.peaks["torque"].rpm == pytest.approx(5310.0, abs=1.0)
    assert versus.peak_shift["torque"] == 440.0
    assert versus.envelope_shift["torque"] == pytest.approx(440.0, rel=0.1)
    assert "torque peak moves from 4870 to 5310 rpm (+440; envelope +" in result.headline
    assert compare([curve(hump(5310.0)), curve(hump(4870.0))]).versus[0].peak_shift["torque"] == -440.0


def lobed(tilt):
    """A broad hump with two lobes near its top, the higher one decided by `tilt`."""
    wiggle = lambda n: 1.0 + 0.012 * np.cos(2.0 * np.pi * (n - 4600.0) / 800.0) + tilt * (n - 5000.0)  # noqa: E731
    return times(wiggle, centre=5000.0)


def test_near_equal_tops_let_the_envelope_speak():
    """Two tops within 1 %: which is higher flips with a hair, so the sentence leads with the envelope, which hardly moves."""
    shifts = []
    for tilt in (-1e-6, 1e-6):
        result = compare([curve(hump(4000.0)), curve(lobed(tilt), option="race")])
        assert "torque envelope's peak moves by +" in result.headline
        assert re.search(r"as race has near-equal tops at 46\d0 and 53\d0 rpm\)", result.headline)
        shifts.append((result.versus[0].peak_shift["torque"], result.versus[0].envelope_shift["torque"]))
    (low, first), (high, second) = shifts
    assert high - low > 600.0 and abs(second - first) < 30.0


def test_mean_over_the_band_is_uniform_in_speed():
    # Change: 0 up to 5000 rpm, then rising in a straight line to +10 % at 8000 rpm.
    rising = curve(times(lambda n: 1.0 + 0.1 * max(0.0, n - 5000.0) / 3000.0), option="race")
    result = compare([curve(hump(4870.0)), rising], band=(5000.0, 8000.0))
    assert result.versus[0].change.mean == pytest.approx(0.05, rel=1e-6)
    assert "gains 5.0 % on average from 5000 to 8000 rpm" in result.headline
    half = compare([curve(hump(4870.0)), rising], band=(3500.0, 6500.0))
    assert half.versus[0].change.mean == pytest.approx(0.0125, rel=1e-6)
    # The same mean whichever points it was computed at.
    coarse = curve(times(lambda n: 1.0 + 0.1 * max(0.0, n - 5000.0) / 3000.0), rpm=SPEEDS[::8], option="race")
    assert compare([curve(hump(4870.0)), coarse], band=(5000.0, 8000.0)).versus[0].change.mean == pytest.approx(
        0.05, abs=3e-4
    )


def test_loss_below_gain_above_with_the_cross_over():
    tilt = curve(times(lambda n: 1.0 + 0.02 * (n - 5000.0) / 1000.0), option="race")
    result = compare([curve(hump(4870.0)), tilt], band=(5500.0, 7500.0))
    change = result.versus[0].change
    assert [(round(c.rpm), c.to) for c in change.crossovers] == [(5000, "gain")]
    assert change.main_crossover == pytest.approx(5000.0, abs=1.0)
    assert change.largest_gain.rpm == 8000 and change.largest_gain.change == pytest.approx(0.06)
    assert change.largest_loss.rpm == 2000 and change.largest_loss.change == pytest.approx(-0.06)
    assert change.largest_loss_below == change.largest_loss
    assert result.headline.endswith("gains 3.0 % on average from 5500 to 7500 rpm, costs at most 6.0 % at 2000 rpm.")
    free = compare([curve(hump(4870.0)), tilt]).versus[0].change
    assert not free.asked and free.below == pytest.approx(5000.0, abs=1.0)


def test_the_larger_loss_inside_the_band_is_not_hidden():
    def factor(n):
        return 0.99 if n < 4000 else 0.95 if 5000 < n < 5200 else 1.06

    result = compare([curve(hump(4870.0)), curve(times(factor), option="race")], band=(4500.0, 8000.0))
    assert re.search(r"costs at most 1\.0 % below the band, at \d+ rpm, and 5\.0 % at 5\d+ rpm\.$", result.headline)


def test_a_change_around_nothing_makes_no_cross_overs():
    speeds = np.arange(1000.0, 2000.0, 25.0)
    assert find_crossovers(speeds, 0.0015 * np.sin(speeds)) == ()
    both = find_crossovers(speeds, 0.01 * np.cos((speeds - 1000.0) / 1000.0 * 2.0 * np.pi))
    assert [(round(c.rpm), c.to) for c in both] == [(1250, "loss"), (1750, "gain")]


def test_a_cross_over_in_a_gap_is_put_in_its_middle():
    found = find_crossovers(np.array([1000.0, 1500.0, 2000.0]), np.array([-0.05, np.nan, 0.05]))
    assert [(c.rpm, c.to) for c in found] == [(1500.0, "gain")]


@settings(max_examples=40, deadline=None)
@given(
    factors=st.lists(st.floats(0.9, 1.1), min_size=4, max_size=4),
    centre=st.floats(2500, 7500),
    moved=st.floats(2500, 7500),
)
def test_swapping_the_options_swaps_gain_and_loss(factors, centre, moved):
    def factor(n):
        return np.interp(n, [2000, 4000, 6000, 8000], factors)

    a = curve(hump(centre), rpm=SPEEDS[::10])
    b = curve(lambda n: hump(moved)(n) * factor(n), rpm=SPEEDS[::10], option="race")
    there, back = change_of(a, b, "torque"), change_of(b, a, "torque")
    np.testing.assert_allclose((1.0 + there.change) * (1.0 + back.change), 1.0, rtol=1e-12)
    assert (there.largest_gain is None) == (back.largest_loss is None)
    words = compare([a, b]).headline + compare([b, a]).headline
    assert words.count("gains") + words.count("loses") + words.count("costs") + words.count("unchanged") >= 1


VARIANTS = {
    "gain": (lambda n: 1.05, r"gains 5\.0 % on average from 4500 to 7500 rpm, loses nowhere\.$"),
    "loss": (
        lambda n: 0.95,
        r"loses 5\.0 % on average from 4500 to 7500 rpm, at most 5\.0 % at \d+ rpm, gains nowhere\.$",
    ),
    "nothing": (lambda n: 1.0, r"torque is the same within 0\.05 % at every speed from 4500 to 7500 rpm\.$"),
    "swing": (
        lambda n: 1.0 + 0.02 * np.sin((n - 4500.0) / 3000.0 * 2.0 * np.pi),
        r"torque is unchanged on average from 4500 to 7500 rpm, gains at most 2\.0 % at \d+ rpm, costs at most 2\.0 % ",
    ),
    "mixed loss": (
        lambda n: 1.02 if n > 7300 else 0.97,
        r"loses 2\.\d % on average from 4500 to 7500 rpm, at most 3\.0 % at \d+ rpm, gains at most 2\.0 % at \d+ rpm",
    ),
    "small": (lambda n: 1.0007, r"gains 0\.07 % on average from 4500 to 7500 rpm, loses nowhere\.$"),
}


@pytest.mark.parametrize("name", VARIANTS)
def test_the_headline_reads_right(name):
    factor, wants = VARIANTS[name]
    headline = compare([curve(hump(4870.0)), curve(times(factor), option="big_port")], band=(4500, 7500)).headline
    assert headline.startswith("Big port against as cast: torque peak ")
    assert re.search(wants, headline), headline
    assert "  " not in headline and " ," not in headline and headline.endswith(".")
    assert "." not in re.sub(r"\d\.\d", "", headline[:-1])  # one sentence


def test_an_unmoved_peak_stays():
    headline = compare([curve(hump(4870.0)), curve(times(lambda n: 1.03), option="race")]).headline
    assert "torque peak stays at 4870 rpm (envelope unchanged), gains 3.0 % on average" in headline


def test_peaks_at_the_ends_of_the_range_are_not_called_shifts():
    rising, hill = curve(lambda n: n / 100.0, option="race"), curve(hump(4870.0))
    up = compare([hill, rising])
    assert "torque peak moves from 4870 rpm to 8000 rpm or above, the end of the range," in up.headline
    assert up.versus[0].peak_shift["torque"] is None
    assert any("the real peak may lie beyond" in note for note in up.notes)
    falling = curve(lambda n: 100.0 - n / 1000.0, option="small")
    down = compare([rising, falling]).headline
    assert "torque peak moves from 8000 rpm or above to 2000 rpm or below, the end" in down
    assert "torque peak stays at 8000 rpm or above, the end of the range" in compare([rising, rising]).headline


def test_failed_speeds_are_left_out_and_said():
    a = curve(hump(4870.0), failed=(5000.0, 5025.0))
    b = curve(times(lambda n: 1.04), option="race", failed=(5025.0,))
    result = compare([a, b], band=(4500, 7500))
    assert result.headline.endswith("; 2 speeds failed and are left out.")
    change = result.versus[0].change
    assert change.mean == pytest.approx(0.04, rel=1e-9)
    assert change.band_left_out == ((4975.0, 5050.0),)
    assert any("leaves out 4975 to 5050 rpm" in note for note in result.notes)
    assert sum("broken on purpose" in note for note in result.notes) == 3
    one = compare([curve(hump(4870.0), failed=(3000.0,)), b.__class__.from_dict(b.as_dict())], band=(5100, 7500))
    assert "speeds failed" in one.headline
    single = compare([curve(hump(4870.0), failed=(3000.0,)), curve(hump(5000.0), option="race")])
    assert single.headline.endswith("; 1 speed failed and is left out.")


def test_nothing_computed_is_said_without_numbers():
    none = curve(hump(4870.0), failed=SPEEDS, option="race")
    headline = compare([curve(hump(4870.0)), none]).headline
    assert "cannot be compared, as no speed was computed for one of them" in headline and "nan" not in headline
    assert "no speed was computed for either" in compare([none, none]).headline


def test_an_assumed_option_is_marked_everywhere():
    assumed = curve(times(lambda n: 1.04), option="race", assumed_why=("intake.flow: no sheet of its own",))
    result = compare([curve(hump(4870.0)), assumed])
    assert result.headline.startswith("Race (ASSUMED) against as cast:")
    assert result.rows()[1]["assumed"] is True and result.rows()[0]["assumed"] is False
    assert result.notes[0] == "ASSUMED for race: intake.flow: no sheet of its own."
    assert "ASSUMED" in repr(result)
    assert compare([assumed, curve(hump(5000.0))]).headline.startswith("As cast against race (ASSUMED):")


def test_the_band_of_valve_flow_gives_a_spread():
    low, high = curve(hump(5210.0, 118.0), option="race"), curve(hump(5400.0, 124.0), option="race")
    assumed = curve(hump(5310.0, 121.0), option="race", assumed_why=("x",)).with_flow_band(low, high)
    versus = compare([curve(hump(4870.0)), assumed]).versus[0]
    assert versus.shift_spread == (340.0, 530.0)
    assert versus.mean_spread[0] < versus.change.mean < versus.mean_spread[1]
    assert "(+440; +340 to +530 with valve flow lowered and raised; envelope" in versus.sentence


def test_a_band_of_valve_flow_that_failed_gives_no_spread():
    none = curve(hump(5210.0), option="race", failed=SPEEDS)
    assumed = curve(hump(5310.0, 121.0), option="race", assumed_why=("x",)).with_flow_band(none, none)
    versus = compare([curve(hump(4870.0)), assumed]).versus[0]
    assert versus.shift_spread is None and versus.mean_spread is None and "valve flow" not in versus.sentence


def test_a_band_beyond_the_redline_is_said():
    results = [curve(hump(4870.0), redline=7000.0), curve(hump(5000.0), option="race", redline=7000.0)]
    assert "The band ends 500 rpm beyond the redline of 7000 rpm." in compare(results, band=(4500, 7500)).notes
    assert not any("redline" in note for note in compare(results, band=(4500, 7000)).notes)


def test_a_band_beyond_what_was_computed_is_cut_and_said():
    result = compare([curve(hump(4870.0)), curve(times(lambda n: 1.04), option="race")], band=(7000, 9000))
    assert "gains 4.0 % on average from 7000 to 8000 rpm" in result.headline
    assert any("leaves out 8000 to 9000 rpm" in note for note in result.notes)
    outside = compare([curve(hump(4870.0)), curve(hump(5000.0), option="race")], band=(9000, 9500))
    assert "no average can be given from 9000 to 9500 rpm" in outside.headline and "nan" not in outside.headline


def test_the_cases_own_band_is_the_default():
    result = compare([curve(hump(4870.0), band=(3000.0, 5000.0)), curve(hump(5000.0), option="race")])
    assert result.band == (3000.0, 5000.0) and "from 3000 to 5000 rpm" in result.headline


@pytest.mark.parametrize("band", [(5000, 4000), (0, 4000), (float("nan"), 4000)])
def test_a_band_that_makes_no_sense_is_refused(band):
    with pytest.raises(ValueError, match="does not go upwards"):
        compare([curve(hump(4870.0)), curve(hump(5000.0))], band=band)


def test_one_option_is_no_comparison():
    with pytest.raises(ValueError, match="two results or more"):
        compare([curve(hump(4870.0))])


def test_options_of_the_same_name_are_told_apart():
    result = compare([curve(hump(4870.0)), curve(hump(5000.0))])
    assert len({option.label for option in result.options}) == 2


def test_of_three_options_the_one_that_gains_most_leads():
    base, race, street = (
        curve(hump(4870.0)),
        curve(times(lambda n: 1.06), option="race"),
        curve(times(lambda n: 1.02), option="street"),
    )
    result = compare([base, street, race])
    assert result.headline.startswith("Of 3 options race gains most against as cast: torque peak")
    assert len(result.sentences) == 2 and result.sentences[0].startswith("Street against as cast")
    worse = compare([race, base, street])
    assert worse.headline.startswith("None of the other 2 options gains on average against race, and street loses")


def test_a_motored_engine_is_compared_by_volumetric_efficiency():
    result = compare([curve(lambda n: -20.0 + n / 1e4), curve(lambda n: -19.0 + n / 1e4, option="race")])
    assert result.versus[0].decided_by == "volumetric_efficiency"
    assert "of volumetric efficiency on average" in result.headline and "nan" not in result.headline


def test_an_unrefined_peak_is_said_to_be_so():
    result = compare([curve(hump(4870.0), rpm=SPEEDS[::20]), curve(hump(5300.0), rpm=SPEEDS[::20], option="race")])
    assert any("lie 500 rpm apart, so its speed is known to about 130 rpm" in note for note in result.notes)
    assert "moves from about" in result.headline


def test_a_jump_to_another_lobe_is_named():
    rows = np.arange(1500.0, 9001.0, 25.0)
    a = sweep(make_case(), rows, run_point=Engine(ripple=0.03, centre=4500.0, width=4000.0))
    b = sweep(make_case("race"), rows, run_point=Engine(ripple=0.03, centre=4900.0, width=4000.0))
    result = compare([a, b])
    versus = result.versus[0]
    assert abs(versus.peak_shift["torque"] - versus.envelope_shift["torque"]) > 250
    assert any("lies on another lobe" in note for note in result.notes)


def test_rows_have_the_same_keys_and_name_their_units():
    results = [
        sweep(make_case(), "2000:7000", run_point=Engine()),
        sweep(make_case("race"), "2000:7000", run_point=Engine(centre=5500)),
    ]
    rows = compare(results, band=(4000, 6500)).rows()
    assert rows[0].keys() == rows[1].keys()
    assert rows[0]["torque peak shift [rpm]"] is None and rows[1]["torque peak shift [rpm]"] is not None
    assert rows[1]["peak power [kW]"] == pytest.approx(np.nanmax(results[1].power) / 1e3, rel=1e-4)
    assert rows[1]["mean residual gas in band [%]"] == pytest.approx(5.0)
    assert rows[1]["tops at [rpm]"]


def test_what_is_left_out_is_one_sentence():
    assert LEAVES_OUT.count(".") == 1 and compare([curve(hump(4e3)), curve(hump(5e3))]).leaves_out == LEAVES_OUT
    for word in ("fuel film", "mixture motion", "burning", "flow separation", "detonation", "lost bottom end"):
        assert word in LEAVES_OUT.replace("\n", " ")


def test_the_table_says_no_more_than_was_computed():
    """Points 1500 rpm apart give no envelope; a band that reaches beyond them gives a mean over what they cover."""
    from waveflow.show.tables import summary_rows

    speeds = range(1500, 6001, 1500)
    results = [sweep(make_case(), speeds, run_point=Engine()) for _ in range(2)]
    made = compare(results, band=(2500.0, 6500.0))
    assert all(option.envelopes["torque"].sparse for option in made.options)
    rows = {row[0]: row[1:] for row in summary_rows(made)}
    assert "envelope of torque at" not in rows
    assert rows["mean torque, 2500 to 6500"][1].endswith(" from 2500 to 6000")
    inside = {row[0]: row[1:] for row in summary_rows(compare(results, band=(2500.0, 5500.0)))}
    assert "from" not in inside["mean torque, 2500 to 5500"][1]
