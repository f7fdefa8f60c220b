"""Probes as the user names them: a side and a distance from the valve."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from waveflow.show.endings import Refused
from waveflow.show.words import plain


def places_asked(case: Any, texts: Iterable[str]) -> dict[str, tuple[int, str, float]]:
    """Probes for ``study.cycle.run_point`` from words such as "intake:120mm" or "3:exhaust:50 mm".

    Distances are from the valve along the gas path, of cylinder 1 unless a cylinder is named. The result's distances
    [m] are as ``engine.build.build`` wants them: from the outer end (intake) or from the valve (exhaust). Raises
    ``Refused`` (a usage error) with what is wrong.
    """
    from waveflow.engine.percylinder import of_cylinder
    from waveflow.engine.tract import exhaust_duct, intake_duct
    from waveflow.units import UnitError, parse

    found = {}
    for text in texts:
        words = [word.strip() for word in text.split(":")]
        number, side, distance = (words if len(words) == 3 else ["1", *words]) if len(words) in (2, 3) else ("", "", "")
        if side not in ("intake", "exhaust") or not number.isdigit():
            raise Refused(f'--probe "{plain(text, 60)}": write intake:120mm, or 3:exhaust:50mm for cylinder 3')
        cylinder = int(number)
        if not 1 <= cylinder <= case.engine.cylinders:
            raise Refused(f'--probe "{plain(text, 60)}": the engine has cylinders 1 to {case.engine.cylinders}')
        try:
            place = parse(distance, "length")
        except UnitError as error:
            raise Refused(f'--probe "{plain(text, 60)}": {error.message} {error.hint}'.rstrip()) from None
        own = of_cylinder(case, cylinder - 1)
        duct = intake_duct(own) if side == "intake" else exhaust_duct(own, cylinder - 1)
        if duct is None or not 0 <= place <= duct.length:
            reach = "there is no pipe" if duct is None else f"the path reaches 0 to {1e3 * duct.length:.0f} mm"
            raise Refused(f'--probe "{plain(text, 60)}": {reach} from the {side} valve')
        name = f"cylinder {cylinder} {side} {1e3 * place:.6g} mm from the valve"
        found[name] = (cylinder, side, duct.length - place if side == "intake" else place)
    return found
