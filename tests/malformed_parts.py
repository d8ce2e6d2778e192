"""Bad input for parts, meshes, kits and nodes: MALFORMED is a list of (name, function(folder) -> None).

Every function takes an empty folder (a pathlib.Path) and must raise InputError when called.
"""

import io
import struct
import zipfile

import numpy as np
import trimesh

from pourprint.parts.frame import Frame
from pourprint.parts.kits import Bore, Face, Kit, KitPart, Socket
from pourprint.parts.mending import mended, read_mesh
from pourprint.parts.meshes import rotated_up, sections
from pourprint.parts.nodes import Boss, Tube, make_node
from pourprint.parts.part import Part
from scenes import DEMO

BOX = trimesh.creation.box((20.0, 30.0, 40.0))
BALL = trimesh.creation.icosphere(3, 20.0)
TWO_TUBES = (Tube((1, 0, 0), 25.0), Tube((0, 1, 0), 25.0))


def stl(vertices, faces, stated=None):
    """A binary STL by hand, with the facet count that it states."""
    facets = np.zeros(len(faces), dtype=[("normal", "<3f4"), ("corners", "<9f4"), ("flags", "<u2")])
    facets["corners"] = np.asarray(vertices)[faces].reshape(-1, 9)
    return bytes(80) + struct.pack("<I", len(faces) if stated is None else stated) + facets.tobytes()


def ascii_stl(mesh, corner="{:.9g} {:.9g} {:.9g}"):
    lines = ["solid node"]
    for triangle in mesh.triangles:
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += ["vertex " + corner.format(*point) for point in triangle]
        lines += ["endloop", "endfacet"]
    return "\n".join([*lines, "endsolid node", ""])


def file(name, content, unit="mm"):
    def attempt(folder):
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        Part.from_mesh(folder / name, unit)

    return attempt


def spoiled(value):
    vertices = np.array(BALL.vertices)
    vertices[7, 1] = value
    return vertices


def kit(text):
    def attempt(folder):
        (folder / "kit.toml").write_text(text)
        Kit.load(folder / "kit.toml")

    return attempt


def frame(right, wrong):
    """The demo frame with one thing wrong."""

    def attempt(folder):
        text = (DEMO / "rover_frame.toml").read_text()
        assert right in text
        (folder / "frame.toml").write_text(text.replace(right, wrong))
        Frame.load(folder / "frame.toml")

    return attempt


def call(function, *args, **kwargs):
    return lambda folder: function(*args, **kwargs)


def numbers(**changed):
    good = {"volume_cm3": 60, "area_cm2": 210, "box_mm": (90, 70, 60)}
    return call(Part.from_numbers, "bracket", **good | changed)


def threemf(mesh, unit):
    """The bytes of a 3MF file that states a unit (the writer itself always states millimeter)."""
    changed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(mesh.export(file_type="3mf"))) as old, zipfile.ZipFile(changed, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b'unit="millimeter"', f'unit="{unit}"'.encode()))
    return changed.getvalue()


def archive(mesh, change=lambda model: model, **more):
    """The bytes of a 3MF file with its model changed and further files in it."""
    changed = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(mesh.export(file_type="3mf"))) as old,
        zipfile.ZipFile(changed, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            new.writestr(name, change(old.read(name)) if name.endswith(".model") else old.read(name))
        for name, content in more.items():
            new.writestr(name, content)
    return changed.getvalue()


def entity(text):
    """Declares an entity at the head of a model, and asks for it."""
    head = f"?><!DOCTYPE model [<!ENTITY x {text}>]>".encode()
    return lambda model: model.replace(b"?>", head, 1).replace(b"<resources>", b"<resources>&x;")


def folder_named_as_mesh(folder):
    (folder / "node.stl").mkdir()
    Part.from_mesh(folder / "node.stl")


def kit_with_bad_mesh(folder):
    (folder / "node.stl").write_bytes(b"")
    kit('name = "k"\n[[part]]\nname = "a"\ncount = 1\nmesh = "node.stl"')(folder)


BALL_STL = stl(BALL.vertices, BALL.faces)
BALL_OBJ = BALL.export(file_type="obj")
BALL_PLY = BALL.export(file_type="ply")
HALF_BALL = BALL.faces[BALL.triangles_center[:, 2] > 0]
SHEET = np.array([[0, 0, 0], [50, 0, 0], [0, 50, 0]], float)
CROWD = trimesh.util.concatenate([BOX.copy().apply_scale(0.01).apply_translation((i, 0, 0)) for i in range(501)])
BY_NUMBERS = 'name = "a"\ncount = 1\nvolume_cm3 = 60\narea_cm2 = 210\nbox_mm = [90, 70, 60]\n'
PART = f'name = "k"\n[[part]]\n{BY_NUMBERS}'

MALFORMED = [
    # Mesh files
    ("empty file", file("node.stl", b"")),
    ("blank file", file("node.stl", b" \n\n")),
    ("prose named .stl", file("node.stl", "These are my notes about the node.\n" * 9)),
    ("web page", file("node.stl", "\n<!DOCTYPE html><html><body>Sign in</body></html>")),
    ("web page named .3mf", file("node.3mf", "<html><head></head></html>")),
    ("random bytes", file("node.stl", np.random.default_rng(1).bytes(5000))),
    ("truncated binary STL", file("node.stl", BALL_STL[:-1234])),
    ("binary STL header only", file("node.stl", BALL_STL[:60])),
    ("count too large", file("node.stl", stl(BALL.vertices, BALL.faces, len(BALL.faces) + 5))),
    ("count too small", file("node.stl", stl(BALL.vertices, BALL.faces, len(BALL.faces) - 5))),
    ("trailing bytes", file("node.stl", BALL_STL + b"extra")),
    ("no triangles, binary", file("node.stl", stl(BALL.vertices, BALL.faces[:0]))),
    ("no triangles, text", file("node.stl", "solid nothing\nendsolid nothing\n")),
    ("truncated text STL", file("node.stl", ascii_stl(BALL)[:4000])),
    ("decimal commas", file("node.stl", ascii_stl(BALL).replace(".", ","))),
    ("NaN, text STL", file("node.stl", ascii_stl(BALL).replace(" 20 ", " nan ", 1))),
    ("NaN, binary STL", file("node.stl", stl(spoiled(np.nan), BALL.faces))),
    ("infinite, binary STL", file("node.stl", stl(spoiled(np.inf), BALL.faces))),
    ("NaN, OBJ", file("node.obj", BALL_OBJ.replace("v 0", "v nan", 1))),
    ("OBJ without facets", file("node.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\n")),
    ("OBJ facet without its vertex", file("node.obj", BALL_OBJ + "\nf 1 2 99999\n")),
    ("prose named .obj", file("node.obj", "hello\n")),
    ("prose named .ply", file("node.ply", "hello\n")),
    ("truncated PLY", file("node.ply", BALL_PLY[:-300])),
    ("prose named .3mf", file("node.3mf", "hello\n")),
    ("broken zip", file("node.3mf", b"PK\x03\x04" + bytes(200))),
    ("flat sheet", file("node.stl", stl(SHEET, np.array([[0, 1, 2]])))),
    ("sheet with a back", file("node.stl", stl(SHEET, np.array([[0, 1, 2], [0, 2, 1]])))),
    ("flattened solid", file("node.stl", stl(BALL.vertices * (1, 1, 0), BALL.faces))),
    ("all triangles collapsed", file("node.stl", stl(SHEET * 0, np.array([[0, 1, 2]] * 4)))),
    ("half a ball", file("node.stl", stl(BALL.vertices, HALF_BALL))),
    ("box without a side", file("node.stl", stl(BOX.vertices, BOX.faces[2:]))),
    ("box with a fin", file("node.stl", stl(BOX.vertices, np.vstack([BOX.faces, [[0, 1, 7]]])))),
    ("too small for a node", file("node.stl", stl(BALL.vertices / 1000, BALL.faces))),
    ("metres read as mm", file("node.stl", stl(BALL.vertices / 1000, BALL.faces), "mm")),
    ("mm read as metres", file("node.stl", BALL_STL, "m")),
    ("501 separate boxes", file("node.stl", stl(CROWD.vertices, CROWD.faces))),
    ("unknown unit", file("node.stl", BALL_STL, "furlong")),
    ("unit is no text", file("node.stl", BALL_STL, ["mm"])),
    ("3MF in inch read as mm", file("node.3mf", threemf(BOX, "inch"))),
    ("zip bomb", file("node.3mf", archive(BOX, pad=bytes(301_000_000)))),
    ("3MF that reaches outside itself", file("node.3mf", archive(BOX, **{"../../evil.txt": b"x"}))),
    ("3MF with a path from the root", file("node.3mf", archive(BOX, **{"/evil.txt": b"x"}))),
    ("3MF that asks for a file", file("node.3mf", archive(BOX, entity('SYSTEM "file:///etc/hostname"')))),
    ("3MF that asks another machine", file("node.3mf", archive(BOX, entity('SYSTEM "http://127.0.0.1:9/x"')))),
    ("3MF that declares what it repeats", file("node.3mf", archive(BOX, entity('"aaaa"')))),
    ("mesh on another machine", call(Part.from_mesh, "//server/share/node.stl")),
    ("mesh on another machine, as Windows writes it", call(Part.from_mesh, r"\\server\share\node.stl")),
    ("mesh at an address", call(Part.from_mesh, "https://127.0.0.1:9/node.stl")),
    ("3MF in feet", file("node.3mf", threemf(BOX, "foot"))),
    ("wrong ending", file("node.docx", BALL_STL)),
    ("no such file", lambda folder: Part.from_mesh(folder / "missing.stl")),
    ("folder", lambda folder: Part.from_mesh(folder)),
    ("folder named .stl", folder_named_as_mesh),
    ("path is None", call(Part.from_mesh, None)),
    ("path with a null byte", call(read_mesh, "a\0b.stl")),
    ("up is zero", lambda folder: file("n.stl", BALL_STL)(folder) or Part.from_mesh(folder / "n.stl", up=(0, 0, 0))),
    # Arrays
    ("facet names no vertex", call(mended, BALL.vertices, BALL.faces + 1)),
    ("negative facet index", call(mended, BALL.vertices, BALL.faces - 1)),
    ("facets of four", call(mended, BALL.vertices, BALL.faces[:, [0, 1, 2, 0]][:5])),
    ("vertices are text", call(mended, [["a", "b", "c"]], [[0, 0, 0]])),
    ("up has two numbers", call(rotated_up, BALL.vertices, (0, 1))),
    ("up is text", call(rotated_up, BALL.vertices, "upward")),
    ("up is NaN", call(rotated_up, BALL.vertices, (0, 0, np.nan))),
    ("negative height", call(sections, BALL.vertices, BALL.faces, [-1.0])),
    ("height NaN", call(sections, BALL.vertices, BALL.faces, np.nan)),
    # Numbers
    ("negative volume", numbers(volume_cm3=-60)),
    ("volume NaN", numbers(volume_cm3=np.nan)),
    ("volume text", numbers(volume_cm3="60")),
    ("volume None", numbers(volume_cm3=None)),
    ("volume boolean", numbers(volume_cm3=True)),
    ("one bad volume among good", numbers(volume_cm3=np.array([60.0, -1.0]))),
    ("no volume at all", numbers(volume_cm3=[])),
    ("area zero", numbers(area_cm2=0)),
    ("area infinite", numbers(area_cm2=np.inf)),
    ("one bad area of three", numbers(area_cm2=np.array([210.0, np.nan, 230.0]))),
    ("one area of three too small", numbers(area_cm2=np.array([210.0, 74.0, 230.0]))),
    ("area in m2", numbers(area_cm2=0.021)),
    ("area below the sphere's", numbers(area_cm2=74.0)),
    ("volume larger than its box", numbers(volume_cm3=379, area_cm2=500)),
    ("box in cm", numbers(box_mm=(9, 7, 6))),
    ("box of two lengths", numbers(box_mm=(90, 70))),
    ("box is one length", numbers(box_mm=90)),
    ("box with a zero", numbers(box_mm=(90, 70, 0))),
    ("box with text", numbers(box_mm=("90", 70, 60))),
    ("box lengths of unlike shapes", numbers(box_mm=(np.ones(2) * 90, np.ones(3) * 70, 60))),
    ("arrays of unlike shapes", numbers(volume_cm3=np.ones(2) * 60, area_cm2=np.ones(3) * 210)),
    ("negative overhang", numbers(overhang_cm2=-1)),
    ("support NaN", numbers(support_cm3=np.nan)),
    ("no name", call(Part.from_numbers, "", 60, 210, (90, 70, 60))),
    ("scaled to nothing", lambda folder: Part.from_numbers("a", 60, 210, (90, 70, 60)).scaled_to(0)),
    ("turned without a mesh", lambda folder: Part.from_numbers("a", 60, 210, (90, 70, 60)).turned((1, 0, 0))),
    ("layers without a mesh", lambda folder: Part.from_numbers("a", 60, 210, (90, 70, 60)).sections(0.1)),
    ("layer of zero", lambda folder: Part.from_arrays("a", BALL.vertices, BALL.faces).sections(0)),
    ("layer of a nanometre", lambda folder: Part.from_arrays("a", BALL.vertices, BALL.faces).sections(1e-6)),
    ("mesh written without a mesh", lambda d: Part.from_numbers("a", 60, 210, (90, 70, 60)).write_mesh(d / "a.stl")),
    ("mesh written as a picture", lambda d: Part.from_arrays("a", BALL.vertices, BALL.faces).write_mesh(d / "a.png")),
    # Kits
    ("bore fit of a shaft", call(Bore, 25.0, 10.0, "h7")),
    ("bore fit without grade", call(Bore, 25.0, 10.0, "H")),
    ("bore of negative depth", call(Bore, 25.0, -10.0)),
    ("socket of zero", call(Socket, 0, 40)),
    ("face of text", call(Face, "big")),
    ("kit part that is no part", call(KitPart, "node.stl")),
    ("kit of no part", call(Kit.of, 5)),
    ("kit without parts", call(Kit, "k", ())),
    ("missing kit", lambda folder: Kit.load(folder / "kit.toml")),
    ("kit that is no TOML", kit("name = ")),
    ("kit that is a mesh", lambda folder: (folder / "k.toml").write_bytes(BALL_STL) and Kit.load(folder / "k.toml")),
    ("kit without [[part]]", kit('name = "k"')),
    ("kit with no part in it", kit('name = "k"\npart = []')),
    ("kit part that is a number", kit('name = "k"\npart = [3]')),
    ("kit with an unknown key", kit('colour = "red"\n' + PART)),
    ("part with an unknown key", kit(PART + "weight_kg = 3\n")),
    ("part without count", kit(PART.replace("count = 1\n", ""))),
    ("part with count 0", kit(PART.replace("count = 1", "count = 0"))),
    ("part with count 1.5", kit(PART.replace("count = 1", "count = 1.5"))),
    ("part with count true", kit(PART.replace("count = 1", "count = true"))),
    ("volume as text", kit(PART.replace("= 60\n", '= "60"\n'))),
    ("volume nan", kit(PART.replace("= 60\n", "= nan\n"))),
    ("volume is a date", kit(PART.replace("= 60\n", "= 2026-01-01\n"))),
    ("numbers missing", kit(PART.replace("area_cm2 = 210\n", ""))),
    ("mesh and numbers", kit(PART + 'mesh = "a.stl"\n')),
    ("the same name twice", kit(PART + "[[part]]\n" + BY_NUMBERS)),
    ("mesh that is missing", kit('name = "k"\n[[part]]\nname = "a"\ncount = 1\nmesh = "a.stl"')),
    ("mesh that is empty", kit_with_bad_mesh),
    ("bore with unknown key", kit(PART + "bores = [{ diameter_mm = 5.0, depth_mm = 5.0, thread = 1 }]\n")),
    ("bore with bad fit", kit(PART + 'bores = [{ diameter_mm = 5.0, depth_mm = 5.0, fit = "tight" }]\n')),
    ("socket without depth", kit(PART + "sockets = [{ diameter_mm = 5.0 }]\n")),
    # Nodes
    ("tube without direction", call(Tube, (0, 0, 0), 25)),
    ("tube of NaN direction", call(Tube, (0, np.nan, 1), 25)),
    ("tube of no width", call(Tube, (0, 0, 1), 0)),
    ("boss with negative wall", call(Boss, (0, 0, 1), 20, 30, -1)),
    ("node without tubes", call(make_node, ())),
    ("node of numbers", call(make_node, (25, 30))),
    ("node of one number", call(make_node, 25)),
    ("wall of zero", call(make_node, TWO_TUBES, wall_mm=0)),
    ("wall NaN", call(make_node, TWO_TUBES, wall_mm=np.nan)),
    ("wall is an array", call(make_node, TWO_TUBES, wall_mm=np.array([3.0, 4.0]))),
    ("the same tube twice", call(make_node, (TWO_TUBES[0], TWO_TUBES[0]))),
    ("tubes 10 degrees apart", call(make_node, (Tube((1, 0, 0), 25), Tube((1, 0.176, 0), 25)))),
    ("tube along a bore", call(make_node, TWO_TUBES, bosses=(Boss((1, 0, 0), 10, 60),))),
    ("ball that buries sockets", call(make_node, TWO_TUBES, blend_mm=80)),
    ("boss that blocks a tube", call(make_node, TWO_TUBES, bosses=(Boss((0, 0, 1), 10, 20, 80),))),
    ("shell thicker than the hub", call(make_node, TWO_TUBES, hub_shell_mm=50)),
    ("drain wider than a socket", call(make_node, (*TWO_TUBES, Tube((0, 0, 1), 5)), hub_shell_mm=4)),
    ("5 segments", call(make_node, TWO_TUBES, segments=5)),
    ("64.0 segments", call(make_node, TWO_TUBES, segments=64.0)),
    # Frames
    ("frame with an unknown key", frame("[cases]", "[cases]\ncolour = 3")),
    ("frame with text for a number", frame("wall_mm = 5.0", 'wall_mm = "5"')),
    ("frame with a zero wall", frame("wall_mm = 5.0", "wall_mm = 0.0")),
    ("frame without a date", frame("date =", "day =")),
    ("tubing without pedigree", frame('pedigree = "invented", source = "demo', 'source = "demo')),
]
