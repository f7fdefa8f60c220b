"""A flow sheet in the plain form: one CSV with points, commas and units in its headings, and the lines a case needs.

What is written reads back, by `sheetreading` and as the `file` of a case, to the same numbers bit for bit.
"""

from __future__ import annotations

import json

from waveflow.engine.sheetfile import FlowColumn, FlowFile
from waveflow.engine.sheetreading import yes

_REMARKS = ("depression", "bench", "leak subtracted", "plate expected", "plate read", "plate corrected", "valves open",
            "air temperature", "barometer", "intake valve", "exhaust valve", "valve", "repeat")  # fmt: skip


def groups(sheet: FlowFile) -> list[tuple[str, list[FlowColumn]]]:
    """(ending of the file's name, columns) of every file the sheet becomes: one a label, and one a side where lifts were
    counted in valve diameters. A sheet without labels becomes one, with an empty ending.
    """
    found: dict[str, list[FlowColumn]] = {}
    for column in sheet.columns:
        words = [column.label, column.side if sheet.lift_unit == "D" else ""]
        found.setdefault("_".join(word for word in words if word).replace(" ", "_"), []).append(column)
    return list(found.items())


def normal_csv(sheet: FlowFile, columns: list[FlowColumn]) -> str:
    """One plain CSV of some `columns` of a sheet that is ready; ValueError for one that is not."""
    if not sheet.ready:
        raise ValueError("a sheet with open questions or bad rows cannot be written")
    lifts, unit = sheet.lift_texts(columns[0].side)
    facts = dict(sheet.facts)
    if len({column.depression for column in columns}) == 1:
        facts["depression"] = columns[0].depression
    told = [f"# {key}: {_one_line(facts[key])}\n" for key in _REMARKS if facts.get(key)]
    leaks = {f"{column.side} leak": leak for column in columns if (leak := leak_of(sheet, column))}
    told += [f"# {key}: {_one_line(leak)}\n" for key, leak in leaks.items()]
    mixed = len({column.depression for column in columns}) > 1
    heads = [f"{column.side} ({column.unit}{f' @ {column.depression}' if mixed else ''})" for column in columns]
    rows = [[f"lift ({unit})", *heads]]
    rows += [[text, *(column.texts[i] or "" for column in columns)] for i, text in enumerate(lifts)
             if any(column.texts[i] is not None for column in columns)]  # fmt: skip
    return "".join([*told, *(",".join(row) + "\n" for row in rows)])


def _one_line(text: str) -> str:
    return " ".join("".join(char if char.isprintable() else " " for char in text).split())[:120]


def leak_of(sheet: FlowFile, column: FlowColumn) -> str:
    """The leak as text: what was read at zero lift, else what the sheet states; "" where neither is known."""
    if column.shut and float(column.shut) > 0.0:
        return f"{column.shut} {column.unit}"
    return sheet.facts.get(f"{column.side} leak", "") or sheet.facts.get("leak", "")


def case_lines(sheet: FlowFile, column: FlowColumn, file: str) -> str:
    """TOML lines of a case that uses one column, as kept in `file`: what is known as keys, what is not as a comment."""
    facts = sheet.facts
    subtracted, corrected = yes(facts, "leak subtracted"), yes(facts, "plate corrected")
    leak = leak_of(sheet, column)
    lines = [f"[{column.side}.flow]", 'kind = "sheet"', f"file = {json.dumps(file)}", f'depression = "{column.depression}"',
             'reference_area = "curtain"']  # fmt: skip
    if sheet.foreign or facts.get("bench"):
        lines.append(f'{"" if sheet.foreign else "# "}other_bench = "{_quoted(facts.get("bench") or "another bench")}"')
    lines += _stated("leak_subtracted", subtracted, "is the leak already taken off the readings?", leak)
    if leak and not subtracted:
        lines.append(f'leak = "{leak}"')
    plate = [(key.replace(" ", "_"), facts.get(key, "")) for key in ("plate expected", "plate read")]
    lines += _stated("plate_corrected", corrected, "are the readings already corrected by the plate check?", plate[0][1])
    lines += [f'{key} = "{text}"' for key, text in plate if text]
    for key, about in (("air temperature", "room of the bench"), ("barometer", "room of the bench")):
        name = key.replace(" ", "_")
        lines.append(f'{name} = "{facts[key]}"' if facts.get(key) else f"# {name} not stated: {about}, a guess is taken")
    opened = facts.get("valves open", "")
    lines.append(f"valves_open = {opened}" if opened.isdigit() else "# valves_open = 1   # if not all were open on the bench")
    return "\n".join(lines) + "\n"


def _stated(key: str, value: bool | None, asked: str, known: str) -> list[str]:
    if value is None:
        return [f"# {key} = false   # {asked} The case asks for it."]
    return [f"{key} = {str(value).lower()}"]


def _quoted(text: str) -> str:
    return _one_line(text).replace("\\", "/").replace('"', "'")
