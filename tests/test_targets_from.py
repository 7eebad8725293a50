"""Instrument files in every format: published spectra written out and read back, lights and observers, refusals."""

import warnings

import numpy as np
import pytest

from matcher.colour.difference import delta_e_2000
from matcher.colour.library import colour_library
from matcher.errors import InstrumentFileError, MatcherError
from matcher.instrument.files import read_targets
from matcher.instrument.measured import lab_reading

WAVELENGTHS = np.arange(380, 731, 10)


@pytest.fixture(scope="module")
def chart():
    """Names, spectra (24, 36) and CIELAB by light: BabelColor Average, integrated by colour-science, ASTM E308."""
    colour = colour_library()
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    spectra = colour.SDS_COLOURCHECKERS["BabelColor Average"]

    def cielab(light):
        power = colour.SDS_ILLUMINANTS[light].copy().align(observer.shape)
        white = colour.sd_to_XYZ(colour.colorimetry.sd_ones(power.shape), observer, power)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it says that it aligns the tables
            xyz = [colour.sd_to_XYZ(spectrum, observer, power) for spectrum in spectra.values()]
        return np.array([colour.XYZ_to_Lab(value / white[1], colour.XYZ_to_xy(white)) for value in xyz])

    values = np.array([np.interp(WAVELENGTHS, spectrum.wavelengths, spectrum.values) for spectrum in spectra.values()])
    return list(spectra), values, {light: cielab(light) for light in ("D50", "D65", "A", "C", "FL2")}


def cgats(columns, rows, header="", decimal=".", separator="\t"):
    """Write a CGATS.17 file. rows: (name, values)."""
    lines = [
        "CGATS.17",
        'ORIGINATOR "invented"',
        header,
        f"NUMBER_OF_FIELDS {len(columns) + 1}",
        "BEGIN_DATA_FORMAT",
        separator.join(["SAMPLE_NAME", *columns]),
        "END_DATA_FORMAT",
        f"NUMBER_OF_SETS {len(rows)}",
        "BEGIN_DATA",
    ]
    lines += [separator.join([f'"{name}"', *(f"{v:.5f}".replace(".", decimal) for v in vs)]) for name, vs in rows]
    return "\n".join([*lines, "END_DATA"]).encode()


def cxf(objects, specification="", prefix="cc:"):
    """Write a CxF3 file. objects: (name, colour values as XML without prefixes)."""
    inside = "".join(
        f'<Object ObjectType="Standard" Name="{name}" Id="{k}"><ColorValues>{values}</ColorValues></Object>'
        for k, (name, values) in enumerate(objects)
    )
    plain = (
        f"<CxF><Resources><ObjectCollection>{inside}</ObjectCollection><ColorSpecificationCollection>"
        f"{specification}</ColorSpecificationCollection></Resources></CxF>"
    )
    prefixed = plain.replace("</", f"</{prefix}").replace("<", f"<{prefix}").replace(f"<{prefix}/", "</")
    space = 'xmlns:cc="http://colorexchangeformat.com/CxF3-core"'
    return ('<?xml version="1.0" encoding="UTF-8"?>' + prefixed.replace("<cc:CxF>", f"<cc:CxF {space}>", 1)).encode()


def specification(light="D50", observer="2_Degree", ranges=""):
    return (
        f'<ColorSpecification Id="S"><TristimulusSpec><Illuminant>{light}</Illuminant><Observer>{observer}</Observer>'
        f"</TristimulusSpec><MeasurementSpec>{ranges}</MeasurementSpec></ColorSpecification>"
    )


def labs(samples):
    return np.array([sample.reading.lab for sample in samples])


def spectral_files(names, values):
    """One file a format of the same spectra."""
    nm = [f"SPECTRAL_NM{w}" for w in WAVELENGTHS]
    yield "cgats", cgats(nm, list(zip(names, values, strict=True)))
    yield "cgats nmXXX percent", cgats([f"nm{w}" for w in WAVELENGTHS], list(zip(names, values * 100, strict=True)))
    pairs = [column for _ in WAVELENGTHS for column in ("SPECTRAL_NM", "SPECTRAL_PCT")]
    both = np.stack([np.broadcast_to(WAVELENGTHS, values.shape), values * 100], axis=-1).reshape(len(values), -1)
    yield "cgats pairs, decimal commas", cgats(pairs, list(zip(names, both, strict=True)), decimal=",", separator=" ")
    heading = "name;" + ";".join(f"{w} nm" for w in WAVELENGTHS)
    rows = [
        name + ";" + ";".join(f"{v:.5f}".replace(".", ",") for v in vs) for name, vs in zip(names, values, strict=True)
    ]
    yield "csv", "\n".join([heading, *rows]).encode("utf-16")
    objects = [
        (
            name,
            '<ReflectanceSpectrum ColorSpecification="S" StartWL="380">'
            + " ".join(f"{v:.5f}" for v in vs)
            + "</ReflectanceSpectrum>",
        )
        for name, vs in zip(names, values, strict=True)
    ]
    yield "cxf", cxf(objects, specification(ranges='<WavelengthRange StartWL="380" Increment="10"/>'))


def test_published_spectra_written_in_every_format_read_back_as_their_published_colour(chart):
    """Source: BabelColor Average, by colour-science's own ASTM E308 integration under CIE D50."""
    names, values, truth = chart
    for kind, data in spectral_files(names, values):
        samples = read_targets(data)
        assert [sample.name for sample in samples] == names, kind
        assert np.max(delta_e_2000(labs(samples), truth["D50"])) < 0.1, kind
        assert "change of light" not in [term.name for term in samples[0].reading.budget]


@pytest.mark.parametrize("light", ["D65", "A", "C", "FL2"])
def test_other_lights_are_converted_and_the_interval_covers_what_that_misses(chart, light):
    """Chart patches (not the surfaces that the uncertainty is drawn from): 95 % ellipsoids hold the truth."""
    names, _, truth = chart
    data = cgats(
        ["LAB_L", "LAB_A", "LAB_B"], list(zip(names, truth[light], strict=True)), f'ILLUMINANT "{light}"\nOBSERVER "2"'
    )
    samples = read_targets(data)
    off = labs(samples) - truth["D50"]
    conversion = np.array([sample.reading.budget[1].covariance for sample in samples])
    distance = np.einsum("mi,mij,mj->m", off, np.linalg.inv(conversion), off)
    assert np.mean(distance < 7.815) >= 0.85
    kept_as_they_are = np.mean(delta_e_2000(truth[light], truth["D50"]))
    assert np.mean(delta_e_2000(labs(samples), truth["D50"])) < 0.6 * kept_as_they_are
    assert "light-converted" in [caveat.code for caveat in samples[0].reading.caveats]


def test_xyz_and_cielab_of_one_colour_agree(chart):
    names, _, truth = chart
    colour = colour_library()
    xyz = [100 * colour.Lab_to_XYZ(lab, np.array([0.3127, 0.3290])) for lab in truth["D65"]]
    heading = 'WEIGHTING_FUNCTION "ILLUMINANT, D65"\nWEIGHTING_FUNCTION "OBSERVER, 2 degree"'
    from_xyz = read_targets(cgats(["XYZ_X", "XYZ_Y", "XYZ_Z"], list(zip(names, xyz, strict=True)), heading))
    from_lab = [lab_reading(lab, illuminant="D65") for lab in truth["D65"]]
    assert np.max(delta_e_2000(labs(from_xyz), [reading.lab for reading in from_lab])) < 0.1


def test_a_grey_is_the_same_grey_under_every_light():
    """What reflects all wavelengths alike has a* and b* of 0 under each (ISO/CIE 11664-4)."""
    for light in ("D65", "A", "C", "FL11"):
        for observer in ("2", "10"):
            assert lab_reading((50, 0, 0), light, observer).lab == pytest.approx([50, 0, 0], abs=1e-6)


def test_values_for_ten_degrees_are_converted_and_the_spectrum_is_taken_when_it_is_there(chart):
    names, values, truth = chart
    row = [(names[0], [38, 14, 22])]
    for written in ("10", "10_Degree", "CIE 1964"):
        data = cgats(["LAB_L", "LAB_A", "LAB_B"], row, f'ILLUMINANT "D65"\nOBSERVER "{written}"')
        (sample,) = read_targets(data)
        assert sample.given_as == "CIELAB, D65, 10 degrees"
        assert sample.reading.lab == pytest.approx(lab_reading((38, 14, 22), "D65", "10").lab)
        assert "light-converted" in [caveat.code for caveat in sample.reading.caveats]
    columns = ["LAB_L", "LAB_A", "LAB_B", *(f"SPECTRAL_NM{w}" for w in WAVELENGTHS)]
    both = read_targets(cgats(columns, [(names[0], [38, 14, 22, *values[0]])], 'ILLUMINANT "D65"\nOBSERVER "10"'))
    assert delta_e_2000(both[0].reading.lab, truth["D50"][0]) < 0.1


def test_cxf_values_follow_their_specifications(chart):
    """CIELAB, XYZ and CIELCh objects, the namespace's prefix or none."""
    lab = "<ColorCIELab ColorSpecification='S'><L>38</L><A>14</A><B>22</B></ColorCIELab>"
    polar = "<ColorCIELCh ColorSpecification='S'><L>38</L><C>26.0768</C><H>57.5288</H></ColorCIELCh>"
    xyz = "<ColorCIEXYZ ColorSpecification='S'><X>11.7</X><Y>10.1</Y><Z>4.4</Z></ColorCIEXYZ>"
    samples = read_targets(cxf([("one", lab), ("two", polar), ("three", xyz)], specification()))
    assert [sample.name for sample in samples] == ["one", "two", "three"]
    assert samples[0].reading.lab == pytest.approx([38, 14, 22])
    assert samples[1].reading.lab == pytest.approx([38, 14, 22], abs=0.01)
    assert samples[0].given_as == "CIELAB, D50, 2 degrees"
    assert read_targets(cxf([("one", lab)], specification(), prefix=""))[0].reading.lab[0] == 38
    (other,) = read_targets(cxf([("one", lab)], specification(light="D65", observer="10_Degree")))
    assert other.reading.lab == pytest.approx(lab_reading((38, 14, 22), "D65", "10").lab)


def test_of_several_values_of_one_object_the_nearest_to_d50_is_taken():
    values = "".join(
        f"<ColorCIELab ColorSpecification='{k}'><L>{lightness}</L><A>14</A><B>22</B></ColorCIELab>"
        for k, lightness in (("T", 40), ("S", 38))
    )
    other = specification("D65", "10_Degree").replace('"S"', '"T"')
    assert read_targets(cxf([("one", values)], specification() + other))[0].reading.lab[0] == 38


def test_a_cgats_file_with_several_data_sets_gives_them_all_each_under_its_own_light():
    first = cgats(["LAB_L", "LAB_A", "LAB_B"], [("brown", [38, 14, 22])], 'ILLUMINANT "D50"\nOBSERVER "2"')
    second = cgats(["LAB_L", "LAB_A", "LAB_B"], [("green", [50, -20, 5]), ("grey", [50, 0, 0])], 'ILLUMINANT "D65"')
    samples = read_targets(first + b"\n" + second)
    assert [sample.name for sample in samples] == ["brown", "green", "grey"]
    assert [sample.given_as.split(", ")[1] for sample in samples] == ["D50", "D65", "D65"]


def test_a_cgats_row_may_run_over_lines_and_carry_comments():
    text = """CGATS.17
    BEGIN_DATA_FORMAT
    SAMPLE_ID LAB_L LAB_A LAB_B   # a comment
    END_DATA_FORMAT
    NUMBER_OF_SETS 2
    BEGIN_DATA
    "plate # 1" 38,5
       14.0 22.0
    2 50 0
       0
    END_DATA
    """
    samples = read_targets(text.encode())
    assert samples[0].name == "plate # 1"
    assert labs(samples) == pytest.approx(np.array([[38.5, 14, 22], [50, 0, 0]]))
    assert "light-not-stated" in [caveat.code for caveat in samples[0].reading.caveats]


def test_csv_in_everyday_shapes():
    german = "Name;L*;a*;b*;Illuminant;Observer\nBüste;38,5;14,2;22,1;D50/2;\n".encode("cp1252")
    assert read_targets(german)[0].reading.lab == pytest.approx([38.5, 14.2, 22.1])
    assert read_targets(german)[0].name == "Büste"
    commented = b"\xef\xbb\xbf# exported by hand, D50/2\nL,a,b,name,standard uncertainty\n38,14,22,bust,0.7\n50,0,0,,\n"
    bust, other = read_targets(commented)
    assert np.diag(bust.reading.covariance) == pytest.approx(0.49)
    assert np.diag(other.reading.covariance) == pytest.approx(0.09)
    assert other.name == "sample 2"
    notation = read_targets(b"name\tmunsell\nbust\t5YR 3/4\n")[0]
    assert notation.reading.source == "typed"


@pytest.mark.parametrize("scale", [1.0, 100.0])
@pytest.mark.parametrize(
    "heading", ["wavelength,reflectance\n", "Wavelength (nm),R\n", "λ [nm],Reflection\n", "Data,Value\n", ""]
)
def test_two_columns_of_wavelength_and_reflectance_are_a_spectrum(chart, scale, heading):
    """The published spectra of the chart, one at a time, down the page and up it."""
    _, values, truth = chart
    for row, order in ((0, 1), (7, -1)):
        pairs = list(zip(WAVELENGTHS, values[row], strict=True))[::order]
        text = heading + "".join(f"{at},{scale * value:.6f}\n" for at, value in pairs)
        (sample,) = read_targets(text.encode())
        assert sample.reading.lab == pytest.approx(truth["D50"][row], abs=0.02)
        assert sample.name == "sample 1"
        assert sample.given_as.startswith("spectrum, ")


def test_several_columns_beside_the_wavelengths_are_named_by_their_headings(chart):
    names, values, truth = chart
    heading = ";".join(["Wavelength_nm", *names[:3]])
    body = [
        ";".join(f"{cell:.6f}".replace(".", ",") for cell in (at, *values[:3, k])) for k, at in enumerate(WAVELENGTHS)
    ]
    samples = read_targets("\n".join([heading, *body]).encode())
    assert [sample.name for sample in samples] == list(names[:3])
    assert labs(samples) == pytest.approx(truth["D50"][:3], abs=0.02)


def test_a_dark_finish_in_percent_is_read_as_such_when_its_heading_says_so():
    body = "".join(f"{at},1.5\n" for at in range(380, 731, 10))
    (sample,) = read_targets(f"nm,%R\n{body}".encode())
    assert sample.reading.lab[0] == pytest.approx(116 * 0.015 ** (1 / 3) - 16)  # CIE 15:2018, 8.2.1
    assert read_targets(f"nm,R\n{body}".encode())[0].reading.lab == pytest.approx(sample.reading.lab)
    with pytest.raises(InstrumentFileError, match="could be 1 or 100"):
        read_targets(f"nm,R\n{body.replace('1.5', '0.9')}".encode())


@pytest.mark.parametrize("heading", ["Probe", "Sample", "Specimen", "PLATE", "Sample ID", "label"])
def test_a_column_that_names_the_rows_is_known_by_what_it_is_called(heading):
    assert read_targets(f"{heading},L,a,b\nbust,38,14,22\n".encode())[0].name == "bust"


def test_of_two_columns_that_could_name_the_rows_the_first_does():
    (sample,) = read_targets(b"Sample,Finish,L,a,b\n12,bust,38,14,22\n")
    assert sample.name == "12"


def test_the_spread_that_a_file_states_adds_to_an_instruments_usual_uncertainty():
    columns = ["LAB_L", "LAB_A", "LAB_B", "STDEV_L", "STDEV_A", "STDEV_B"]
    stated = 'ILLUMINANT "D50"\nOBSERVER "2"'
    reading = read_targets(cgats(columns, [("one", [38, 14, 22, 0.4, 0.0, 1.2])], stated))[0].reading
    assert np.diag(reading.covariance) == pytest.approx([0.25, 0.09, 1.53])


def test_cielab_that_is_not_what_the_spectrum_gives_is_noticed(chart):
    """A file whose reflectances are percent below 2, read as factors, or whose CIELAB is of another sample."""
    names, values, truth = chart
    columns = ["LAB_L", "LAB_A", "LAB_B", *(f"SPECTRAL_NM{w}" for w in WAVELENGTHS)]
    heading = 'ILLUMINANT "D50"\nOBSERVER "2"'
    right = read_targets(cgats(columns, [(names[0], [*truth["D50"][0], *values[0]])], heading))[0]
    wrong = read_targets(cgats(columns, [(names[0], [*truth["D50"][1], *values[0]])], heading))[0]
    assert "file-contradicts-itself" not in [caveat.code for caveat in right.reading.caveats]
    assert "file-contradicts-itself" in [caveat.code for caveat in wrong.reading.caveats]


def test_gloss_that_the_instrument_took_in_is_said():
    data = cgats(["LAB_L", "LAB_A", "LAB_B"], [("one", [38, 14, 22])], 'MEASUREMENT_GEOMETRY "di:8, SPIN"')
    assert "gloss-included" in [caveat.code for caveat in read_targets(data)[0].reading.caveats]


LAUGHS = (
    b"""<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]><CxF>&b;</CxF>"""
)
OUTSIDE = b"""<!DOCTYPE CxF [<!ENTITY x SYSTEM "file:///etc/passwd">]><CxF>&x;</CxF>"""


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\x89PNG\r\n\x1a\n\0\0", "none of them"),
        (b"hello", "heading row"),
        (b"L,a,b\n", "holds none"),
        (b"L,a,b\n38,14\n", "has none of them"),
        (b"L,a,b\n38,14,twenty\n", "number instead of 'twenty'"),
        (b"L,a,b\n38,5,14,2,22,1\n", "more cells"),
        (b"L,a,b,l*\n38,14,22,38\n", "twice"),
        (b"L,a,b\n380,14,22\n", "L\\* from 0 to 100"),
        (b"L,a,b,illuminant\n38,14,22,candle\n", "CIE illuminant"),
        (b"L,a,b,observer\n38,14,22,somebody\n", "2-degree observer"),
        (b"L,a,b,u\n38,14,22,-1\n", "standard uncertainties"),
        (b"name,420,440,460\nx,0.1,0.1,0.1\n", "400 to 680"),
        (b"name,400,450,700\nx,0.1,0.1,0.1\n", "every 20 nm"),
        (b"name,munsell\nx,brownish\n", "Munsell notation"),
        (b"1,0.2\n2,0.3\n3,0.2\n", "can't be told which is which"),
        (b"12.1,3.4\n14.2,2.8\n", "can't be told which is which"),
        (b"wavelength,reflectance\n", "in nm"),
        (b"wavelength (\xc2\xb5m),reflectance\n0.4,0.1\n0.7,0.2\n", "in nm"),
        (b"wavelength,reflectance\n400,dark\n700,0.2\n", "number instead of 'dark' at 400 nm"),
        (b"wavelength,absorbance\n400,0.1\n700,0.2\n", "Export reflectance"),
        (b"wavelength,reflectance\n400,\n700,\n", "has none"),
        (b"400,0.2\n450,0.2\n700,0.2\n", "every 20 nm"),
        (b"500,0.2\n510,0.2\n520,0.2\n", "400 to 680"),
        (LAUGHS, "document type"),
        (OUTSIDE, "document type"),
        (b"<CxF><a></CxF>", "XML is broken"),
        (b"<CxF>" * 100, "nested too deeply"),
        (b"<CxF/>", "no object"),
        (b"CGATS.17\nBEGIN_DATA\n1 2 3\nEND_DATA\n", "names no columns"),
        (b"CGATS.17\nBEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n1 2 3\n", "cut short"),
        (b"BEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n1 2\nEND_DATA", "do not fill"),
        (
            b"BEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nNUMBER_OF_SETS 2\nBEGIN_DATA\n1 2 3\nEND_DATA",
            "declares 2",
        ),
    ],
)
def test_a_file_that_cannot_be_used_says_what_to_do(data, words):
    with pytest.raises(InstrumentFileError, match=words) as refusal:
        read_targets(data, "export.txt")
    assert str(refusal.value).startswith("export.txt")


def test_too_much_is_refused_before_it_is_taken_apart(tmp_path):
    with pytest.raises(InstrumentFileError, match="fewer samples"):
        read_targets(b"L,a,b\n" + b"38,14,22\n" * 6_000)
    with pytest.raises(InstrumentFileError, match="fewer samples"):
        read_targets(b"nm" + b",R" * 6_000 + b"\n" + b"400" + b",1" * 6_000)
    huge = tmp_path / "huge.csv"
    with huge.open("wb") as file:
        file.truncate(20_000_000)
    with pytest.raises(InstrumentFileError, match="16 MB"):
        read_targets(huge)


def test_files_are_read_from_disk_and_missing_ones_are_named(tmp_path):
    file = tmp_path / "plates.csv"
    file.write_bytes(b"L,a,b\n38,14,22\n")
    assert read_targets(str(file))[0].reading.lab == pytest.approx([38, 14, 22])
    for missing in (tmp_path / "none.csv", tmp_path, "bad\0name"):
        with pytest.raises(MatcherError, match=r"check the path|name a file|copy it"):
            read_targets(missing)
