"""Instruments' files, one after the other: read right, or refused in one sentence that names the cause."""

import re
from pathlib import Path

import colour
import numpy as np
import pytest

from matcher.colour.cielab import D50_WHITE, xyz_to_lab
from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import CHI2_95
from matcher.errors import InstrumentFileError
from matcher.instrument.choices import Asked
from matcher.instrument.files import read_file, read_targets
from matcher.instrument.illuminant import lab_under_d50, published_surfaces, relative_xyz
from matcher.instrument.written import Said, column_said, illuminant_name, wavelength_of
from tests.instrument_files import TRIPLE, Read, bands, cases, cgats, table, text
from tests.rendering.process import WAVELENGTHS_NM
from tests.simulation import patinas

CASES = cases()


@pytest.mark.parametrize("what", CASES)
def test_every_file_is_read_right_or_refused_with_its_cause(what):
    case = CASES[what]
    if not isinstance(case, Read):
        with pytest.raises(InstrumentFileError, match=case.words) as refusal:
            read_targets(case.data, "plates.txt")
        assert re.fullmatch(r"plates\.txt cannot be used\. [^\n]+\.", str(refusal.value))
        return
    if Asked.WHITE in case.answers:  # without its answer it is not used at all
        with pytest.raises(InstrumentFileError, match="could be 1 or 100"):
            read_targets(case.data)
    samples = read_targets(case.data, answers=case.answers)
    assert len(samples) == len(case.labs)
    for sample, wanted in zip(samples, case.labs, strict=True):
        reading = sample.reading
        assert delta_e_2000(reading.lab, wanted) < case.within, (reading.lab, wanted)
        off = reading.lab - wanted
        assert off @ np.linalg.solve(reading.covariance, off) < CHI2_95
    if len(samples) == 1:
        assert {caveat.code for caveat in samples[0].reading.caveats} == case.caveats


def test_both_readings_of_a_file_that_is_asked_about_are_those_that_the_question_shows():
    data = CASES["percent of a black, asked"].data
    (question,) = read_file(data).questions
    assert (question.about, question.options, question.taken) == (Asked.WHITE, ("1", "100"), None)
    for option, lightness in zip(question.options, question.lightness, strict=True):
        assert read_targets(data, answers={"white": option})[0].reading.lab[0] == pytest.approx(lightness)


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"angle": "75°"}, "leaves no choice"),
        ({"white": "50"}, "1 or 100"),
        ({"illuminant": "candle"}, "leaves no choice|CIE illuminant"),
    ],
)
def test_an_answer_that_a_file_has_no_question_for_is_refused(answers, words):
    with pytest.raises(InstrumentFileError, match=words):
        read_targets(CASES["percent of a black, asked"].data, answers={"white": "100", **answers})


def test_an_angle_that_a_file_lacks_is_refused():
    with pytest.raises(InstrumentFileError, match="from 25°, 15°, 45°, 75°, 110°"):
        read_targets(CASES["cxf: five angles"].data, answers={"angle": "20°"})


@pytest.mark.parametrize("scale", [1.0, 100.0])
@pytest.mark.parametrize("shade", [0.25, 0.5, 1.0, 2.0, 5.0, 20.0, 60.0])
def test_no_flat_finish_is_read_in_the_wrong_unit(shade, scale):
    """Invented, from the blackest finish (0.25 %) to a pale one, alone in a file that says nothing of its unit."""
    data = "nm,R\n" + "".join(f"{at},{shade / 100 * scale * (1 + at / 5000):.6f}\n" for at in range(380, 731, 10))
    file = read_file(data.encode())
    wanted = read_targets(data.encode(), answers={"white": f"{scale:g}"} if file.unanswered else {})[0].reading.lab[0]
    y = shade / 100 * (1 + 560 / 5000)
    assert wanted == pytest.approx(116 * np.cbrt(y) - 16 if y > 0.008856 else 903.3 * y, abs=1.0)  # CIE 15:2018, 8.2.1


@pytest.mark.parametrize(
    ("written", "title", "said"),
    [
        ("L*(10/D65)", "L*", Said("D65", "10")),
        ("CIE L* [D65/10°]", "CIE L*", Said("D65", "10")),
        ("L* (2°,D50)", "L*", Said("D50", "2")),
        ("L*(10°/D65) SCE", "L*", Said("D65", "10", "specular excluded")),
        ("M0_LAB_L", "LAB_L", Said(condition="M0")),
        ("LAB_L_D50_2", "LAB_L", Said("D50", "2")),
        ("SPECTRAL_NM380_M1", "SPECTRAL_NM380", Said(condition="M1")),
        ("25_LAB_L", "LAB_L", Said(angle="25°")),
        ("45as-15 L*", "L*", Said(angle="-15°")),
        ("LAB_A", "LAB_A", Said()),
        ("CMYK_C", "CMYK_C", Said()),
    ],
)
def test_what_a_heading_says_besides_is_taken_apart(written, title, said):
    assert column_said(written) == (title, said)


@pytest.mark.parametrize(
    "written",
    ["400", "nm400", "NM_400", "SPEC_400", "R 400 nm", "R(400)", "%R 400", "Reflectance 400nm", "400,0 nm", "λ400"],
)
def test_wavelengths_are_known_however_they_are_written(written):
    assert wavelength_of(written) == 400


SPECTRA_AT = (bands(380, 680), bands(380, 730), bands(400, 700), bands(400, 700, 20), bands(380, 780, 5))
WAYS = ("({light}/{observer})", "({observer}/{light})", " {light}/{observer}°", "({light}/{observer}°)")


def exported(rng, reflectances):
    """Return a random export of finishes, reflectances (n, 81) every 5 nm from 380, and the answers it may need."""
    scale, comma = float(rng.choice([1, 100])), bool(rng.random() < 0.5)
    names = [f"plate {k}" for k in range(len(reflectances))]
    if rng.random() < 0.5:
        at = SPECTRA_AT[rng.integers(len(SPECTRA_AT))]
        values = [scale * np.interp(at, np.arange(380, 781, 5), one) for one in reflectances]
        head = f"SPECTRAL_NORM {scale:g}" if rng.random() < 0.5 else ""
        rows = [[name, *text(value)] for name, value in zip(names, values, strict=True)]
        way = rng.integers(3)
        if way == 0:
            prefix = rng.choice(["NM", "nm", "SPEC_", "SPECTRAL_NM", "R_"])
            data = cgats([f"{prefix}{w}" for w in at], [(row[0], row[1:]) for row in rows], head)
        elif way == 1:
            data = table(["Name", *map(str, at)], rows, comma=comma)
        else:
            down = [[str(w), *cells] for w, *cells in zip(at, *(row[1:] for row in rows), strict=True)]
            data = table(["Wavelength (nm)", *names], down, comma=comma)
        return data, {"white": f"{scale:g}"}
    light, observer = str(rng.choice(["D50", "D65", "C", "A", "F2", "F11"])), str(rng.choice(["2", "10"]))
    relative = relative_xyz(reflectances, illuminant_name(light), observer)
    labs = xyz_to_lab(relative * D50_WHITE)
    rows = [[name, *text(one)] for name, one in zip(names, labs, strict=True)]
    way = rng.integers(3)
    if way == 0:
        stated = f'ILLUMINANT "{light}"\nOBSERVER "{observer}"' if rng.random() < 0.5 else f"# {light}/{observer}°"
        return cgats(TRIPLE, [(row[0], row[1:]) for row in rows], stated), {}
    if way == 1:
        said = str(rng.choice(WAYS)).format(light=light, observer=observer)
        return table(["Name", *(f"{letter}*{said}" for letter in "Lab")], rows, comma=comma), {}
    return table(["Name", "L", "a", "b"], rows, [f"Illuminant;{light}", f"Observer;{observer}°"], comma=comma), {}


def test_no_random_export_is_read_wrong_without_a_word():
    """Invented patinas, a fifth of them as dark as a black, and published surfaces; two hundred files."""
    rng = np.random.default_rng(11)
    grid = np.arange(380, 781, 5)
    finishes = np.array([np.interp(grid, WAVELENGTHS_NM, one) for one in patinas(80, rng)])
    finishes = np.concatenate([finishes, 0.2 * finishes[:20], published_surfaces()])
    asked = 0
    for _ in range(200):
        some = finishes[rng.choice(len(finishes), rng.choice([1, 1, 2, 5]))]
        data, answers = exported(rng, some)
        file = read_file(data.encode())
        if file.unanswered:
            asked += 1
            file = read_file(data.encode(), answers=answers)
        for sample, truth in zip(file.samples, lab_under_d50(some), strict=True):
            off = sample.reading.lab - truth
            assert off @ np.linalg.solve(sample.reading.covariance, off) < 30, data[:300]  # 1.4 in a million
            assert "light-not-stated" not in {caveat.code for caveat in sample.reading.caveats}, data[:300]
    assert asked < 30


PUBLISHED = {
    "1": (17.64167, 1.076669, 0.3338588),
    "5": (31.09664, 19.62852, -68.17483),
    "2": (47.83558, 63.29078, 36.27213),
}
"""CIELAB that the sample file of the package colour-cxf 0.1.1 (BSD-3-Clause) states beside its spectra, D50, 2 degrees,
by ASTM E308's table 5."""
SPECTRA = {
    "1": """
        0.0179408 0.0189865 0.0196141 0.0201604 0.0208783 0.0202765 0.0213902 0.0232448 0.0251621 0.0264493
        0.0270566 0.0270034 0.026543 0.0255919 0.0244324 0.0238113 0.023676 0.0232761 0.0225849 0.0227898
        0.0235763 0.0242324 0.0245493 0.024855 0.0254194 0.026301 0.0278601 0.0301097 0.0334874 0.0381948
        0.0448929
    """,
    "5": """
        0.2040332 0.2159256 0.2230628 0.2292757 0.2487186 0.3115857 0.411832 0.4976076 0.5266417 0.4969699
        0.4087178 0.309161 0.2258191 0.1496591 0.0904506 0.0595696 0.0447488 0.0316704 0.0224275 0.0205225
        0.0245776 0.0314927 0.0350003 0.0344232 0.0340055 0.0351085 0.0375476 0.0397041 0.0395895 0.0383262
        0.0401417
    """,
    "2": """
        0.0394959 0.041798 0.0431796 0.0443822 0.0390338 0.0363864 0.0401547 0.045801 0.0523042 0.0586208
        0.0632642 0.0662882 0.0659939 0.0596725 0.0527806 0.0512717 0.0512901 0.0460535 0.040967 0.0456935
        0.072808 0.1577058 0.3328304 0.5322706 0.6631728 0.735719 0.7882051 0.8269124 0.8502781 0.8555662
        0.8545514
    """,
}
"""Its reflectances, 31 from 380 nm every 10."""


def test_a_published_sample_file_reads_as_the_cielab_that_it_states():
    """Three objects of it, as they stand there but for their dates and sRGB; darkest, bluest and reddest."""
    objects = "".join(
        f'''<cc:Object ObjectType="Target" Name="{name}" Id="{name}"><cc:ColorValues>
        <cc:ReflectanceSpectrum StartWL="380" ColorSpecification="CS1">{spectrum}</cc:ReflectanceSpectrum>
        </cc:ColorValues></cc:Object>'''
        for name, spectrum in SPECTRA.items()
    )
    data = f"""<?xml version="1.0" encoding="UTF-8"?>
    <cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources>
    <cc:ObjectCollection>{objects}</cc:ObjectCollection>
    <cc:ColorSpecificationCollection><cc:ColorSpecification Id="CS1">
    <cc:TristimulusSpec><cc:Illuminant>D50</cc:Illuminant><cc:Observer>2_Degree</cc:Observer>
    <cc:Method>E308_Table5</cc:Method></cc:TristimulusSpec>
    <cc:MeasurementSpec><cc:MeasurementType>Spectrum_Reflectance</cc:MeasurementType><cc:GeometryChoice>
    <cc:SingleAngle><cc:SingleAngleConfiguration>Annular</cc:SingleAngleConfiguration>
    <cc:IlluminationAngle>45.0</cc:IlluminationAngle><cc:MeasurementAngle>0.0</cc:MeasurementAngle></cc:SingleAngle>
    </cc:GeometryChoice><cc:WavelengthRange StartWL="380" Increment="10"/></cc:MeasurementSpec>
    </cc:ColorSpecification></cc:ColorSpecificationCollection></cc:Resources></cc:CxF>"""
    for sample in read_targets(data.encode()):
        assert delta_e_2000(sample.reading.lab, PUBLISHED[sample.name]) < 0.15


def test_the_sample_files_of_colour_science_read():
    """CGATS text of a chart whose greys were measured, and CSV of one along and across; as its own tests hold them."""
    samples = Path(colour.__file__).parent / "io" / "tests" / "resources"
    (chart,) = samples.glob("*Digital_Colour_Checker.txt")
    assert [round(float(sample.reading.lab[0])) for sample in read_targets(chart)][:4] == [6, 7, 7, 49]
    along, across = (read_targets(samples / f"colorchecker_n_ohta{which}.csv") for which in ("", "_transposed"))
    spectra = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"]
    assert len(along) == len(across) == len(spectra)
    for one, other in zip(along, across, strict=True):
        assert one.reading.lab == pytest.approx(other.reading.lab)
