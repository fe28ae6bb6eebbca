"""Formula text as MathML."""

from xml.etree import ElementTree

import pytest

from calcs import get, names, run
from calcs.typeset import mathml

SPACE = "{http://www.w3.org/1998/Math/MathML}"


def tree(text):
    return ElementTree.fromstring(mathml(text))


def words(element):
    return "".join(element.itertext())


def test_a_quotient_becomes_a_fraction_without_its_brackets():
    fraction = tree("δ = 100·(U − U_n)/U_n").find(f".//{SPACE}mfrac")
    assert [words(part) for part in fraction] == ["U−Un", "Un"]


def test_indices_and_powers():
    root = tree("β = U_ab⁴/R^(a − b)")
    assert [words(part) for part in root.find(f".//{SPACE}msub")] == ["U", "ab"]
    assert [words(part) for part in root.find(f".//{SPACE}msup")] == ["Uab", "4"]
    assert "a−b" in [words(one[1]) for one in root.iter(f"{SPACE}msup")]


def test_a_root_covers_its_radicand():
    assert words(tree("u = √(a² + b²)").find(f".//{SPACE}msqrt")) == "a2+b2"


def test_units_are_set_upright_after_their_number():
    root = tree("6·(2.25 V + (−0.003 V/°C)·(10 °C − 25 °C))")
    assert [one.text for one in root.iter(f"{SPACE}mtext")] == ["V", "V/°C", "°C", "°C"]
    assert [one.text for one in root.iter(f"{SPACE}mn")] == ["6", "2.25", "0.003", "10", "25"]


def test_prose_stays_text_and_is_escaped():
    root = tree("fits <b> every & all")
    assert root[0].tag == f"{SPACE}mtext"
    assert words(root) == "fits <b> every & all"


@pytest.mark.parametrize("name", names())
def test_every_formula_of_the_catalogue_is_well_formed(name):
    for text in get(name).formulas():
        root = tree(text)
        assert root.tag == f"{SPACE}math"
        assert words(root).strip()


def test_working_with_numbers_is_set_as_a_formula():
    result = run("voltage_unbalance", {"ab": 462, "bc": 463, "ca": 455})
    for line in result.working[:-2]:
        assert tree(line.substituted).find(f".//{SPACE}mtext") is None or "V" in words(tree(line.substituted))
        assert tree(line.substituted)[0].tag != f"{SPACE}mtext"
