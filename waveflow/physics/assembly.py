"""From pipes, ends, joints and volumes described one by one to the tables the kernels take.

`Assembly` is where numbers become a `Net` and a `State`: it lays the cells of all pipes end to end with ghost cells
between them, gives every end its face, and checks that each pipe end is used exactly once. It knows nothing of engines in
trade terms; `engine.build` does.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waveflow.physics import layout as lay
from waveflow.physics.gas import Gas, gas_constant, internal_energy
from waveflow.physics.layout import Net, State, table
from waveflow.physics.pairs import pair_table
from waveflow.physics.volumes import cylinder_volume, local_angle
from waveflow.physics.walls import roughness_term

_VECTOR = 8  # cells of the widest vector registers there are


class Assembly:
    """Collects elements; `finish` returns (Net, State)."""

    def __init__(self, gas: Gas) -> None:
        self.gas = gas
        self._pipes: list[dict] = []
        self._ends: list[dict] = []
        self._joints: list[tuple[list[tuple[int, str]], list[tuple[int, str]], float]] = []
        self._volumes: list[dict] = []
        self._cylinders: list[dict] = []
        self._orifices: list[dict] = []
        self._curves: list[NDArray] = []
        self._probes: list[tuple[int, float]] = []
        self.burn = np.array([0.0, 1.0])

    # volumes ---------------------------------------------------------------------------------------------------------

    def _volume(self, kind: int, size: float, pressure: float, temp: float, yf: float, yb: float, **columns) -> int:
        self._volumes.append(
            dict(kind=kind, size=size, pressure=pressure, temp=temp, yf=yf, yb=yb, columns=columns | {"capacity": size})
        )
        return len(self._volumes) - 1

    def reservoir(self, pressure: float, temp: float, yf: float = 0.0, yb: float = 0.0) -> int:
        """An atmosphere that never changes [Pa, K]; returns its volume row."""
        return self._volume(lay.RESERVOIR, 1.0, pressure, temp, yf, yb)

    def plenum(
        self, size: float, pressure: float, temp: float, yf: float = 0.0, yb: float = 0.0,
        wall_area: float = 0.0, wall_temp: float = 300.0, wall_h: float = 0.0,
    ) -> int:  # fmt: skip
        """A rigid volume [m3] with its first state [Pa, K]; returns its volume row."""
        return self._volume(
            lay.PLENUM, size, pressure, temp, yf, yb, wall_area=wall_area, wall_temp=wall_temp, wall_h=wall_h
        )

    def cylinder(self, pressure: float, temp: float, yf: float = 0.0, yb: float = 0.0, start_angle=0.0, **columns) -> int:
        """A cylinder with the columns of `layout.cylinder_type` and its first state; returns its cylinder row."""
        record = table(lay.cylinder_type, 1)
        for key, value in columns.items():
            record[key] = value
        size = cylinder_volume(record[0], local_angle(start_angle, columns.get("phase", 0.0)))
        volume = self._volume(lay.CYLINDER, size, pressure, temp, yf, yb)
        self._cylinders.append(columns | {"volume": volume})
        return len(self._cylinders) - 1

    def volume_of(self, cylinder: int) -> int:
        """Volume row of a cylinder row."""
        return self._cylinders[cylinder]["volume"]

    # pipes -----------------------------------------------------------------------------------------------------------

    def pipe(
        self, x: ArrayLike, face_area: ArrayLike, mean_area: ArrayLike, *, pressure: ArrayLike, temp: ArrayLike,
        vel: ArrayLike = 0.0, yf: ArrayLike = 0.0, yb: ArrayLike = 0.0, hydraulic: ArrayLike | None = None,
        roughness: ArrayLike = 0.0, wall_temp: ArrayLike = 300.0, wetted: ArrayLike = 1.0, loss: ArrayLike = 0.0,
    ) -> int:  # fmt: skip
        """A pipe of cells between the faces `x` (n+1) [m], face areas (n+1) and mean areas (n) [m2]; returns its number.

        pressure [Pa], temp [K], vel [m/s] and mass fractions are the first state, one value or one a cell; hydraulic
        diameter [m] defaults to that of round cells; wetted scales the heat-transfer area; loss is the row LOSS [1/m].
        """
        x, face_area, mean_area = (np.asarray(a, float) for a in (x, face_area, mean_area))
        cells = len(x) - 1
        if cells < 1 or len(face_area) != cells + 1 or len(mean_area) != cells or np.any(np.diff(x) <= 0.0):
            raise ValueError("a pipe needs n+1 rising faces, n+1 face areas and n mean areas")
        if hydraulic is None:
            hydraulic = np.sqrt(4.0 * mean_area / np.pi)
        each = {
            name: np.broadcast_to(np.asarray(value, float), (cells,)).copy()
            for name, value in dict(
                pressure=pressure, temp=temp, vel=vel, yf=yf, yb=yb, hydraulic=hydraulic, roughness=roughness,
                wall_temp=wall_temp, wetted=wetted, loss=loss,
            ).items()
        }  # fmt: skip
        self._pipes.append(dict(x=x, face_area=face_area, mean_area=mean_area, cells=cells, used=set(), **each))
        return len(self._pipes) - 1

    def _claim(self, pipe: int, side: str) -> None:
        if side not in ("near", "far") or side in self._pipes[pipe]["used"]:
            raise ValueError(f"pipe {pipe}: end {side!r} is unknown or already connected")
        self._pipes[pipe]["used"].add(side)

    def end(
        self, pipe: int, side: str, volume: int, *, inward: float = 1.0, outward: float = 1.0, curve_in: int = -1,
        curve_out: int = -1, cylinder: int = -1, role: int = 0, recovery: float = 0.0, fuelled: float = 0.0,
    ) -> None:  # fmt: skip
        """Connect a pipe's "near" or "far" end to a volume through an opening (columns of `layout.end_type`)."""
        self._claim(pipe, side)
        self._ends.append(
            dict(pipe=pipe, side=side, volume=volume, inward=inward, outward=outward, curve_in=curve_in,
                 curve_out=curve_out, cylinder=cylinder, role=role, recovery=recovery, fuelled=fuelled)
        )  # fmt: skip

    def closed(self, pipe: int, side: str) -> None:
        """Close a pipe end by a wall."""
        if not self._volumes:
            self.reservoir(1e5, 300.0)
        self.end(pipe, side, 0, inward=0.0, outward=0.0)

    def joint(
        self, upstream: list[tuple[int, str]], downstream: list[tuple[int, str]], contraction: float = 0.5,
        angles: dict[int, float] | None = None,
    ) -> None:  # fmt: skip
        """Join the pipe ends [(pipe, side), ...] of both sides of a merge, split or step of area.

        angles: pipe -> angle [deg, 0 to 180] between its axis and that of the joint; pipes not named lie on the axis.
        """
        for pipe, side in [*upstream, *downstream]:
            self._claim(pipe, side)
        self._joints.append((upstream, downstream, contraction, angles or {}))

    def orifice(self, a: int, b: int, area_ab: float = 0.0, area_ba: float = 0.0, **columns) -> int:
        """Connect two volumes by a nozzle of given effective areas [m2] (columns of `layout.orifice_type`); returns its row."""
        self._orifices.append(
            dict(curve_ab=-1, curve_ba=-1, cylinder=-1) | columns | dict(a=a, b=b, area_ab=area_ab, area_ba=area_ba)
        )
        return len(self._orifices) - 1

    def curve(self, values: NDArray) -> int:
        """Enter an effective-area table over 0..720 degrees (2881 points); returns its row."""
        values = np.asarray(values, float)
        if values.shape != (lay.CURVE_POINTS,):
            raise ValueError(f"an area table has {lay.CURVE_POINTS} points, not {values.shape}")
        self._curves.append(values)
        return len(self._curves) - 1

    def probe(self, pipe: int, x: float) -> int:
        """Record pressure, velocity and temperature at `x` [m] of a pipe; returns the probe's row."""
        self._probes.append((pipe, x))
        return len(self._probes) - 1

    # finish ----------------------------------------------------------------------------------------------------------

    def finish(self, *, friction: bool = False, heat: float = 0.0, cfl: float = 0.9, max_degrees: float = 1.0):
        """(Net, State). friction: wall friction on; heat: factor on the pipes' wall heat transfer (0: adiabatic)."""
        for number, pipe in enumerate(self._pipes):
            if pipe["used"] != {"near", "far"}:
                raise ValueError(f"pipe {number}: not both ends are connected")
        total = sum(pipe["cells"] + 2 for pipe in self._pipes)
        total += -(total - 2) % _VECTOR  # idle cells behind the last pipe, so that the passes come out even
        geometry = np.ones((lay.GEOMETRY, total))
        geometry[lay.VOLUME_INV] = 0.0
        geometry[lay.INV_LENGTH] = 1e-3
        geometry[lay.WEIGHT_L] = geometry[lay.WEIGHT_R] = 0.5
        geometry[lay.LOSS] = geometry[lay.WETTED] = 0.0  # ghosts exchange no heat
        pressure, temp = np.full(total, 1e5), np.full(total, 300.0)
        vel, yf, yb = np.zeros(total), np.zeros(total), np.zeros(total)
        pipes = table(lay.pipe_type, len(self._pipes))
        ghosts = table(lay.ghost_type, 2 * len(self._pipes))
        place = 0
        for number, pipe in enumerate(self._pipes):
            first, n = place + 1, pipe["cells"]
            pipes[number] = (first, n)
            at = slice(first, first + n)
            _fill_geometry(geometry[:, at], pipe)
            pressure[at], temp[at], vel[at] = pipe["pressure"], pipe["temp"], pipe["vel"]
            yf[at], yb[at] = pipe["yf"], pipe["yb"]
            for row, edge, real, step in ((0, place, first, 1), (1, first + n, first + n - 1, -1)):
                ghosts[2 * number + row] = _ghost(edge, real, step, pipe["x"] if step > 0 else -pipe["x"][::-1])
                pressure[edge], temp[edge], yf[edge], yb[edge] = pressure[real], temp[real], yf[real], yb[real]
            place += n + 2
        self._single_cells(pipes, ghosts)
        state = self._state(pressure, temp, vel, yf, yb)
        net = self._net(geometry, pipes, ghosts, friction, heat, cfl, max_degrees)
        return net, state

    def _single_cells(self, pipes, ghosts) -> None:
        """Ghosts of pipes of one cell: by a straight line through it and the nearest cell of a pipe joined to it in line."""
        for upstream, downstream, *_ in self._joints:
            if len(upstream) != 1 or len(downstream) != 1:
                continue
            (before, side), (behind, other) = upstream[0], downstream[0]
            if (side, other) != ("far", "near"):
                continue
            for pipe, neighbour, edge, far in ((before, behind, 0, 1), (behind, before, -1, 0)):
                if self._pipes[pipe]["cells"] > 1:
                    continue
                cell = int(pipes[pipe]["first"])
                near = int(pipes[neighbour]["first"]) + (0 if far else int(pipes[neighbour]["cells"]) - 1)
                own = self._pipes[pipe]["x"][1] - self._pipes[pipe]["x"][0]
                theirs = abs(np.diff(self._pipes[neighbour]["x"])[edge])
                slope = 2.0 * own / (own + theirs)
                for row, weight in ((2 * pipe + far, slope), (2 * pipe + 1 - far, -slope)):
                    if row == 2 * pipe + far or ghosts[row]["count"] == 1:
                        ghosts[row] = (ghosts[row]["ghost"], cell, near - cell, 2, 1.0 - weight, weight, 0.0, 0.0)

    def _state(self, pressure, temp, vel, yf, yb) -> State:
        rho = pressure / (gas_constant(self.gas, yf, yb) * temp)
        cells = np.zeros((lay.FIELDS, rho.size))
        cells[lay.MASS] = rho
        cells[lay.MOMENTUM] = rho * vel
        cells[lay.ENERGY] = rho * (internal_energy(self.gas, temp, yf, yb) + 0.5 * vel**2)
        cells[lay.FUEL], cells[lay.BURNED] = rho * yf, rho * yb
        volumes = np.zeros((len(self._volumes), lay.VOLUME_STATE))
        for row, v in zip(volumes, self._volumes, strict=True):
            mass = v["pressure"] * v["size"] / (gas_constant(self.gas, v["yf"], v["yb"]) * v["temp"])
            energy = mass * internal_energy(self.gas, v["temp"], v["yf"], v["yb"])
            row[:] = mass, mass * v["yf"], mass * v["yb"], energy, v["temp"], v["pressure"], v["size"]
        memory = np.zeros((len(self._cylinders), lay.MEMORY))
        for row, c in zip(memory, self._cylinders, strict=True):
            v = volumes[c["volume"]]
            row[lay.M_REF_P], row[lay.M_REF_V], row[lay.M_REF_T] = v[lay.V_PRES], v[lay.V_VOL], v[lay.V_TEMP]
        return State(cells, temp * 1e-3, volumes, memory, np.zeros((len(self._ends), lay.SLUG)))

    def _face(self, pipes, pipe: int, side: str) -> tuple[int, int, float, float]:
        first, n = int(pipes[pipe]["first"]), int(pipes[pipe]["cells"])
        area = self._pipes[pipe]["face_area"]
        return (first, first, -1.0, area[0]) if side == "near" else (first + n, first + n - 1, 1.0, area[-1])

    def _net(self, geometry, pipes, ghosts, friction, heat, cfl, max_degrees) -> Net:
        ends = table(lay.end_type, len(self._ends))
        for row, e in zip(ends, self._ends, strict=True):
            row["face"], row["cell"], row["sign"], row["area"] = self._face(pipes, e["pipe"], e["side"])
            for key, value in e.items():
                if key not in ("pipe", "side"):
                    row[key] = value
        joints = table(lay.joint_type, len(self._joints))
        members = table(lay.member_type, sum(len(up) + len(down) for up, down, *_ in self._joints))
        place = 0
        for row, (upstream, downstream, contraction, angles) in zip(joints, self._joints, strict=True):
            row["first"], row["count"], row["contraction"] = place, len(upstream) + len(downstream), contraction
            for across, connected in enumerate((upstream, downstream)):
                for pipe, side in connected:
                    turn = math.cos(0.75 * math.radians(angles.get(pipe, 0.0)))  # see joints.py
                    members[place] = (*self._face(pipes, pipe, side), across, turn)
                    place += 1
        volumes = table(lay.volume_type, len(self._volumes))
        for row, v in zip(volumes, self._volumes, strict=True):
            row["kind"] = v["kind"]
            for key, value in v["columns"].items():
                row[key] = value
        cylinders = table(lay.cylinder_type, len(self._cylinders))
        for row, c in zip(cylinders, self._cylinders, strict=True):
            for key, value in c.items():
                row[key] = value
        orifices = table(lay.orifice_type, len(self._orifices))
        for row, o in zip(orifices, self._orifices, strict=True):
            for key, value in o.items():
                row[key] = value
        curves = np.array(self._curves) if self._curves else np.zeros((1, lay.CURVE_POINTS))
        switches = np.zeros(lay.SWITCHES)
        switches[lay.SW_FRICTION] = float(friction)
        switches[lay.SW_PIPE_HEAT] = heat
        switches[lay.SW_CFL] = cfl
        switches[lay.SW_MAX_DEGREES] = max_degrees
        probe, weight = self._probe_rows(pipes)
        return Net(
            geometry, pipes, ends, joints, members, *pair_table(joints, members), ghosts, volumes, cylinders, orifices, curves,
            np.ascontiguousarray(self.burn, float), switches, probe, weight,
        )  # fmt: skip

    def _probe_rows(self, pipes) -> tuple[NDArray, NDArray]:
        rows = np.zeros((len(self._probes), 2), dtype=np.int64)
        weight = np.zeros(len(self._probes))
        for k, (pipe, x) in enumerate(self._probes):
            centres = 0.5 * (self._pipes[pipe]["x"][1:] + self._pipes[pipe]["x"][:-1])
            right = int(np.clip(np.searchsorted(centres, x), 1, max(len(centres) - 1, 1)))
            left = right - 1
            if len(centres) == 1:
                left = right = 0
            else:
                weight[k] = np.clip((x - centres[left]) / (centres[right] - centres[left]), 0.0, 1.0)
            rows[k] = int(pipes[pipe]["first"]) + np.array([left, right])
        return rows, weight


def _fill_geometry(g: NDArray, pipe: dict) -> None:
    dx = np.diff(pipe["x"])
    g[lay.AREA], g[lay.AREA_L], g[lay.AREA_R] = pipe["mean_area"], pipe["face_area"][:-1], pipe["face_area"][1:]
    g[lay.LENGTH], g[lay.INV_LENGTH] = dx, 1.0 / dx
    g[lay.VOLUME_INV] = 1.0 / (pipe["mean_area"] * dx)
    g[lay.HYDRAULIC], g[lay.ROUGHNESS] = pipe["hydraulic"], pipe["roughness"]
    g[lay.WALL_T], g[lay.WETTED], g[lay.LOSS] = pipe["wall_temp"], pipe["wetted"], pipe["loss"]
    g[lay.PER_AREA], g[lay.PER_AREA_L], g[lay.PER_AREA_R] = 1.0 / g[lay.AREA], 1.0 / g[lay.AREA_L], 1.0 / g[lay.AREA_R]
    g[lay.SIZE] = pipe["mean_area"] * dx
    g[lay.ROUGH] = roughness_term(g[lay.ROUGHNESS] / g[lay.HYDRAULIC])
    # centred slope over unequal cells, exact for a straight line, as weights of the two neighbouring differences
    padded = np.concatenate([dx[:1], dx, dx[-1:]])
    h = 0.5 * (padded[1:] + padded[:-1])
    down, up = h[:-1], h[1:]
    g[lay.WEIGHT_L] = dx * up / (down * (down + up))
    g[lay.WEIGHT_R] = dx * down / (up * (down + up))
    g[lay.STRETCH_L], g[lay.STRETCH_R] = dx / down, dx / up


def _ghost(ghost: int, cell: int, step: int, x: NDArray) -> tuple:
    """Row of the ghost table; x: faces counted from the end into the pipe."""
    centres = 0.5 * (x[1:] + x[:-1])[:4]
    n = len(centres)
    if n == 3 or n == 2:
        centres = centres[:2]
    target = x[0] - 0.5 * (x[1] - x[0])
    weights = np.zeros(4)
    for k in range(len(centres)):
        others = np.delete(centres, k)
        weights[k] = np.prod((target - others) / (centres[k] - others))
    return (ghost, cell, step, len(centres), *weights)
