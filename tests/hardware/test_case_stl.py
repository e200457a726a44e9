"""The STL files, read back by a mesh library that had no part in making them (trimesh)."""

import math

import pytest

pytest.importorskip("manifold3d", reason="the case is computed with manifold3d")
pytest.importorskip("trimesh", reason="the STL files are checked with trimesh")

import trimesh

from hardware.case.__main__ import main
from hardware.case.build import Case
from hardware.case.stl import stl_bytes

NAMES = {"shell", "back", "diffuser", "lamp-bar"}


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stl")
    assert main(["stl", "--out", str(folder)]) == 0
    return {path.stem: path for path in folder.iterdir()}


def test_command_writes_every_printed_part_and_nothing_else(files):
    assert set(files) == NAMES
    assert all(path.suffix == ".stl" for path in files.values())


@pytest.mark.parametrize("name", sorted(NAMES))
def test_mesh_is_sound(files, name):
    mesh = trimesh.load_mesh(files[name])
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.is_volume
    assert mesh.body_count == 1
    assert mesh.bounds[0][2] == pytest.approx(0, abs=1e-3)
    solid = Case.of().printed[name.replace("-", " ")]
    assert mesh.volume == pytest.approx(solid.volume(), rel=1e-4)
    assert all(mesh.extents <= [220, 220, 250])


@pytest.mark.parametrize("table", [{"button": "button_large"}, {"display": "display_large"}])
def test_other_builds_are_sound_too(table):
    import io

    case = Case.of(**table)
    for name in case.printed:
        data = io.BytesIO(stl_bytes(case.on_bed(name)))
        assert trimesh.load_mesh(data, file_type="stl").is_volume, name


@pytest.mark.parametrize("name", sorted(NAMES))
def test_next_to_nothing_hangs_over_by_trimesh_normals(files, name):
    """Area that looks down by more than 45 degrees, off the bed: only the two bridged doors."""
    mesh = trimesh.load_mesh(files[name])
    steep = mesh.face_normals[:, 2] < -math.sin(math.radians(45)) - 0.02
    off_bed = mesh.triangles[:, :, 2].max(axis=1) > 0.05
    doors = 3.0 * (8.0 + 8.8) if name == "shell" else 0
    assert mesh.area_faces[steep & off_bed].sum() <= doors + 3


def test_the_same_sizes_give_the_same_files(files, tmp_path):
    assert main(["stl", "--out", str(tmp_path)]) == 0
    for name, path in files.items():
        assert path.read_bytes() == (tmp_path / path.name).read_bytes(), name


def test_unknown_table_is_refused_in_words(capsys):
    assert main(["check", "--button", "button_of_gold"]) == 2
    assert "[size.button_of_gold]" in capsys.readouterr().err
