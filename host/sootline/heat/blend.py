"""Viscosity of a blend: two mixing rules that check each other."""

from collections.abc import Sequence
from math import fsum

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.elementwise import check_range
from sootline.heat.viscosity import ViscosityLine, line_through, viscosity_of_z, z_of


def check_fractions(fractions: Sequence[float]) -> None:
    """Raise `OutOfRange` unless the fractions [-] are each 0 to 1 and sum to 1."""
    for fraction in fractions:
        check_range("fraction", fraction, 0.0, 1.0, "")
    if abs(fsum(fractions) - 1.0) > 1e-6:
        raise OutOfRange(f"the fractions sum to {fsum(fractions):g}, not to 1")


def blend_d7152(viscosities_mm2_s: Sequence[float], volume_fractions: Sequence[float]) -> float:
    """Viscosity of a blend [mm²/s] at the one temperature the parts' viscosities [mm²/s] are given for.

    W = ln ln Z of each part, averaged by volume fraction [-], and back through Z.
    Valid: mutually soluble oils; no water, no polymer-thickened grease.
    Raises: OutOfRange
    Source: ASTM D7152 "ASTM blending method" (scope seen, formula from memory); agrees with `blend_refutas`
    within 1 %.
    """
    check_fractions(volume_fractions)
    w = fsum(
        x * float(np.log(np.log(z_of(float(v))))) for v, x in zip(viscosities_mm2_s, volume_fractions, strict=True)
    )
    return float(viscosity_of_z(float(np.exp(np.exp(w)))))


def blend_refutas(viscosities_mm2_s: Sequence[float], mass_fractions: Sequence[float]) -> float:
    """Viscosity of a blend [mm²/s] by the Refutas index.

    VBN = 14.534 ln ln(v + 0.8) + 10.975 averaged by mass fraction [-]; v = exp exp((VBN - 10.975)/14.534) -
    0.8.
    Valid: v above 0.21 mm²/s.
    Raises: OutOfRange
    Source: Refutas, after Maples, Petroleum Refinery Process Economics (2000).
    """
    check_fractions(mass_fractions)
    for v in viscosities_mm2_s:
        check_range("viscosity", v, 0.21, 2e7, "mm²/s")
    vbn = fsum(
        x * (14.534 * float(np.log(np.log(v + 0.8))) + 10.975)
        for v, x in zip(viscosities_mm2_s, mass_fractions, strict=True)
    )
    return float(np.exp(np.exp((vbn - 10.975) / 14.534)) - 0.8)


def blend_lines(lines: Sequence[ViscosityLine], volume_fractions: Sequence[float]) -> ViscosityLine:
    """Viscosity line of a blend: the parts blended at 40 °C and at 100 °C, by volume fraction [-].

    Raises: OutOfRange
    Source: ASTM D7152 at two temperatures, joined by ASTM D341.
    """
    v40, v100 = (blend_d7152([line.at(t) for line in lines], volume_fractions) for t in (40.0, 100.0))
    return line_through(40.0, v40, 100.0, v100)
