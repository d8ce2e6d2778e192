"""A part is one metal node and the facts measured from it.

Numbers may be NumPy arrays that broadcast, so that a slider or a map can ask for many sizes at once.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache, partial
from hashlib import blake2b
from pathlib import Path

import numpy as np

from pourprint.ledger.checks import check_numbers, plain
from pourprint.ledger.entries import unmeshed
from pourprint.ledger.errors import InputError
from pourprint.ledger.files import write_whole
from pourprint.parts import kept, mending, meshes

MOST_STUDIED = 200_000  # facets; what is studied on a larger mesh needs no such detail
DETAIL = 5000  # a copy for studies keeps to its longest side over this
ROUNDING = 1e-3  # numbers typed in by hand are rounded: so far a box or a surface may miss its least value


def _show(value):
    """A short rendering of a number or an array for a message."""
    return np.array2string(np.asarray(value, dtype=float), precision=4, threshold=6)


@lru_cache(maxsize=256)
def _studies_of(content):
    """The studies made so far of a mesh with this content: a file that is read again is not measured again."""
    return {}


@dataclass(frozen=True, eq=False)
class Measures:
    """The plain measures of a mesh as it lies [mm2, mm3]; see `meshes.measure`, `counted` and `overhang`."""

    volume: float
    bodies: int
    overhang: float
    support: float

    @classmethod
    def measured(cls, vertices, faces):
        """From a closed mesh: vertices [mm], faces."""
        volume, bodies = meshes.measure(vertices, faces)[0], meshes.counted(vertices, faces)[0]
        return cls(volume, bodies, *meshes.overhang(vertices, faces))


@dataclass(frozen=True, eq=False)
class Shape:
    """A mesh as it was first measured, or a simpler copy (vertices [mm], faces), and the studies made of it."""

    vertices: np.ndarray
    faces: np.ndarray

    @cached_property
    def content(self):
        """A digest of the mesh."""
        return blake2b(self.vertices.tobytes() + self.faces.tobytes()).digest()

    @property
    def volume_cm3(self):
        """Volume of the metal [cm3]."""
        return self.study(Measures).volume / 1e3

    @property
    def studies(self):
        """The studies made so far, {kind: study}."""
        return _studies_of(self.content)

    def study(self, kind):
        """What `kind` measures, at the first call; found on disk where an earlier kernel has kept it."""
        if kind not in self.studies:
            measured = partial(kind.measured, self.vertices, self.faces)
            self.studies[kind] = kept.made_once(self.content, kind, measured)
        return self.studies[kind]


@dataclass(frozen=True, eq=False)
class Part:
    """The facts about one metal node that every route needs; +z is up (pour or build direction).

    volume_cm3, area_cm2 (...): metal volume [cm3], whole surface [cm2].
    box_mm (..., 3): box along x, y, z [mm].
    overhang_cm2 (...): plate-projected area [cm2] of surfaces that cannot support themselves at 45 degrees.
    support_cm3 (...): space [cm3] from those surfaces straight down to the plate, an upper bound.
    bodies [-]: separate pieces of metal. notes: what was mended or estimated. mesh: (vertices [mm], faces).
    shape: the mesh as first measured, which every scaled copy shares, so that `study` measures only once.
    Raises InputError for values that no solid can have. Parts compare by identity (they hold arrays).
    """

    name: str
    volume_cm3: float | np.ndarray
    area_cm2: float | np.ndarray
    box_mm: np.ndarray
    overhang_cm2: float | np.ndarray
    support_cm3: float | np.ndarray
    bodies: int = 1
    notes: tuple[str, ...] = ()
    mesh: tuple[np.ndarray, np.ndarray] | None = field(default=None, repr=False)
    shape: "Shape | None" = field(default=None, repr=False)

    def __post_init__(self):
        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError(f"name={self.name!r} must be a text that is not empty.")
        check_numbers(volume_cm3=self.volume_cm3, area_cm2=self.area_cm2, box_mm=self.box_mm)
        check_numbers(True, overhang_cm2=self.overhang_cm2, support_cm3=self.support_cm3)
        box = np.asarray(self.box_mm, dtype=float)
        if box.ndim == 0 or box.shape[-1] != 3:
            raise InputError(f"box_mm={self.box_mm!r} must be three lengths, such as (90, 70, 60).")
        object.__setattr__(self, "box_mm", box)
        for key in ("volume_cm3", "area_cm2", "overhang_cm2", "support_cm3"):
            object.__setattr__(self, key, plain(getattr(self, key)))
        volume, area = self.volume_cm3, self.area_cm2
        try:
            box_cm3, *_ = np.broadcast_arrays(box.prod(-1) / 1000, volume, area, self.overhang_cm2, self.support_cm3)
        except ValueError:
            raise InputError(f"the arrays of part {self.name!r} must have shapes that broadcast together.") from None
        if np.any(volume > box_cm3 * (1 + ROUNDING)):
            raise InputError(
                f"volume_cm3={_show(volume)} does not fit in box_mm={_show(box)}, which holds"
                f" {_show(box_cm3)} cm³; check the units."
            )
        least = (36 * np.pi) ** (1 / 3) * np.asarray(volume) ** (2 / 3)
        if np.any(area < least * (1 - ROUNDING)):
            raise InputError(
                f"area_cm2={_show(area)} is too little for volume_cm3={_show(volume)}: a sphere has"
                f" {_show(least)} cm², every other shape more; check the units."
            )

    @classmethod
    def from_mesh(cls, path, unit="mm", up=(0, 0, 1), name=None):
        """Read, check, mend and measure a mesh file (STL, OBJ, PLY, 3MF).

        unit: mm, cm, m or inch. up (3,): the file's direction that shall point up. name: else the file's.
        Raises InputError where the file cannot be read as a closed solid (see `mending.read_mesh`).
        """
        vertices, faces, notes = mending.read_mesh(path, unit)
        return cls._measured(name or Path(path).stem, meshes.rotated_up(vertices, up), faces, notes)

    @classmethod
    def from_arrays(cls, name, vertices, faces):
        """Check, mend and measure vertices (n, 3) [mm] and faces (m, 3). Raises InputError."""
        return cls._measured(name, *mending.mended(vertices, faces, str(name)))

    @classmethod
    def _measured(cls, name, vertices, faces, notes):
        volume, area, box = meshes.measure(vertices, faces)
        shape = Shape(vertices, faces)
        if len(faces) > MOST_STUDIED:
            within_mm = box.max() / DETAIL
            shape = Shape(*meshes.simplified(vertices, faces, within_mm))
            notes += (
                f"Studied on a copy with {len(shape.faces)} of {len(faces)} facets, its surface at most "
                f"{within_mm:.2g} mm off, its volume {shape.volume_cm3 * 1e3 / volume - 1:+.1e}.",
            )
        m = shape.study(Measures)
        sizes = volume / 1e3, area / 1e2, box, m.overhang / 1e2, m.support / 1e3
        return cls(name, *sizes, m.bodies, notes, (vertices, faces), shape)

    @classmethod
    def from_numbers(cls, name, volume_cm3, area_cm2, box_mm, overhang_cm2=None, support_cm3=None):
        """A part known by its numbers alone; each may be an array, and they broadcast.

        volume_cm3 [cm3], area_cm2 [cm2], box_mm: three lengths [mm] (or an array (..., 3)).
        overhang_cm2, support_cm3: where not given, a planning estimate, named as one in `notes`: a quarter
        of the footprint, and 15% of the box that the part leaves free (invented defaults, for first ideas).
        Raises InputError.
        """
        if isinstance(box_mm, (tuple, list)):
            check_numbers(**{f"box_mm[{i}]": length for i, length in enumerate(box_mm)})
            try:
                box_mm = np.stack(np.broadcast_arrays(*box_mm), axis=-1)
            except ValueError:
                raise InputError(f"box_mm={box_mm!r} must be three lengths that broadcast together.") from None
        # The shape and size of the three given numbers are checked before anything is estimated from them.
        given = cls(name, volume_cm3, area_cm2, box_mm, 0.0, 0.0)
        notes = ()
        overhang, support = (unmeshed()[f"unmeshed.{key}_fraction"].value for key in ("overhang", "support"))
        if overhang_cm2 is None:
            overhang_cm2 = overhang * given.box_mm[..., :2].prod(-1) / 100
            notes += (f"The overhang is an estimate: {overhang:.0%} of the footprint.",)
        if support_cm3 is None:
            support_cm3 = support * (given.box_mm.prod(-1) / 1e3 - given.volume_cm3)
            support_cm3 = np.maximum(support_cm3, 0)  # rounding, where the part fills its box
            notes += (f"The room for supports is an estimate: {support:.0%} of the free part of its box.",)
        return replace(given, overhang_cm2=overhang_cm2, support_cm3=support_cm3, notes=notes)

    @property
    def as_studied(self):
        """The part as it was first measured, or the copy with fewer facets that is studied in its place: a Part."""
        return self._measured(self.name, self.shape.vertices, self.shape.faces, self.notes)

    @property
    def modulus_mm(self):
        """Volume over surface [mm]: how slowly the whole part freezes; local junctions freeze later."""
        return 10 * self.volume_cm3 / self.area_cm2

    @property
    def title(self):
        """The name in words: without underscores."""
        return self.name.replace("_", " ")

    @property
    def wall_mm(self):
        """Typical wall 2 V/A [mm]: right for thin walls (both faces count), too small for compact shapes."""
        return 2 * self.modulus_mm

    @property
    def height_mm(self):
        """Height along the up-direction [mm]."""
        return plain(self.box_mm[..., 2])

    @property
    def solidity(self):
        """Share of the box that is metal [-]."""
        return plain(self.volume_cm3 / (self.box_mm.prod(-1) / 1000))

    def scaled_to(self, volume_cm3):
        """The part in similar shape at another volume [cm3] (number or array): lengths s, areas s^2.

        The mesh is scaled along for a single number and dropped for an array. Raises InputError.
        """
        check_numbers(volume_cm3=volume_cm3)
        s = plain(np.cbrt(np.asarray(volume_cm3) / self.volume_cm3))
        return replace(
            self,
            volume_cm3=self.volume_cm3 * s**3,
            area_cm2=self.area_cm2 * s**2,
            box_mm=self.box_mm * np.asarray(s)[..., None],
            overhang_cm2=self.overhang_cm2 * s**2,
            support_cm3=self.support_cm3 * s**3,
            mesh=(self.mesh[0] * s, self.mesh[1]) if self.mesh is not None and np.ndim(s) == 0 else None,
        )

    def turned(self, up):
        """The part measured again with direction up (3,), in its present axes, as +z. Raises InputError."""
        vertices, faces = self.needed_mesh("turned to another direction")
        return self._measured(self.name, meshes.rotated_up(vertices, up), faces, self.notes)

    def sections(self, layer_mm):
        """Horizontal sections at the middle of every layer of layer_mm [mm].

        Returns heights [mm] above the plate, areas [mm2] and perimeters [mm], each (n,). Raises InputError.
        """
        vertices, faces = self.needed_mesh("cut into layers")
        check_numbers(arrays=False, layer_mm=layer_mm)
        layers = np.ceil(self.height_mm / layer_mm - 1e-9)
        if layers > 1_000_000:
            raise InputError(f"layer_mm={layer_mm!r} must give at most a million layers.")
        heights = (np.arange(int(layers)) + 0.5) * layer_mm
        return heights, *meshes.sections(vertices, faces, heights)

    def write_mesh(self, path, replace=False):
        """Write the mesh [mm] as STL (binary), OBJ, PLY or 3MF, over another file if `replace`. Raises: InputError."""
        import trimesh

        kind = Path(path).suffix.lower()
        if kind not in mending.FORMATS:
            raise InputError(f"path={str(path)!r} must end in {' or '.join(mending.FORMATS)}.")
        content = trimesh.Trimesh(*self.needed_mesh("written to a file"), process=False).export(file_type=kind[1:])
        write_whole(path, content.encode() if isinstance(content, str) else content, replace)

    def study(self, kind):
        """What `kind` measures on this part, at this size.

        `kind` is a dataclass or, where the study has inputs, an instance of one, with `measured(vertices, faces)`,
        called once a shape however often the part is scaled, and `estimated(part)` for a part without a mesh. Both
        return a dataclass (see `kept`) with a method `scaled(factor)` for the part in similar shape, `factor` (…)
        being the ratio of lengths [-]. Returns: that study at this part's size.
        """
        if self.shape is None:
            return kind.estimated(self)
        growth = np.cbrt(np.asarray(self.volume_cm3) / self.shape.volume_cm3)
        return self.shape.study(kind).scaled(plain(growth))

    def needed_mesh(self, purpose):
        if self.mesh is None:
            raise InputError(f"part {self.name!r} has no mesh, so it cannot be {purpose}; load it with from_mesh.")
        return self.mesh


def facts(*parts):
    """The measured facts of one or more parts side by side, as a pandas table: one row a fact, with its unit."""
    import pandas as pd

    columns = {}
    for part in parts:
        name = part.name if part.name not in columns else f"{part.name} ({len(columns) + 1})"
        columns[name] = {
            "volume [cm³]": part.volume_cm3,
            "surface [cm²]": part.area_cm2,
            "box along x [mm]": part.box_mm[..., 0],
            "box along y [mm]": part.box_mm[..., 1],
            "height, z [mm]": part.height_mm,
            "share of the box that is metal [-]": part.solidity,
            "modulus V/A [mm]": part.modulus_mm,
            "typical wall 2V/A [mm]": part.wall_mm,
            "overhang [cm²]": part.overhang_cm2,
            "room for supports [cm³]": part.support_cm3,
            "separate bodies [-]": part.bodies,
        }
    return pd.DataFrame(columns).astype(float).round(2)
