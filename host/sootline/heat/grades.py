"""Typical properties of the oils people bring: one row a grade, to be replaced by a measurement where there is one."""

from dataclasses import dataclass

from sootline.errors import OutOfRange
from sootline.heat.viscosity import ViscosityLine, line_through


@dataclass(frozen=True)
class Grade:
    """One kind of oil: viscosities at 40 and 100 °C [mm²/s], density at 15 °C [kg/m³], ash [% by mass].

    `flash_C` is a minimum a standard promises for the unused product [°C], or None where no such promise
    holds.
    """

    name: str
    what: str
    v40_mm2_s: float
    v100_mm2_s: float
    density15_kg_m3: float
    ash_percent: float
    vegetable: bool = False
    flash_C: float | None = None

    def viscosity(self) -> ViscosityLine:
        """Viscosity line [mm²/s against °C] of the grade.

        Source: ASTM D341 through the grade's 40 and 100 °C values.
        """
        return line_through(40.0, self.v40_mm2_s, 100.0, self.v100_mm2_s)


GRADES: dict[str, Grade] = {
    g.name: g
    for g in (
        Grade("engine-15w-40", "SAE 15W-40 engine oil", 107.0, 14.5, 880.0, 0.87),
        Grade("engine-5w-30", "SAE 5W-30 engine oil", 62.0, 10.6, 855.0, 0.87),
        Grade("engine-30", "SAE 30 engine oil", 93.0, 10.9, 887.0, 0.87),
        Grade("vg-32", "ISO VG 32 hydraulic oil", 32.0, 5.4, 870.0, 0.05),
        Grade("vg-46", "ISO VG 46 hydraulic oil", 46.0, 6.8, 875.0, 0.05),
        Grade("vg-68", "ISO VG 68 hydraulic oil", 68.0, 8.7, 880.0, 0.05),
        Grade("vg-100", "ISO VG 100 oil", 100.0, 11.2, 885.0, 0.05),
        Grade("vg-220", "ISO VG 220 gear oil", 220.0, 19.0, 893.0, 0.05),
        Grade("vg-320", "ISO VG 320 gear oil", 320.0, 24.0, 897.0, 0.05),
        Grade("gear-80w-90", "SAE 80W-90 gear oil", 140.0, 14.5, 895.0, 0.05),
        Grade("atf", "automatic transmission fluid", 34.0, 7.3, 865.0, 0.1),
        Grade("rapeseed", "rapeseed (canola) oil", 35.0, 8.1, 918.0, 0.01, True, 101.0),
        Grade("soybean", "soybean oil", 31.5, 7.6, 922.0, 0.01, True),
        Grade("diesel", "diesel or No. 2 heating oil, as a diluent", 2.7, 1.1, 840.0, 0.01, False, 52.0),
    )
}


def grade(name: str) -> Grade:
    """The typical grade called `name`.

    Raises: OutOfRange for an unknown name, listing the known ones.
    Source: viscosities are typical class values inside SAE J300, ISO 3448 and DIN 51605 limits (from
    memory); density and ash are common practice (ash of engine oil: the 0.87 % used by a state emission
    template after AP-42 1.11); flash minima: DIN 51605 101 °C for rapeseed fuel oil, 52 °C for No. 2 fuel
    (from memory).
    """
    try:
        return GRADES[name]
    except KeyError:
        raise OutOfRange(f"unknown oil kind {name!r}; known: {', '.join(sorted(GRADES))}") from None
