"""Wall laws: friction and heat transfer of the pipes, heat transfer of the cylinder.

Pipes. The friction factor is Darcy's, wall shear = f rho u^2 / 8. Heat transfer follows from friction by the
Reynolds-Colburn analogy with the roughness's gain limited after Norris; Gnielinski's formula stands beside it for
comparison: in a smooth pipe the analogy lies 31 % above it at Re 5000, 17 % at 10^4, 11 % from 3 x 10^4 to 3 x 10^5.
All are fully developed, steady-flow laws applied at each instant: in a port, with entrance and pulsation, the true
coefficients are likely higher, by an amount not known well enough to be put in.

Cylinder. Woschni's law in one stated form (printed forms differ by 11 to 17 %) and Hohenberg's.

Every function is compiled, takes and returns single numbers, SI units.
"""

from __future__ import annotations

import math

from waveflow.compiled import kernel, kernel_of_rows
from waveflow.physics.vectors import exp2, log2

LAMINAR_END = 2000.0
"""Reynolds number up to which a pipe's flow is taken as laminar."""

TURBULENT_START = 4000.0
"""Reynolds number from which it is taken as turbulent; between the two the laws are blended."""

LAMINAR_NUSSELT = 3.66
"""Nusselt number of developed laminar flow in a round pipe with a wall of one temperature (Graetz)."""

WOSCHNI_GAS_EXCHANGE = (6.18, 0.0)
WOSCHNI_COMPRESSION = (2.28, 0.0)
WOSCHNI_COMBUSTION = (2.28, 3.24e-3)
"""Woschni's C1 [-] and C2 [m/s/K] in the three parts of the cycle, without swirl terms (from memory)."""

NORRIS_LIMIT = 4.0
"""Rough over smooth friction beyond which more roughness brings no more heat transfer."""


_HAALAND = -1.8 * math.log10(2.0)


@kernel
def turbulent_friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of turbulent flow [-], reynolds [-], roughness over diameter [-].

    f^(-1/2) = -1.8 log10((roughness / diameter / 3.7)^1.11 + 6.9 / Re): S. E. Haaland, "Simple and Explicit Formulas
    for the Friction Factor in Turbulent Pipe Flow", J. Fluids Engineering 105 (1983).
    """
    root = -1.8 * math.log10((relative_roughness / 3.7) ** 1.11 + 6.9 / reynolds)
    return 1.0 / (root * root)


@kernel
def turbulent_share(reynolds: float) -> float:
    """Weight of the turbulent law, 0 below `LAMINAR_END` rising smoothly to 1 at `TURBULENT_START` [-]."""
    s = min(max((reynolds - LAMINAR_END) / (TURBULENT_START - LAMINAR_END), 0.0), 1.0)
    return s * s * (3.0 - 2.0 * s)


@kernel
def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor [-] at a Reynolds number [-] (below 1 taken as 1) and roughness over diameter [-].

    Laminar 64 / Re up to `LAMINAR_END`, `turbulent_friction_factor` from `TURBULENT_START`, blended between.
    """
    reynolds = max(reynolds, 1.0)
    share = turbulent_share(reynolds)
    enough = max(reynolds, LAMINAR_END)  # below that the turbulent law has no weight but must stay finite
    return (1.0 - share) * 64.0 / reynolds + share * turbulent_friction_factor(enough, relative_roughness)


@kernel
def nusselt(reynolds: float, prandtl: float, friction: float) -> float:
    """Nusselt number h D / lambda [-] of a pipe, reynolds [-], prandtl [-], friction: its `friction_factor` there [-].

    Laminar 3.66. Turbulent, with fs the friction of the same pipe if it were smooth,

        Nu = fs / 8 Re Pr^(1/3) min(f / fs, 4)^n,    n = 0.68 Pr^0.215,

    and not below 3.66; blended between. The analogy is that of T. H. Chilton & A. P. Colburn, "Mass Transfer
    (Absorption) Coefficients", Ind. Eng. Chem. 26 (1934), the gain by roughness that of R. H. Norris, "Some Simple
    Approximate Heat Transfer Correlations for Turbulent Flow in Ducts with Rough Surfaces", ASME (1970) (exponent,
    limit from memory).
    """
    share = turbulent_share(reynolds)
    enough = max(reynolds, LAMINAR_END)
    smooth = turbulent_friction_factor(enough, 0.0)
    gain = min(max(friction / smooth, 1.0), NORRIS_LIMIT) ** (0.68 * prandtl**0.215)
    turbulent = max(nusselt_colburn(enough, prandtl, smooth) * gain, LAMINAR_NUSSELT)
    return (1.0 - share) * LAMINAR_NUSSELT + share * turbulent


@kernel
def nusselt_colburn(reynolds: float, prandtl: float, friction: float) -> float:
    """Nusselt number of turbulent flow by the analogy St Pr^(2/3) = f / 8 [-] (Chilton & Colburn 1934)."""
    return friction / 8.0 * reynolds * prandtl ** (1.0 / 3.0)


@kernel
def nusselt_gnielinski(reynolds: float, prandtl: float, friction: float) -> float:
    """Nusselt number of turbulent flow [-], Re 3000 to 5e6, from the Darcy friction factor.

    Nu = f/8 (Re - 1000) Pr / (1 + 12.7 (f/8)^(1/2) (Pr^(2/3) - 1)): V. Gnielinski, "New Equations for Heat and Mass
    Transfer in Turbulent Pipe and Channel Flow", Int. Chem. Eng. 16 (1976).
    """
    eighth = friction / 8.0
    return eighth * (reynolds - 1000.0) * prandtl / (1.0 + 12.7 * math.sqrt(eighth) * (prandtl ** (2.0 / 3.0) - 1.0))


def roughness_term(relative_roughness):
    """(roughness / diameter / 3.7)^1.11, the part of Haaland's formula that only the pipe decides [-]; array or number."""
    return (relative_roughness / 3.7) ** 1.11


@kernel_of_rows
def wall_rows(
    rho, vel, temp, grun, diameter, rough, wetted, loss, mu0, mu1, mu2, lam0, lam1, lam2, gas_constant, slowest,
    frictional, heated, friction, heat,
):  # fmt: skip
    """`friction_factor` and `nusselt` for rows of cells, as vector code; fills friction (f/(2D) + loss) and heat (h P/A).

    The scalar functions are the readable twins, and the test; roots and powers here are those of `vectors`.
    """
    for i in range(rho.shape[0]):
        d = diameter[i]
        t = 1e-3 * temp[i]
        mu = mu0 + t * (mu1 + t * mu2)
        lam = lam0 + t * (lam1 + t * lam2)
        cp = gas_constant * (1.0 + 1.0 / grun[i])
        reynolds = max(rho[i] * max(abs(vel[i]), slowest) * d / mu, 1.0)
        enough = max(reynolds, LAMINAR_END)
        s = min(max((reynolds - LAMINAR_END) / (TURBULENT_START - LAMINAR_END), 0.0), 1.0)
        share = s * s * (3.0 - 2.0 * s)
        root = _HAALAND * log2(rough[i] + 6.9 / enough)
        smooth_root = _HAALAND * log2(6.9 / enough)
        smooth = 1.0 / (smooth_root * smooth_root)
        f = (1.0 - share) * 64.0 / reynolds + share / (root * root)
        friction[i] = frictional * (0.5 * f / d + loss[i])
        log_prandtl = log2(mu * cp / lam)
        gain = log2(min(max(f / smooth, 1.0), NORRIS_LIMIT)) * 0.68 * exp2(0.215 * log_prandtl)
        turbulent = max(smooth / 8.0 * enough * exp2(log_prandtl / 3.0 + gain), LAMINAR_NUSSELT)
        heat[i] = heated * ((1.0 - share) * LAMINAR_NUSSELT + share * turbulent) * lam * 4.0 / (d * d) * wetted[i]


@kernel
def woschni(bore: float, p: float, T: float, w: float) -> float:
    """Heat transfer coefficient of the cylinder [W/m2/K] by Woschni.

    h = 3.26 B^-0.2 p^0.8 T^-0.55 w^0.8, bore B [m], p taken in kPa (given here in Pa), T [K], gas speed w [m/s] from
    `woschni_speed`: G. Woschni, "A Universally Applicable Equation for the Instantaneous Heat Transfer Coefficient in
    the Internal Combustion Engine", SAE 670931 (1967), in the SI form of J. B. Heywood, "Internal Combustion Engine
    Fundamentals" (1988); the exponent -0.55 from memory. An older form (-0.53, 130 with p in bar) gives 11 to 17 %
    more.
    """
    return 3.26 * exp2(0.8 * (log2(0.001 * p) + log2(max(w, 1e-9))) - 0.2 * log2(bore) - 0.55 * log2(T))


@kernel
def woschni_speed(
    c1: float,
    mean_piston_speed: float,
    c2: float,
    swept: float,
    T_ref: float,
    p_ref: float,
    V_ref: float,
    p: float,
    p_motored: float,
) -> float:
    """Woschni's gas speed w = C1 Sp + C2 Vd Tr / (pr Vr) (p - pm) [m/s].

    Speeds [m/s], volumes [m3], temperature [K], pressures [Pa]; c1, c2 as in `WOSCHNI_COMBUSTION` and its neighbours.
    The reference state (r) is that at intake closing, pm the pressure the same charge would have unburned. The second
    term is never negative.
    """
    return c1 * mean_piston_speed + c2 * swept * T_ref / (p_ref * V_ref) * max(p - p_motored, 0.0)


@kernel
def hohenberg(V: float, p: float, T: float, mean_piston_speed: float) -> float:
    """Heat transfer coefficient of the cylinder [W/m2/K] by Hohenberg.

    h = 130 V^-0.06 p^0.8 T^-0.4 (Sp + 1.4)^0.8, volume V [m3], p taken in bar (given here in Pa), T [K], mean piston
    speed Sp [m/s]: G. F. Hohenberg, "Advanced Approaches for Heat Transfer Calculations", SAE 790825 (1979) (from
    memory).
    """
    return 130.0 * exp2(0.8 * (log2(1e-5 * p) + log2(mean_piston_speed + 1.4)) - 0.06 * log2(V) - 0.4 * log2(T))
