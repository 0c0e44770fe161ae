"""Files of solids, read back by other libraries: STL by trimesh, 3MF by the consortium's own reader."""

from __future__ import annotations

import io
from pathlib import Path

import lib3mf
import numpy as np
import pytest
import trimesh

from vcarve.job.records import load_job
from vcarve.layout.stages import lay_out
from vcarve.solid.files import solids_file
from vcarve.solid.model import Part, Solid
from vcarve.solid.piece import carved_solid

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def coaster() -> Solid:
    """Return the solid of the coaster among the samples."""
    return carved_solid(lay_out(load_job(SAMPLES / "coaster.yaml")))


def read_3mf(data: bytes) -> lib3mf.Model:
    """Return the model in a file, which the reader must take without a warning."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(data)

    assert reader.GetWarningCount() == 0
    return model


def test_stl_is_closed_for_another_library(coaster: Solid) -> None:
    """In single precision it is still closed and turned the right way out, with the volume of the solid."""
    data = solids_file([Part(name="a", colour="#aabbcc", solid=coaster)], ".stl", "solid é")
    read = trimesh.load_mesh(io.BytesIO(data), file_type="stl")

    assert read.is_watertight
    assert read.is_winding_consistent
    assert read.volume == pytest.approx(coaster.volume_mm3, rel=1e-6)
    assert len(read.faces) == len(coaster.triangle)
    assert not data.startswith(b"solid")


def test_corners_in_one_place_stay_two() -> None:
    """Two bodies that touch in a corner are closed each by itself also for a reader that knows corners by their place."""
    corner = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], float)
    triangle = np.array([(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)])
    two = Solid(corner_mm=np.vstack([corner, -corner]), triangle=np.vstack([triangle, triangle[:, ::-1] + 4]))
    data = solids_file([Part(name="a", colour="#aabbcc", solid=two)], ".stl", "t")
    read = trimesh.load_mesh(io.BytesIO(data), file_type="stl")

    assert two.closed
    assert len(read.vertices) == 8
    assert read.is_watertight
    assert read.volume == pytest.approx(2.0 / 6.0)


def test_3mf_says_units_colour_and_title(coaster: Solid) -> None:
    """The consortium's reader takes it in its strict mode, and finds millimetres, the tint, the title and a closed body."""
    data = solids_file([Part(name='<lid> & "co"', colour="#d8a07a", solid=coaster)], ".3mf", "a < b & c")
    model = read_3mf(data)
    (mesh,) = _meshes(model)
    (material,) = _materials(model)
    colour = material.GetDisplayColor(material.GetAllPropertyIDs()[0])
    corners = np.array([vertex.Coordinates for vertex in mesh.GetVertices()])

    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    assert mesh.IsManifoldAndOriented()
    assert mesh.GetName() == '<lid> & "co"'
    assert (colour.Red, colour.Green, colour.Blue, colour.Alpha) == (0xD8, 0xA0, 0x7A, 0xFF)
    assert model.GetMetaDataGroup().GetMetaDataByKey("", "Title").GetValue() == "a < b & c"
    np.testing.assert_allclose(corners, coaster.corner_mm, atol=1e-5)


def _meshes(model: lib3mf.Model) -> list[lib3mf.MeshObject]:
    items, found = model.GetMeshObjects(), []
    while items.MoveNext():
        found.append(items.GetCurrentMeshObject())
    return found


def _materials(model: lib3mf.Model) -> list[lib3mf.BaseMaterialGroup]:
    items, found = model.GetBaseMaterialGroups(), []
    while items.MoveNext():
        found.append(items.GetCurrentBaseMaterialGroup())
    return found


def test_an_assembly_has_each_part_in_its_place(coaster: Solid) -> None:
    """Two parts keep names and colours of their own; the second, turned a quarter and moved, is where that puts its corners."""
    one = Part(name="one", colour="#ffffff", solid=coaster)
    other = Part(name="other", colour="#101010", solid=coaster, at_mm=(100.0, 5.0, 2.0), turn_deg=90.0)
    model = read_3mf(solids_file([one, other], ".3mf", "two"))
    items, places = model.GetBuildItems(), []
    while items.MoveNext():
        fields = np.array(items.GetCurrent().GetObjectTransform().Fields)
        places.append(fields.T if fields.shape == (3, 4) else fields)
    stl = trimesh.load_mesh(io.BytesIO(solids_file([one, other], ".stl", "two")), file_type="stl")
    x, y, z = coaster.corner_mm.T
    moved = np.column_stack([100.0 - y, 5.0 + x, 2.0 + z])

    assert [mesh.GetName() for mesh in _meshes(model)] == ["one", "other"]
    np.testing.assert_allclose(
        np.column_stack([coaster.corner_mm, np.ones(len(x))]) @ places[1], moved, atol=1e-5
    )
    np.testing.assert_allclose(stl.bounds[1], moved.max(axis=0), atol=1e-4)
    assert stl.volume == pytest.approx(2.0 * coaster.volume_mm3, rel=1e-6)


@pytest.mark.parametrize("ending", [".stl", ".3mf"])
def test_the_same_solid_gives_the_same_bytes(coaster: Solid, ending: str) -> None:
    """Nothing of the hour or of chance is in a file."""
    again = carved_solid(lay_out(load_job(SAMPLES / "coaster.yaml")))
    first, second = (
        solids_file([Part(name="a", colour="#aabbcc", solid=one)], ending, "t") for one in (coaster, again)
    )

    assert first == second
