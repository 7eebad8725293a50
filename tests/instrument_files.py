"""Instruments' files of invented finishes, good and bad, written from the open formats' own text.

CGATS.17 (ISO 28178), CxF3 (ISO 17972-1, after its published schema) and CSV as instruments export it. The finishes'
colours are worked out by colour-science from their spectra, by its own ASTM E308 integration.
"""

import warnings
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from matcher.colour.library import colour_library

FINE = np.arange(360, 781, 1)
FINISHES = ("brown", "black", "verdigris", "bronze")


@dataclass(frozen=True)
class Read:
    """What a file must give. labs: by sample. within: ΔE00. caveats: the codes. answers: to what it leaves open."""

    data: bytes
    labs: tuple = ()
    within: float = 0.1
    caveats: frozenset = frozenset()
    answers: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Refused:
    """Words that the one sentence must have."""

    data: bytes
    words: str


def reflectance(finish, at=FINE):
    """Return an invented finish's reflectance factor at wavelengths in nm."""
    rise = 1 / (1 + np.exp(-(np.asarray(at, float) - 590) / 45))
    bump = np.exp(-(((np.asarray(at, float) - 510) / 55) ** 2))
    return {
        "brown": 0.05 + 0.13 * rise,
        "black": 0.0062 + 0.0018 * rise,
        "verdigris": 0.3 + 0.16 * bump,
        "bronze": 0.28 + 0.3 * rise,
    }[finish]


@cache
def xyz(finish, light="D50", observer="2"):
    """Return XYZ, Y = 100 for white, and its white, of an invented finish."""
    colour = colour_library()
    named = {"2": "CIE 1931 2 Degree Standard Observer", "10": "CIE 1964 10 Degree Standard Observer"}
    seen = colour.MSDS_CMFS[named[observer]]
    power = colour.SDS_ILLUMINANTS[light].copy().align(seen.shape)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that it aligns the tables
        spectrum = colour.SpectralDistribution(dict(zip(FINE, reflectance(finish), strict=True)))
        white = colour.sd_to_XYZ(colour.colorimetry.sd_ones(power.shape), seen, power)
        value = colour.sd_to_XYZ(spectrum, seen, power)
    return value * 100 / white[1], white / white[1]


@cache
def lab(finish, light="D50", observer="2"):
    colour = colour_library()
    value, white = xyz(finish, light, observer)
    return tuple(colour.XYZ_to_Lab(value / 100, colour.XYZ_to_xy(white)))


def text(values, decimals=5):
    return [f"{value:.{decimals}f}" for value in values]


def cgats(columns, rows, head="", sets=None, end="END_DATA\n", between="\t"):
    """Return CGATS text. rows: (name, cells)."""
    lines = ["CGATS.17", 'ORIGINATOR "invented"', *head.splitlines(), "BEGIN_DATA_FORMAT"]
    lines += [between.join(["SAMPLE_NAME", *columns]), "END_DATA_FORMAT", f"NUMBER_OF_SETS {sets or len(rows)}"]
    lines += ["BEGIN_DATA", *(between.join([f'"{name}"', *cells]) for name, cells in rows)]
    return "\n".join([*lines, end])


def of_lab(finish, light="D50", observer="2", head=None, **how):
    stated = f'ILLUMINANT "{light}"\nOBSERVER "{observer}"' if head is None else head
    return cgats(["LAB_L", "LAB_A", "LAB_B"], [(finish, text(lab(finish, light, observer)))], stated, **how)


def bands(first=380, last=730, step=10):
    return np.arange(first, last + 1, step)


def of_spectra(finishes, prefix="NM", scale=1.0, head="", at=None, **how):
    at = bands() if at is None else at
    rows = [(finish, text(scale * reflectance(finish, at), 6)) for finish in finishes]
    return cgats([f"{prefix}{w}" for w in at], rows, head, **how)


def pairs(finish, column, scale):
    cells = [cell for w in bands() for cell in (str(w), f"{scale * float(reflectance(finish, w)):.5f}")]
    return cgats(["SPECTRAL_NM", column] * len(bands()), [(finish, cells)])


SPACE = 'xmlns:cc="http://colorexchangeformat.com/CxF3-core"'


def cxf(objects, *specifications):
    """Return CxF3. objects: (name, elements)."""
    inside = "".join(
        f'<cc:Object ObjectType="Standard" Name="{name}" Id="o{k}"><cc:CreationDate>2026-01-01T00:00:00'
        f"</cc:CreationDate><cc:ColorValues>{values}</cc:ColorValues></cc:Object>"
        for k, (name, values) in enumerate(objects)
    )
    stated = "".join(specifications)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><cc:CxF {SPACE}><cc:Resources><cc:ObjectCollection>{inside}'
        f"</cc:ObjectCollection><cc:ColorSpecificationCollection>{stated}"
        "</cc:ColorSpecificationCollection></cc:Resources></cc:CxF>"
    )


ANNULAR = (
    "<cc:SingleAngle><cc:SingleAngleConfiguration>Annular</cc:SingleAngleConfiguration><cc:IlluminationAngle>45"
    "</cc:IlluminationAngle><cc:MeasurementAngle>0</cc:MeasurementAngle></cc:SingleAngle>"
)


def spec(
    name="S", light="D50", observer="2_Degree", geometry=ANNULAR, lamp="", kind="Spectrum_Reflectance", range_="380"
):
    reach = f'<cc:WavelengthRange StartWL="{range_}" Increment="10"/>' if range_ else ""
    device = f"<cc:Device><cc:DeviceIllumination>{lamp}</cc:DeviceIllumination></cc:Device>" if lamp else ""
    return (
        f'<cc:ColorSpecification Id="{name}"><cc:TristimulusSpec><cc:Illuminant>{light}</cc:Illuminant><cc:Observer>'
        f"{observer}</cc:Observer></cc:TristimulusSpec><cc:MeasurementSpec><cc:MeasurementType>{kind}"
        f"</cc:MeasurementType><cc:GeometryChoice>{geometry}</cc:GeometryChoice>{reach}{device}</cc:MeasurementSpec>"
        "</cc:ColorSpecification>"
    )


def multi(*degrees):
    return "<cc:MultiAngle>" + "".join(
        f'<cc:BRDFAngle Notation="45as{at}"><cc:IlluminationAngle>45</cc:IlluminationAngle><cc:Aspecular>{at}'
        "</cc:Aspecular></cc:BRDFAngle>"
        for at in degrees
    ) + "</cc:MultiAngle>"  # fmt: skip


def sphere(gloss):
    return f"<cc:SphereGeometry>Specular_{gloss}</cc:SphereGeometry>"


def in_lab(values, name="S"):
    cells = "".join(f"<cc:{letter}>{value:.5f}</cc:{letter}>" for letter, value in zip("LAB", values, strict=True))
    return f'<cc:ColorCIELab ColorSpecification="{name}">{cells}</cc:ColorCIELab>'


def in_xyz(values, name="S"):
    cells = "".join(f"<cc:{letter}>{value:.5f}</cc:{letter}>" for letter, value in zip("XYZ", values, strict=True))
    return f'<cc:ColorCIEXYZ ColorSpecification="{name}">{cells}</cc:ColorCIEXYZ>'


def in_spectrum(finish, name="S", scale=1.0):
    cells = " ".join(text(scale * reflectance(finish, bands()), 6))
    return f'<cc:ReflectanceSpectrum ColorSpecification="{name}">{cells}</cc:ReflectanceSpectrum>'


def table(heading, rows, above=(), between=";", comma=True):
    lines = [*above, between.join(heading), *(between.join(row) for row in rows)]
    whole = "\n".join(lines) + "\n"
    return whole.replace(".", ",") if comma else whole


def down(finish, heading, scale=1.0, between=";"):
    return "".join([heading, *(f"{w}{between}{scale * float(reflectance(finish, w)):.5f}\n" for w in bands())])


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY a{k} "{f"&a{k - 1 if k else str()};" * 10}">' for k in range(9))
    + "]><CxF>&a8;</CxF>"
)
STATED = 'ILLUMINANT "D50"\nOBSERVER "2"'
TRIPLE = ["LAB_L", "LAB_A", "LAB_B"]
NOT_STATED = frozenset({"light-not-stated"})


def shifted(finish, by):
    return tuple(np.array(lab(finish)) + by)


def cases():
    """Return every file with what must come of it, by what it is."""
    return {**_cgats_read(), **_cgats_refused(), **_cxf_files(), **_tables()}


def _cgats_read():
    brown, black, verdigris, bronze = (lab(finish) for finish in FINISHES)
    two_m = [f"M{m}_{title}" for m in (2, 1, 0) for title in TRIPLE]
    by_m = [text(shifted("brown", off)) for off in (3, 0, 1)]
    gloss = [f"{mode}_{title}" for mode in ("SCI", "SCE") for title in TRIPLE]
    with_nan = text(reflectance("brown", bands()), 6)
    with_nan[9] = "NaN"
    slightly_below = text(reflectance("black", bands()), 6)
    slightly_below[0] = "-0.002"
    own = cgats(
        [*TRIPLE, *(f"NM{w}" for w in bands())],
        [("black", [*text(black), *text(100 * reflectance("black", bands()), 6)])],
        STATED,
    )
    return {
        "cielab": Read(of_lab("brown").encode(), (brown,)),
        "lower-case keywords": Read(of_lab("brown").lower().encode(), (brown,)),
        "d65 and 10 degrees as weighting functions": Read(
            of_lab("brown", "D65", "10", 'WEIGHTING_FUNCTION "ILLUMINANT, D65"\n'
                   'WEIGHTING_FUNCTION "OBSERVER, 10 degree"').encode(), (brown,), 1.5, frozenset({"light-converted"})),
        "the light in a comment only": Read(
            of_lab("brown", "D65", "10", "# measured for D65, 10 degrees").encode(), (brown,), 1.5,
            frozenset({"light-in-a-comment", "light-converted"})),
        "the light in a measurement source only": Read(
            of_lab("brown", "D65", "10",
                   'MEASUREMENT_SOURCE "Illumination=D65 ObserverAngle=10° WhiteBase=Abs"').encode(), (brown,), 1.5,
            frozenset({"light-in-a-comment", "light-converted"})),
        "two lights in comments": Read(
            of_lab("brown", head="# D65 or D50\n# 2° observer").encode(), (brown,),
            caveats=frozenset({"light-not-stated", "light-in-a-comment"})),
        "the instrument's own lamp is not the light of the figures": Read(
            of_lab("brown", head='MEASUREMENT_SOURCE "A"').encode(), (brown,), caveats=NOT_STATED),
        "a comment on each of two tables": Read(
            (of_lab("brown", head="# D50/2°") + of_lab("verdigris", "D65", "2", "# D65/2°")).encode(),
            (brown, verdigris), 1.0),
        "no light at all": Read(of_lab("brown", head="").encode(), (brown,), caveats=NOT_STATED),
        "no light, answered": Read(
            of_lab("brown", "D65", "10", "").encode(), (brown,), 1.5, frozenset({"light-converted"}),
            {"illuminant": "D65", "observer": "10"}),
        "fractions of a dark finish": Read(of_spectra(["brown"]).encode(), (brown,)),
        "percent of a black, asked": Read(
            of_spectra(["black"], scale=100).encode(), (black,), answers={"white": "100"}),
        "percent of a black by its norm": Read(
            of_spectra(["black"], "SPEC_", 100, 'SPECTRAL_NORM "100"').encode(), (black,)),
        "fractions of a pale finish by their norm": Read(
            of_spectra(["verdigris"], "SPEC_", 1, "spectral_norm 1.0").encode(), (verdigris,)),
        "percent of a black in pairs": Read(pairs("black", "SPECTRAL_PCT", 100).encode(), (black,)),
        "fractions of a pale finish in pairs": Read(pairs("verdigris", "SPECTRAL_DEC", 1).encode(), (verdigris,)),
        "percent of a black, by its own cielab": Read(own.encode(), (black,)),
        "percent, a black among others": Read(of_spectra(["black", "brown"], scale=100).encode(), (black, brown)),
        "fractions of a pale finish, asked": Read(
            of_spectra(["verdigris"]).encode(), (verdigris,), answers={"white": "1"}),
        "xyz": Read(cgats(["XYZ_X", "XYZ_Y", "XYZ_Z"], [("brown", text(xyz("brown")[0]))], STATED).encode(), (brown,)),
        "xyz without an observer": Read(
            cgats(["XYZ_X", "XYZ_Y", "XYZ_Z"], [("brown", text(xyz("brown", "D50", "10")[0]))],
                  "ILLUMINANT D50").encode(), (brown,), 2.5, NOT_STATED),
        "xyz without a light, answered": Read(
            cgats(["XYZ_X", "XYZ_Y", "XYZ_Z"], [("brown", text(xyz("brown", "A")[0]))], "OBSERVER 2").encode(),
            (brown,), 2.0, frozenset({"light-converted"}), {"illuminant": "A"}),
        "xyz on a scale of 1, asked": Read(
            cgats(["XYZ_X", "XYZ_Y", "XYZ_Z"], [("bronze", text(xyz("bronze")[0] / 100))], STATED).encode(), (bronze,),
            answers={"white": "1"}),
        "xyz on a scale of 1 with a dark one": Read(
            cgats(["XYZ_X", "XYZ_Y", "XYZ_Z"], [(one, text(xyz(one)[0] / 100)) for one in ("bronze", "brown")],
                  STATED).encode(), (bronze, brown)),
        "m2, m1 and m0 side by side": Read(
            cgats(two_m, [("brown", in_one_row(by_m))], STATED).encode(), (brown,),
            caveats=frozenset({"condition-chosen"})),
        "m2 asked for": Read(
            cgats(two_m, [("brown", in_one_row(by_m))], STATED).encode(), (shifted("brown", 3),),
            caveats=frozenset({"condition-chosen"}), answers={"condition": "M2"}),
        "gloss in and out side by side": Read(
            cgats(gloss, [("brown", in_one_row([text(shifted("brown", 4)), text(brown)]))], STATED).encode(), (brown,),
            caveats=frozenset({"angle-chosen"})),
        "gloss taken in": Read(
            of_lab("brown", head=STATED + '\nMEASUREMENT_GEOMETRY "d:8 SPIN"').encode(), (brown,),
            caveats=frozenset({"gloss-included"})),
        "31 bands from 380": Read(of_spectra(["brown"], at=bands(380, 680)).encode(), (brown,), 0.3),
        "36 bands from 380": Read(of_spectra(["brown"], at=bands(380, 730)).encode(), (brown,)),
        "1 nm bands": Read(of_spectra(["brown"], at=bands(380, 730, 1)).encode(), (brown,)),
        "20 nm bands": Read(of_spectra(["brown"], at=bands(400, 700, 20)).encode(), (brown,), 0.3),
        "two tables under two lights": Read(
            (of_lab("brown") + of_lab("verdigris", "D65", "2")).encode(), (brown, verdigris), 1.0),
        "a table of device values beside": Read(
            (cgats(["RGB_R", "RGB_G", "RGB_B"], [("x", ["1", "2", "3"])]) + of_lab("brown")).encode(), (brown,)),
        "a band not measured": Read(
            cgats([f"NM{w}" for w in bands()], [("brown", with_nan)]).encode(), (brown,)),
        "noise below zero": Read(
            cgats([f"NM{w}" for w in bands()], [("black", slightly_below)], "SPECTRAL_NORM 1").encode(), (black,)),
        "decimal commas": Read(of_lab("brown").replace(".", ",").encode(), (brown,)),
        "utf-16 with windows' line ends": Read(of_lab("brown").replace("\n", "\r\n").encode("utf-16"), (brown,)),
        "a byte order mark and windows' line ends": Read(
            of_lab("brown").replace("\n", "\r\n").encode("utf-8-sig"), (brown,)),
    }  # fmt: skip


def in_one_row(lists):
    return [cell for cells in lists for cell in cells]


def _cgats_refused():
    nan = cgats(TRIPLE, [("plate 7", ["38", "NaN", "22"])], STATED)
    below = text(reflectance("brown", bands()), 6)
    below[8] = "-0.3"
    return {
        "two lights": Refused(
            of_lab("brown", head='ILLUMINANT "D50"\nWEIGHTING_FUNCTION "ILLUMINANT, D65"').encode(), "D50 and D65"),
        "a norm that its own cielab belies": Refused(
            cgats([*TRIPLE, *(f"NM{w}" for w in bands())],
                  [("black", [*text(lab("black")), *text(100 * reflectance("black", bands()), 6)])],
                  STATED + "\nSPECTRAL_NORM 1").encode(), "a perfect white is 100"),
        "samples on two scales": Refused(
            (of_spectra(["brown"]) + of_spectra(["bronze"], scale=100)).encode(), "could be 1 or 100"),
        "a norm that is neither": Refused(of_spectra(["brown"], head="SPECTRAL_NORM 255").encode(), "SPECTRAL_NORM"),
        "no end of data": Refused(of_lab("brown", end="").encode(), "cut short"),
        "a wrong number of sets": Refused(of_lab("brown", sets=12).encode(), "declares 12 samples and holds 1"),
        "a column twice": Refused(
            cgats([*TRIPLE, "LAB_L"], [("brown", ["38", "14", "22", "61"])], STATED).encode(), "LAB_L is there twice"),
        "a wavelength twice": Refused(
            cgats([f"NM{w}" for w in [*bands(), 500]], [("x", ["0.1"] * 37)]).encode(), "each wavelength once"),
        "densities only": Refused(
            cgats(["D_RED", "D_GREEN", "D_BLUE", "D_VIS"], [("x", ["1.1", "1.2", "1.3", "1"])]).encode(), "densities"),
        "device values only": Refused(cgats(["RGB_R", "RGB_G", "RGB_B"], [("x", ["1", "2", "3"])]).encode(), "RGB_R"),
        "cielab that is not a number": Refused(nan.encode(), "'plate 7' has none of them, or not all of one"),
        "reflectance far below zero": Refused(
            cgats([f"NM{w}" for w in bands()], [("x", below)]).encode(), "no finish has a reflectance factor of -0.3"),
        "reflectance far above white": Refused(
            cgats([f"NM{w}" for w in bands()], [("x", ["2.5"] * 36)], "SPECTRAL_NORM 1").encode(), "factor of 2.5"),
        "xyz without a light": Refused(
            cgats(["XYZ_X", "XYZ_Y", "XYZ_Z"], [("b", text(xyz("brown")[0]))]).encode(), "what light its XYZ are for"),
        "xyz below zero": Refused(
            cgats(["XYZ_X", "XYZ_Y", "XYZ_Z"], [("x", ["10", "10", "-4"])], STATED).encode(), "can't be below 0"),
        "transmittance": Refused(
            of_spectra(["brown"], head='MEASUREMENT_TYPE "Transmittance"').encode(), "transmittance"),
        "hexadecimal figures": Refused(
            cgats(TRIPLE, [("x", ["0x26", "0x0E", "0x16"])], STATED).encode(), "number instead of '0x26'"),
        "bands from 430": Refused(of_spectra(["brown"], at=bands(430, 730)).encode(), "400 to 680 nm"),
        "bands every 40": Refused(of_spectra(["brown"], at=bands(380, 740, 40)).encode(), "every 20 nm"),
        "a light of its own": Refused(of_lab("brown", head='ILLUMINANT "shop tube"').encode(), "not a CIE illuminant"),
    }  # fmt: skip


def _cxf_files():
    brown, black, verdigris, _ = (lab(finish) for finish in FINISHES)
    several = [(as_, spec(f"A{as_}", geometry=multi(as_))) for as_ in (15, 25, 45, 75, 110)]
    at_angles = "".join(in_lab(shifted("brown", 0 if as_ == 25 else as_ / 20), f"A{as_}") for as_, _ in several)
    without_25 = "".join(in_lab(shifted("brown", 0 if as_ == 15 else 4), f"A{as_}") for as_ in (45, 15, 110))
    lamps = [spec("U", lamp="M2_UVExcluded"), spec("D", lamp="M1_Daylight"), spec("I", lamp="M0_Incandescent")]
    spheres = [spec("I", geometry=sphere("Included")), spec("E", geometry=sphere("Excluded"))]
    points = "".join(
        f'<cc:SpectralPoint WL="{w}">{float(reflectance("brown", w)):.5f}</cc:SpectralPoint>' for w in bands()
    )
    return {
        "cxf: cielab": Read(cxf([("brown", in_lab(brown))], spec()).encode(), (brown,)),
        "cxf: cielab and a spectrum": Read(
            cxf([("brown", in_lab(brown) + in_spectrum("brown"))], spec()).encode(), (brown,)),
        "cxf: a pale spectrum, 1 for white as its schema has it": Read(
            cxf([("v", in_spectrum("verdigris"))], spec()).encode(), (verdigris,)),
        "cxf: one angle only": Read(
            cxf([("b", in_lab(brown))], spec(geometry=multi(110))).encode(), (brown,),
            caveats=frozenset({"one-angle"})),
        "cxf: percent of a black against its schema, told by its cielab": Refused(
            cxf([("b", in_lab(black) + in_spectrum("black", scale=100))], spec()).encode(), "a perfect white is 100"),
        "cxf: percent against its schema": Read(
            cxf([("v", in_spectrum("verdigris", scale=100))], spec()).encode(), (verdigris,)),
        "cxf: m2 before m1": Read(
            cxf([("b", in_lab(shifted("brown", 4), "U") + in_lab(brown, "D"))], *lamps[:2]).encode(), (brown,),
            caveats=frozenset({"condition-chosen"})),
        "cxf: m2 before m0": Read(
            cxf([("b", in_lab(shifted("brown", 4), "U") + in_lab(brown, "I"))], lamps[0], lamps[2]).encode(), (brown,),
            caveats=frozenset({"condition-chosen"})),
        "cxf: five angles": Read(
            cxf([("b", at_angles)], *(one for _, one in several)).encode(), (brown,),
            caveats=frozenset({"angle-chosen", "one-angle"})),
        "cxf: the 110° of five angles asked for": Read(
            cxf([("b", at_angles)], *(one for _, one in several)).encode(), (shifted("brown", 5.5),),
            caveats=frozenset({"angle-chosen", "one-angle"}), answers={"angle": "110°"}),
        "cxf: angles without 25°": Read(
            cxf([("b", without_25)], *(one for as_, one in several if as_ in (15, 45, 110))).encode(), (brown,),
            caveats=frozenset({"angle-chosen", "one-angle"})),
        "cxf: gloss in before gloss out": Read(
            cxf([("b", in_lab(shifted("brown", 4), "I") + in_lab(brown, "E"))], *spheres).encode(), (brown,),
            caveats=frozenset({"angle-chosen"})),
        "cxf: 45/0 beside a sphere": Read(
            cxf([("b", in_lab(shifted("brown", 4), "I") + in_lab(brown))], spheres[0], spec()).encode(), (brown,),
            caveats=frozenset({"angle-chosen"})),
        "cxf: xyz for d65 and 10 degrees": Read(
            cxf([("b", in_xyz(xyz("brown", "D65", "10")[0]))], spec(light="D65", observer="10_Degree")).encode(),
            (brown,), 1.5, frozenset({"light-converted"})),
        "cxf: points at their own wavelengths": Read(
            cxf([("b", f'<cc:CustomSpectrum ColorSpecification="S">{points}</cc:CustomSpectrum>')], spec()).encode(),
            (brown,)),
        "cxf: a specification that is not there": Read(
            cxf([("b", in_lab(brown, "gone"))], spec()).encode(), (brown,), caveats=NOT_STATED),
        "cxf: several angles in one specification": Refused(
            cxf([("b", in_lab(brown))], spec(geometry=multi(15, 25, 45))).encode(),
            "does not say which of 15°, 25°, 45°"),
        "cxf: transmittance": Refused(
            cxf([("b", in_spectrum("brown"))], spec(kind="Spectrum_Transmittance")).encode(), "transmittance"),
        "cxf: densities only": Refused(
            cxf([("b", '<cc:ColorDensity ColorSpecification="S"><cc:Density>1.2</cc:Density></cc:ColorDensity>')],
                spec()).encode(), "ColorDensity"),
        "cxf: a spectrum without its range": Refused(
            cxf([("b", in_spectrum("brown"))], spec(range_="")).encode(), "wavelength range"),
        "cxf: a trade name for a light": Refused(cxf([("b", in_lab(brown))], spec(light="TL84")).encode(), "'TL84'"),
        "cxf: entities in entities": Refused(BOMB.encode(), "document type"),
        "cxf: cut short": Refused(cxf([("b", in_lab(brown))], spec()).encode()[:-40], "XML is broken"),
    }  # fmt: skip


def _tables():
    brown, black, verdigris, _ = (lab(finish) for finish in FINISHES)
    angles = [f"{as_}° {letter}*" for as_ in (15, 25, 45) for letter in "Lab"]
    at_angles = in_one_row([text(shifted("brown", off)) for off in (6, 0, -3)])
    rows = [[name, *text(100 * reflectance(name, bands()))] for name in ("brown", "black")]
    across = table(["wavelength", *map(str, bands())], rows, comma=False)
    polar = [brown[0], np.hypot(*brown[1:]), np.degrees(np.arctan2(brown[2], brown[1])) % 360]
    d65 = lab("brown", "D65", "10")
    above = ["Report;invented", "Date;2026-01-02", "Illuminant;D65", "Observer;10°", ""]
    return {
        "csv: light and observer in the headings": Read(
            table(["Name", "L*(10/D65)", "a*(10/D65)", "b*(10/D65)"], [["brown", *text(d65)]], between=",",
                  comma=False).encode(), (brown,), 1.5, frozenset({"light-converted"})),
        "csv: lines above the heading, decimal commas": Read(
            table(["Name", "L*", "a*", "b*"], [["brown", *text(d65)]], above).encode("cp1252"), (brown,), 1.5,
            frozenset({"light-in-a-comment", "light-converted"})),
        "csv: a line for spreadsheets": Read(
            table(["Name", "L*", "a*", "b*", "Illuminant"], [["brown", *text(brown), "D50/2"]], ["sep=;"]).encode(),
            (brown,)),
        "csv: chroma and hue": Read(
            table(["Name", "L*", "C*", "h°", "Illuminant"], [["brown", *text(polar), "D50/2"]]).encode(), (brown,)),
        "csv: angles in the headings": Read(
            table(["Name", *angles, "Illuminant"], [["brown", *at_angles, "D50/2"]]).encode(), (brown,),
            caveats=frozenset({"angle-chosen", "one-angle"})),
        "csv: gloss in the headings": Read(
            table(["Name", "L* SCI", "a* SCI", "b* SCI", "L* SCE", "a* SCE", "b* SCE", "Illuminant"],
                  [["brown", *text(shifted("brown", 4)), *text(brown), "D50/2"]]).encode(), (brown,),
            caveats=frozenset({"angle-chosen"})),
        "csv: a row each with gloss and without": Read(
            table(["Name", "Mode", "L*", "a*", "b*", "Illuminant"],
                  [["b", "SCE", *text(brown), "D50/2"], ["b", "SCI", *text(shifted("brown", 4)), "D50/2"]]).encode(),
            (brown, shifted("brown", 4))),
        "csv: a light a row": Read(
            table(["Name", "L*", "a*", "b*", "Illuminant", "Observer"],
                  [["b", *text(brown), "D50", "2°"], ["v", *text(lab("verdigris", "C")), "C", "2°"]]).encode(),
            (brown, verdigris), 1.0),
        "csv: percent down the page": Read(down("black", "Wavelength (nm);R (%)\n", 100).encode(), (black,)),
        "csv: a black under R, asked": Read(
            down("black", "Wavelength;R\n", 100).encode(), (black,), answers={"white": "100"}),
        "csv: percent of a brown under R": Read(down("brown", "nm,R\n", 100, ",").encode(), (brown,)),
        "csv: percent said above, down the page": Read(
            ("Reflectance [%]\n" + down("black", "nm;plate\n", 100)).encode(), (black,)),
        "csv: the wavelengths across, headed so": Read(across.encode(), (brown, black)),
        "csv: percent in the wavelengths' headings": Read(
            table(["Name", *(f"{w} nm (%)" for w in bands())], [["black", *text(100 * reflectance("black", bands()))]],
                  comma=False).encode(), (black,)),
        "csv: chromaticities": Refused(b"Name;x;y;z\nbrown;0.4;0.38;0.22\nblack;0.35;0.36;0.29\n", "chromaticities"),
        "csv: another space than cielab": Refused(b"Hunter L,a,b\nL,a,b\n38,14,22\n", "are Hunter"),
        "csv: a batch that looks like a light": Read(
            table(["Name", "L*", "a*", "b*"], [["brown", *text(brown)]], ["Batch A/10"]).encode(), (brown,),
            caveats=NOT_STATED),
        "csv: decimal commas between commas": Refused(b"Name,L,a,b\nbrown,38,5,14,2,22,1\n", "more cells"),
        "csv: a column twice": Refused(b"L*,a*,b*,L*\n38,14,22,61\n", "twice"),
        "csv: transmittance down the page": Refused(down("brown", "nm;%T\n", 100).encode(), "headed '%T'"),
        "csv: transmittance said above": Refused(
            ("Mode: transmittance\n" + down("brown", "nm;plate\n", 100)).encode(), "transmittance"),
        "csv: micrometres": Refused(b"wavelength (um);R\n0.4;0.1\n0.7;0.2\n", "in nm"),
        "csv: nothing measured": Refused(b"Name,L*,a*,b*\nbrown,NaN,NaN,NaN\n", "'brown' has none of them"),
        "csv: hexadecimal": Refused(b"Name,L*,a*,b*\nbrown,0xff,1,2\n", "number instead of '0xff'"),
        "csv: lightness above white": Refused(b"Name,L*,a*,b*\nbrown,380,1,2\n", "L\\* from 0 to 100"),
        "a zip": Refused(b"PK\x03\x04" + bytes(60), "out of its zip"),
        "noise": Refused(bytes(range(256)) * 4, "none of them"),
    }  # fmt: skip
