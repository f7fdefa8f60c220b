"""What can go wrong, as data: every mistake in a case file together, and one sentence for a run that fails.

A `CaseProblem` says what is wrong, where (file, line, dotted key), the value as written, what is allowed and why, and
the edit that cures it. `CaseError` carries all of them at once, so that a file is corrected in one go.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

_LONGEST_VALUE = 60


def clean_text(text: str, longest: int = 200) -> str:
    """`text` made safe to print: unprintable characters as escapes, cut to `longest` characters.

    Control characters, direction marks and lone surrogates from a file must never reach a terminal, a page or a file
    name as they are.
    """
    shown = []
    for character in text[: longest + 1]:
        if character.isprintable():
            shown.append(character)
        else:
            shown.append(character.encode("unicode_escape").decode("ascii"))
    cleaned = "".join(shown)
    return cleaned if len(cleaned) <= longest else cleaned[: longest - 3] + "..."


@dataclass(frozen=True)
class _Finding:
    """One remark on one key of one file; `line` counts from 1, None where there is none to name."""

    file: str
    key: str
    value: str | None
    message: str
    allowed: str = ""
    hint: str = ""
    line: int | None = None
    why: str = ""

    def __str__(self) -> str:
        place = clean_text(self.file) + (f":{self.line}" if self.line else "")
        what = clean_text(self.key)
        if self.value is not None:
            what += f" = {clean_text(self.value, _LONGEST_VALUE)}"
        text = ": ".join(piece for piece in (place, what, clean_text(self.message, 600)) if piece)
        if self.allowed:
            text += f" (allowed {self.allowed}" + (f": {self.why})" if self.why else ")")
        elif self.why:
            text += f" ({self.why})"
        return text + (f"; {clean_text(self.hint, 400)}" if self.hint else "")


class CaseProblem(_Finding):
    """One mistake: the case cannot be used until it is cured."""


class CaseWarning(_Finding):
    """One value that is legal but looks wrong; the case is used as it stands."""


class CaseError(Exception):
    """All mistakes of a case, one line each when printed."""

    def __init__(self, problems: list[CaseProblem]):
        super().__init__(problems)
        self.problems = list(problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)

    def as_json(self) -> dict:
        """The same content as plain data for `json.dumps`: {"problems": [{"file": ..., "key": ..., "text": ...}]}."""
        return {"problems": [asdict(problem) | {"text": str(problem)} for problem in self.problems]}


class RunError(Exception):
    """A run that cannot go on: which part, where in it, at what speed [rpm] and crank angle [deg], and why."""

    def __init__(
        self,
        message: str,
        part: str = "",
        place: str = "",
        rpm: float | None = None,
        crank_angle: float | None = None,
    ):
        super().__init__(message)
        self.message = message
        self.part = part
        self.place = place
        self.rpm = rpm
        self.crank_angle = crank_angle

    def __str__(self) -> str:
        where = [piece for piece in (self.part, self.place) if piece]
        if self.rpm is not None:
            where.append(f"{self.rpm:g} rpm")
        if self.crank_angle is not None:
            where.append(f"{self.crank_angle:.0f} deg")
        return f"{', '.join(where)}: {self.message}" if where else self.message

    def as_json(self) -> dict:
        """The same content as plain data for `json.dumps`."""
        return {
            "message": self.message,
            "part": self.part,
            "place": self.place,
            "rpm": self.rpm,
            "crank_angle": self.crank_angle,
            "text": str(self),
        }
