"""Pattern files: what is wrong in them is said with file, line, key and value."""

import jsonschema
import pytest
import yaml

from drawn_lines import lines_of
from vcarve.errors import InputError
from vcarve.job.bench import names
from vcarve.job.record import schema_of
from vcarve.pattern.model import Pattern, pattern

GOOD = """\
key: own-leaf
name: My leaf
lattice: {kind: triangular, a1: [1, 0], a2: [1/2, sqrt(3)/2]}
group: p6m
unit: side of a triangle
pitch-range: [10 mm, 2 in]
operations:
  - {rotate: 6, about: [0, 0]}
  - {mirror: x-axis}
lines:
  - {from: [0, 0], to: [1/2, 0]}
  - {role: leaf, from: [0, 0], to: [1/2, sqrt(3)/6]}
"""


def problems(tmp_path, text):
    """Return the problems of a file as sentences, its name shortened."""
    path = tmp_path / "own.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        pattern(str(path))
    return [str(problem).replace(str(path), "own.yaml") for problem in caught.value.problems]


def test_good_file_is_the_hemp_leaf(tmp_path):
    """A file of the user's own gives the same lines as the catalogue's."""
    path = tmp_path / "own.yaml"
    path.write_text(GOOD, encoding="utf-8")
    made = pattern(str(path))

    assert lines_of(made) == lines_of(pattern("asanoha"))
    assert made.pitch_mm == pytest.approx((10.0, 50.8))


def test_center_is_taken_for_centre(tmp_path):
    """Either spelling of an arc's key gives the same lines."""
    arc = "{from: [0, 0], to: [1/2, 0]}"
    made = []
    for word in ("centre", "center"):
        path = tmp_path / f"{word}.yaml"
        path.write_text(GOOD.replace(arc, f"{{{word}: [0, 0], radius: 1/2, from-deg: 0, to-deg: 60}}"))
        made.append(lines_of(pattern(str(path))))

    assert made[0] == made[1]


@pytest.mark.parametrize(
    ("old", "new", "want"),
    [
        (
            "[1/2, 0]",
            "[1/2, x]",
            "own.yaml:11: lines.0.to.1: 'x': x is not understood here; write a number or",
        ),
        (
            "[1/2, 0]",
            "[0, 0]",
            "own.yaml:11: lines.0: this line has no length: its two ends are the same point",
        ),
        ("[1/2, 0]", "[50, 0]", "own.yaml:11: lines.0: this line reaches (50, 0), far outside the unit cell"),
        (
            "{from: [0, 0], to: [1/2, 0]}",
            "{from: [0, 0]}",
            "own.yaml:11: lines.0: give from and to for a straight line, path for a run of them, or centre",
        ),
        (
            "{from: [0, 0], to: [1/2, 0]}",
            "{centre: [0, 0], radius: -1, from-deg: 0, to-deg: 90}",
            "own.yaml:11: lines.0.radius: '-1': the radius of an arc must be more than 0",
        ),
        (
            "{from: [0, 0], to: [1/2, 0]}",
            "{centre: [0, 0], radius: 1, from-deg: 90, to-deg: 0}",
            "own.yaml:11: lines.0.to-deg: '0': an arc runs counter-clockwise: to-deg must be above from-deg, by 360 at most",
        ),
        (
            "{from: [0, 0], to",
            "{form: [0, 0], to",
            "own.yaml:11: lines.0.form: unknown key; did you mean 'from'?",
        ),
        (
            "a2: [1/2, sqrt(3)/2]",
            "a2: [1/2, 0.866]",
            "own.yaml:3: lattice.kind: 'triangular': a1 and a2 make a rhombic lattice; write that, or correct",
        ),
        (
            "a2: [1/2, sqrt(3)/2]",
            "a2: [2, 0]",
            "own.yaml:3: lattice.a2: a1 and a2 must point in different directions; these span no unit cell",
        ),
        (
            "{kind: triangular, a1: [1, 0], a2: [1/2, sqrt(3)/2]}",
            "{kind: square, a1: [1, 0], a2: [0, 1]}",
            "own.yaml:8: operations.0: a 6-fold centre is a symmetry this square lattice cannot have: it does not",
        ),
        (
            "rotate: 6",
            "rotate: 5",
            "own.yaml:8: operations.0.rotate: '5': no lattice has a 5-fold centre; 2, 3, 4 and 6 are",
        ),
        (
            "mirror: x-axis",
            "glide: [[0, 0], [1/3, 0]]",
            "own.yaml:7: operations: these symmetries together repeat",
        ),
        (
            "mirror: x-axis",
            "mirror: [[1, 1], [1, 1]]",
            "own.yaml:9: operations.1: a mirror needs two different points on its line",
        ),
        (
            "mirror: x-axis",
            "glide: [[0, 0], [0, 1.0e-200]]",
            "own.yaml:9: operations.1: a mirror needs two different points on its line",
        ),
        (
            "mirror: x-axis",
            "mirror: z-axis",
            "own.yaml:9: operations.1.mirror: 'z-axis': write x-axis, y-axis, or two",
        ),
        (
            "role: leaf",
            "role: leef",
            "own.yaml:12: lines.1.role: 'leef': one of ground, leaf is wanted; did you mean 'leaf'?",
        ),
        (
            "{from: [0, 0], to: [1/2, 0]}",
            "{path: [[0, 0]]}",
            "own.yaml:11: lines.0.path: a path needs at least two",
        ),
        ("{mirror: x-axis}", "{}", "own.yaml:9: operations.1: give exactly one of rotate, mirror and glide"),
        (
            "{mirror: x-axis}",
            "{mirror: x-axis, about: [0, 0]}",
            "own.yaml:9: operations.1.about: about belongs to rotate",
        ),
        ("group: p6m", "group: p4m", "own.yaml:4: group: 'p4m': the group p4m needs a square lattice"),
        ("group: p6m", "group: p3", "own.yaml:4: group: 'p3': the operations turn the pattern by a step"),
        (
            "group: p6m",
            "group: p6",
            "own.yaml:4: group: 'p6': the operations mirror the pattern, but p6 has no",
        ),
        (
            "group: p6m",
            "group: p9",
            "own.yaml:4: group: 'p9': one of p1, p2, pm, pg, cm",
        ),
        (
            "[10 mm, 2 in]",
            "[3 in, 10 mm]",
            "own.yaml:6: pitch-range: the pitch range must rise: smallest pitch first",
        ),
        ("[10 mm, 2 in]", "[0 mm, 10 mm]", "own.yaml:6: pitch-range.0: '0 mm': must be more than 0 mm"),
        (
            "key: own-leaf",
            "key: Own Leaf!",
            "own.yaml:1: key: 'Own Leaf!': write lower-case letters, digits and",
        ),
        ("unit: side of a triangle\n", "", "own.yaml: unit: this key is missing"),
        (
            "kind: triangular, ",
            "",
            "own.yaml:3: lattice.kind: this key is missing: the lattice's shape; one of square, triangular, rhombic, ",
        ),
        ("name: My leaf", "name: ", "own.yaml:2: name: no value given; a single text is wanted"),
    ],
)
def test_wrong_value(tmp_path, old, new, want):
    """Each wrong value is answered with its place and a sentence a maker understands."""
    assert old in GOOD

    said = problems(tmp_path, GOOD.replace(old, new, 1))

    assert len(said) == 1
    assert said[0].startswith(want)


def test_no_lines(tmp_path):
    """A pattern without lines is refused."""
    said = problems(tmp_path, GOOD.split("lines:")[0] + "lines: []\n")

    assert said == ["own.yaml:10: lines: the list needs at least one item"]


def test_every_problem_at_once(tmp_path):
    """All wrong values are listed together."""
    text = GOOD.replace("[1/2, 0]", "[1/2, y]").replace("sqrt(3)/6", "sqrt(-3)").replace("10 mm", "ten")

    assert len(problems(tmp_path, text)) == 3


def test_missing_and_unreadable_files(tmp_path):
    """A file that is not there, not UTF-8 or not YAML is answered with a problem."""
    with pytest.raises(InputError, match="cannot be read"):
        pattern("none.yaml", str(tmp_path))
    (tmp_path / "bytes.yaml").write_bytes(b"key: \xff\xfe")
    with pytest.raises(InputError, match="UTF-8"):
        pattern("bytes.yaml", str(tmp_path))
    assert "own.yaml:3" in problems(tmp_path, GOOD.replace("{kind: triangular", "{kind: {triangular"))[0]


def test_aliases_are_refused(tmp_path):
    """Anchors and aliases, with which a small file could grow without end, are refused."""
    said = problems(tmp_path, GOOD.replace("a1: [1, 0]", "a1: &a [1, 0]").replace("to: [1/2, 0]", "to: *a"))

    assert any("anchors are not taken" in sentence for sentence in said)


def test_catalogue_obeys_the_schema():
    """Every file of the catalogue obeys the published JSON Schema, which refuses an unknown key."""
    from importlib.resources import files

    schema = schema_of(Pattern, "Mizo pattern file")
    jsonschema.Draft202012Validator.check_schema(schema)
    check = jsonschema.Draft202012Validator(schema)
    for name in names("pattern"):
        tree = yaml.safe_load((files("vcarve.pattern") / "data" / f"{name}.yaml").read_text(encoding="utf-8"))
        check.validate(tree)
        assert not check.is_valid({**tree, "colour": "red"})
        assert not check.is_valid({**tree, "group": "p5"})
