"""The figures as tables for the terminal."""

from __future__ import annotations

from typing import Any

from rich.table import Table


def tables(part: str, result: dict[str, Any]) -> list[Table]:
    """Tables of one part of the suite."""
    return _MAKERS[part](result)


def _table(title: str, *columns: str) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold")
    for k, column in enumerate(columns):
        table.add_column(column, justify="left" if k == 0 else "right")
    return table


def _mark(value: float, goal: float, most: bool = False) -> str:
    """A value with a sign where it misses its goal (at least, or at most)."""
    return f"{value:.2f}" + ("" if (value <= goal if most else value >= goal) else " *")


def _kernel(result: dict[str, Any]) -> list[Table]:
    sizes = result["sizes"]
    title = "Million cell updates a second (spread: half the middle half of the rounds)"
    rates = _table(title, "", *(f"{n} cells" for n in sizes))
    for name in next(iter(sizes.values()))["rate"]:
        rates.add_row(name, *(f"{row['rate'][name] / 1e6:.2f} ±{row['spread'][name]:.0%}" for row in sizes.values()))
    ratios = _table("Ratios (medians over the rounds; * misses the goal)", "", "goal", *(f"{n} cells" for n in sizes))
    goals = {
        "kernel / best C to 256 bits": ("0.8 / 0.95 / 0.95", {50: 0.8, 200: 0.95, 1000: 0.95}),
        "kernel / best C": ("none", {}),
        "march / best C": ("none", {}),
        "kernel / roe": ("9 at 200", {200: 9.0}),
        "best C / roe": ("10 at 200", {200: 10.0}),
    }
    for name, (words, goal) in goals.items():
        if name in next(iter(sizes.values())):
            ratios.add_row(name, words, *(_mark(row[name], goal.get(n, 0.0)) for n, row in sizes.items()))
    if "best C" in next(iter(sizes.values())):
        ratios.add_row("best C is", "", *(row["best C"] for row in sizes.values()))
        worst = max(result["agreement"].values())
        ratios.caption = f"kernel and C agree to {worst:.1e} after 300 steps; C flags: {next(iter(result['flags'].values()))}"
    return [rates, ratios]


def _roofline(result: dict[str, Any]) -> list[Table]:
    if not result:
        return []
    peaks, bounds = result["peaks"], result["bound"]
    title = "Roofline: million cell updates a second that the peaks would allow"
    table = _table(title, "", "peak", *(f"{n} cells" for n in bounds))
    table.add_row("arithmetic", f"{peaks['flops'] / 1e9:.1f} GFlop/s", *(f"{b['flops'] / 1e6:.0f}" for b in bounds.values()))
    streams = " / ".join(f"{rate / 1e9:.0f}" for name, rate in peaks.items() if name != "flops")
    table.add_row("streaming", f"{streams} GB/s", *(f"{b['bytes'] / 1e6:.0f}" for b in bounds.values()))
    return [table]


def _accuracy(result: dict[str, Any]) -> list[Table]:
    if "flows" not in result:
        table = _table("Accuracy", "")
        table.add_row(result["roe"])
        return [table]
    made = []
    for name, flow in result["flows"].items():
        title = f"{name}: L1 of density, ours over PyClaw Roe + MC"
        table = _table(title, "cells", "ours", "PyClaw", "equal cells", "equal CPU time")
        goal = 0.45 if name == "Sod" else 0.2
        for n, ours in flow["error"]["ours"].items():
            equal = flow["equal time"].get(n)
            cells = _mark(flow["equal cells"][n], 1.2 if equal else 9.9, most=True)  # judged at the sizes that are asked for
            timed = "" if equal is None else _mark(equal, goal, most=True)
            table.add_row(str(n), f"{ours:.3e}", f"{flow['error']['roe'][n]:.3e}", cells, timed)
        orders = f"order {flow['order']['ours']:.2f} and {flow['order']['roe']:.2f}"
        table.caption = f"goals: 1.2 at equal cells (from 100 on), {goal} at equal CPU time; {orders}"
        made.append(table)
    return made


_START_GOALS = {"first number, cold": 30.0, "first number, cached": 2.0, "waveflow --help": 0.3, "bad case refused": 0.5}


def _start(result: dict[str, Any]) -> list[Table]:
    table = _table("Start: seconds of a whole process", "", "goal (CPU)", "CPU", "wall")
    for name, times in result["times"].items():
        goal = _START_GOALS.get(name)
        cpu = f"{times['cpu']:.2f}" if goal is None else _mark(times["cpu"], goal, most=True)
        table.add_row(name, "" if goal is None else f"{goal:g}", cpu, f"{times['wall']:.2f}")
    return [table]


def _sweep(result: dict[str, Any]) -> list[Table]:
    goals = {"n155": 6.0, "starter": 1.5}
    unit = next(iter(result["engines"].values()))["W"]
    title = "A torque curve: 20 speeds, 1500 to 7500 rpm, quick grid, one thread"
    of_work = f"W = {unit:.3f} s" if unit else "W"
    table = _table(title, "", "CPU [s]", of_work, "goal", "cycles", "cell updates", "million a second", "not settled")
    for name, one in result["engines"].items():
        scaled = "" if one["of 20 speeds"] else f" (from {len(one['speeds'])} speeds)"
        table.add_row(
            name + scaled, f"{one['cpu for 20']:.2f}", _mark(one["W for 20"], goals[name], most=True) if unit else "-",
            f"{goals[name]:g}", str(one["cycles"]), f"{one['updates']:.2e}",
            f"{one['updates a second'] / 1e6:.1f}", str(one["unconverged"]),
        )  # fmt: skip
    return [table]


def _matrix(result: dict[str, Any]) -> list[Table]:
    title = f"VE of every level with both cams ({result['cpu']:.0f} s CPU, worst balance {result['worst balance']:.0e})"
    table = _table(title, "rpm", *result["ve"])
    for k, speed in enumerate(result["speeds"]):
        table.add_row(f"{speed:.0f}", *(f"{values[k]:.3f}" for values in result["ve"].values()))
    if result["unconverged"]:
        table.caption = "not settled within the allowed cycles: " + "; ".join(result["unconverged"])
    return [table]


def _frontier(result: dict[str, Any]) -> list[Table]:
    made = []
    for name, rows in result.items():
        title = f"{name}: error of VE at 20 speeds against cost"
        table = _table(title, "", "cells", "cycles", "CPU s", "worst", "rms", "unsettled")
        for label, row in rows.items():
            errors = f"{row['worst']:.2%}", f"{row['rms']:.2%}"
            table.add_row(label, str(row["cells"]), str(row["cycles"]), f"{row['cpu']:.1f}", *errors, str(row["unsettled"]))
        made.append(table)
    return made


def _scale(result: dict[str, Any]) -> list[Table]:
    growth = _table("CPU time goes with the power of", "", *result)
    for name in ("cells", "speed", "cycles", "points"):
        growth.add_row(name, *(f"{each['growth'][f'exponent of {name}']:.2f}" for each in result.values()))
    growth.add_row("MB an engine", *(f"{each['growth']['memory of an engine'] / 1e6:.1f}" for each in result.values()))
    starts = _table("20 speeds, 1500 to 7500 rpm", "", "cycles", "CPU s", "largest change of VE")
    for engine, each in result.items():
        for word in ("rest", "neighbour"):
            row = each["starts"][word]
            change = each["starts"]["largest difference of volumetric_efficiency"] if word == "neighbour" else 0.0
            starts.add_row(f"{engine}, from {word}", str(row["cycles"]), f"{row['cpu']:.1f}", f"{change:.1e}")
    return [growth, starts]


_MAKERS = {
    "kernel": _kernel, "roofline": _roofline, "accuracy": _accuracy, "start": _start, "sweep": _sweep,
    "scale": _scale, "frontier": _frontier, "matrix": _matrix,
}  # fmt: skip
