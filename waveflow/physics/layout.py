"""The data of everything below: record types of the elements, rows of the flow arrays, `Net`.

Flow arrays are structure-of-arrays: one contiguous row per quantity over ALL cells of ALL pipes laid end to end, with
one ghost cell at either end of every pipe, so that each pass over the cells is one long vector loop. A face carries the
index of the cell on its right: face i lies between cells i-1 and i.

Elements (pipe ends, joints, volumes, cylinders, orifices) are numpy record tables: one table a kind, one kernel a kind,
no chains of ifs. Every column states its unit. No column may shadow an attribute of numpy arrays (``table.T`` is the
transpose), hence `temp`, `vol` and the like.
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np

# conserved rows, per unit volume: mass, momentum, total energy (formation included), fuel vapour, burned gas
MASS, MOMENTUM, ENERGY, FUEL, BURNED = range(5)
FIELDS = 5

# primitive rows, one value a cell
RHO, FLOW, PRES, YF, YB, VEL, TEMP, SOUND2, GRUN = range(9)  # FLOW = u A [m3/s]; SOUND2 = a^2; GRUN = R/cv
PRIMITIVES = 9

# rows of cell geometry; LOSS: loss coefficient of bends per length over two, K/(2 L) [1/m]
AREA, AREA_L, AREA_R, LENGTH, VOLUME_INV, WEIGHT_L, WEIGHT_R, HYDRAULIC, ROUGHNESS, WALL_T, WETTED, INV_LENGTH, LOSS = range(13)
# the same made ready for the passes: reciprocal areas, area times length, (roughness / diameter / 3.7)^1.11, length over the
# distances from the cell's centre to those of its neighbours
PER_AREA, PER_AREA_L, PER_AREA_R, SIZE, ROUGH, STRETCH_L, STRETCH_R = range(13, 20)
GEOMETRY = 20

# half-time states on both sides of every face: rows 0-4 left of the face, 5-9 right of it
L_RHO, L_VEL, L_PRES, L_YF, L_YB, R_RHO, R_VEL, R_PRES, R_YF, R_YB = range(10)

# sources of one cell over a step, and wall laws
SRC_MOMENTUM, SRC_ENERGY, FRICTION, HEAT, RATE = range(5)  # FRICTION f/(2D) [1/m]; HEAT h P/A [W/m3/K]; RATE (|u|+a)/dx [1/s]
SOURCES = 5

# state of a volume
V_MASS, V_FUEL, V_BURNED, V_ENERGY, V_TEMP, V_PRES, V_VOL = range(7)
VOLUME_STATE = 7

RESERVOIR, PLENUM, CYLINDER = range(3)  # kinds of volume

INTAKE_VALVE = 1  # role of a pipe end or an orifice

CURVE_POINTS = 2881  # effective-area tables: 0 to 720 degrees in steps of 0.25

pipe_type = np.dtype(
    [
        ("first", np.int64),  # index of the first real cell
        ("cells", np.int64),  # number of real cells
    ]
)

end_type = np.dtype(
    [
        ("face", np.int64),  # face that this end writes
        ("cell", np.int64),  # real cell next to it
        ("sign", np.float64),  # +1: the pipe's far end (outward is +x), -1: its near end
        ("area", np.float64),  # area of the pipe at its end [m2]
        ("volume", np.int64),  # row of the volume behind
        ("inward", np.float64),  # fixed opening for flow into the pipe, effective area / pipe area [-]
        ("outward", np.float64),  # fixed opening for flow out of the pipe [-]
        ("curve_in", np.int64),  # row of the effective-area table for flow into the pipe, -1: fixed opening
        ("curve_out", np.int64),  # row for flow out of the pipe, -1: fixed opening
        ("cylinder", np.int64),  # row of the cylinder whose clock the table follows, -1: none
        ("role", np.int64),  # 0 none, 1 intake valve, 2 exhaust valve (for the accounts)
        ("recovery", np.float64),  # share of the momentum recovered behind a throat feeding the pipe, 0 or 1
        ("fuelled", np.float64),  # 1: vapour joins the flow from the pipe into the volume
    ]
)

member_type = np.dtype(
    [
        ("face", np.int64),  # face of the joint's member
        ("cell", np.int64),  # real cell next to it
        ("sign", np.float64),  # as in end_type
        ("area", np.float64),  # area of the pipe at the joint [m2]
        ("side", np.int64),  # 0 upstream, 1 downstream side of the joint: only streams across it recover pressure
        ("turn", np.float64),  # share of a stream's momentum that turns into or out of this pipe's direction [-]
    ]
)

joint_type = np.dtype(
    [
        ("first", np.int64),  # first row in the member table
        ("count", np.int64),  # number of members
        ("contraction", np.float64),  # vena-contracta loss factor K = contraction (1 - A_small/A_large)
    ]
)

ghost_type = np.dtype(
    [
        ("ghost", np.int64),  # ghost cell to fill
        ("cell", np.int64),  # nearest real cell
        ("step", np.int64),  # +1 or -1: direction from the nearest real cell into the pipe
        ("count", np.int64),  # real cells used
        ("w0", np.float64),  # weights of polynomial extrapolation to the ghost's centre
        ("w1", np.float64),
        ("w2", np.float64),
        ("w3", np.float64),
    ]
)

volume_type = np.dtype(
    [
        ("kind", np.int64),  # RESERVOIR, PLENUM or CYLINDER
        ("capacity", np.float64),  # volume [m3] (cylinders compute their own)
        ("wall_area", np.float64),  # [m2]
        ("wall_temp", np.float64),  # [K]
        ("wall_h", np.float64),  # heat transfer coefficient [W/m2/K], 0: adiabatic
    ]
)

cylinder_type = np.dtype(
    [
        ("volume", np.int64),  # row of the volume
        ("phase", np.float64),  # local crank angle = engine angle - phase [deg]
        ("bore", np.float64),  # [m]
        ("crank", np.float64),  # crank radius [m]
        ("rod", np.float64),  # [m]
        ("offset", np.float64),  # pin offset [m]
        ("clearance", np.float64),  # volume at top dead centre [m3]
        ("swept", np.float64),  # [m3]
        ("burn_start", np.float64),  # local crank angle [deg], 0..720
        ("burn_span", np.float64),  # duration [deg]; 0: motored
        ("air_fuel", np.float64),  # kg air burned per kg fuel
        ("heat_per_air", np.float64),  # J per kg of fresh gas (constant-gamma ideal), else 0
        ("heat_law", np.int64),  # 0 adiabatic, 1 Woschni, 2 Hohenberg
        ("head_area", np.float64),  # [m2]
        ("piston_area", np.float64),  # [m2]
        ("head_temp", np.float64),  # [K]
        ("piston_temp", np.float64),  # [K]
        ("liner_temp", np.float64),  # [K]
        ("intake_close", np.float64),  # local crank angle at which the intake valve shuts [deg]
        ("exhaust_open", np.float64),  # [deg]
        ("fuel_per_air", np.float64),  # kg vapour added per kg air through the intake valve, 0: none
        ("fuel_enthalpy", np.float64),  # specific enthalpy with which that fuel arrives [J/kg]
    ]
)

orifice_type = np.dtype(
    [
        ("a", np.int64),  # row of the first volume
        ("b", np.int64),  # row of the second volume
        ("area_ab", np.float64),  # fixed effective area for flow a -> b [m2]
        ("area_ba", np.float64),  # and b -> a
        ("curve_ab", np.int64),  # row of the effective-area table [m2], -1: fixed
        ("curve_ba", np.int64),
        ("cylinder", np.int64),  # clock, -1: none
        ("role", np.int64),  # 0 none, 1 intake or 2 exhaust valve (b is the cylinder), 3 turbine (a to b)
        ("fuelled", np.float64),  # as in end_type, for flow a -> b
    ]
)

Net = namedtuple(
    "Net",
    [
        "geometry",  # (GEOMETRY, cells)
        "pipe",
        "end",
        "joint",
        "member",
        "pair",  # (pairs,) int64: the joints of two members that face each other
        "pairs",  # (blocks, pairs.BLOCK) their table as it is at the start
        "ghost",
        "volume",
        "cylinder",
        "orifice",
        "area_curves",  # (rows, CURVE_POINTS) effective area over the pipe's end area, or m2 for orifices
        "burn",  # (points,) burned fraction over the burn's span
        "switches",  # SWITCHES below, float64
        "probe",  # (probes, 2) int64 cell and cell to interpolate between
        "probe_weight",  # (probes,) weight of the second cell
    ],
)

# switches of the run
SW_FRICTION, SW_PIPE_HEAT, SW_CFL, SW_MAX_DEGREES = range(4)
SWITCHES = 4

State = namedtuple(
    "State",
    [
        "cells",  # (FIELDS, cells) conserved
        "temp",  # (cells,) last temperature, the start of the next solution for it [K]
        "volumes",  # (volumes, VOLUME_STATE)
        "memory",  # (cylinders, MEMORY) what a cylinder remembers between events
        "slugs",  # (ends, SLUG) layers of gas that cylinders pushed back into their intake ports
    ],
)

# layers of gas at a valve: their number, the pressure [Pa] they are at, then for each layer, the deepest first, its mass, the
# fuel vapour and burned gas in it [kg] and its size [m3]
SLUG_COUNT, SLUG_PRES, SLUG_LAYER = range(3)
S_MASS, S_FUEL, S_BURNED, S_SIZE = range(4)
LAYER, LAYERS = 4, 6
SLUG = SLUG_LAYER + LAYER * LAYERS

# memory of a cylinder: state at intake closing for the heat law, mixture at burn start, trapped amounts
(M_REF_P, M_REF_V, M_REF_T, M_BURN_AIR, M_BURN_FUEL, M_TRAP_AIR, M_TRAP_BURNED, M_TRAP_MASS) = range(8)
MEMORY = 8

# accounts of one cycle, a row a cylinder
(
    A_AIR_IN,  # air through the intake valves, into the cylinder [kg]
    A_AIR_BACK,  # air through them back into the port [kg]
    A_MASS_IN,  # all gas in through the intake valves [kg]
    A_MASS_BACK,  # all gas back through them [kg]
    A_FUEL_ADDED,  # vapour added at the valve [kg]
    A_MASS_OUT,  # net out through the exhaust valves [kg]
    A_ENERGY_IN,  # net enthalpy in through the intake valves, fuel's included [J]
    A_ENERGY_OUT,  # net enthalpy out through the exhaust valves [J]
    A_WORK,  # piston work, whole cycle [J]
    A_WORK_HIGH,  # piston work, compression and expansion strokes [J]
    A_WALL,  # heat to the walls [J]
    A_RELEASE,  # ideal heat added [J]
    A_BURNED,  # mass turned into burned gas [kg]
    A_PEAK_P,  # peak pressure [Pa]
    A_PEAK_ANGLE,  # its local crank angle [deg]
    A_AIR_OUT,  # air net out through the exhaust valves [kg]
    A_FUEL_IN,  # fuel vapour net in through the intake valves, added fuel excluded [kg]
    A_FUEL_OUT,  # fuel vapour net out through the exhaust valves [kg]
    A_BURNED_IN,  # burned gas net in through the intake valves [kg]
    A_BURNED_OUT,  # burned gas net out through the exhaust valves [kg]
    A_FUEL_USED,  # fuel consumed by the burn [kg]
    A_AIR_USED,  # air consumed by the burn [kg]
) = range(22)
ACCOUNTS = 22

# accounts of one cycle, a row a volume: net inflow of each species and of energy, time integrals
(B_MASS, B_FUEL, B_BURNED, B_ENERGY, B_WALL, B_P_TIME, B_T_TIME, B_MASS_TIME) = range(8)
# and what left it through a turbine: mass [kg] and the work of an isentropic expansion to the pressure behind [J]
B_TURBINE_MASS, B_TURBINE_WORK = range(8, 10)
VOLUME_ACCOUNTS = 10

def table(kind: np.dtype, rows: int) -> np.ndarray:
    """A record table of `rows` rows, every column zero."""
    return np.zeros(rows, dtype=kind)
