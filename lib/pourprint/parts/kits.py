"""A kit is the parts of one frame, how many of each, and what is bored, bonded or faced on every piece."""

import re
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from pourprint.ledger.checks import STRICT, check_numbers, plain, read_toml, refuse, validated
from pourprint.ledger.errors import InputError
from pourprint.parts.meshes import bodies_of, facets_of
from pourprint.parts.part import Part


class FromTable:
    """What is read from a table of a TOML file: no unknown keys, no text or boolean where a number belongs."""

    __pydantic_config__ = STRICT


@dataclass(frozen=True)
class Bore(FromTable):
    """A hole for a bearing or pin: diameter_mm, depth_mm [mm], and an ISO 286 hole fit such as N7."""

    diameter_mm: float
    depth_mm: float
    fit: str = "H7"

    def __post_init__(self):
        check_numbers(arrays=False, diameter_mm=self.diameter_mm, depth_mm=self.depth_mm)
        if not re.fullmatch(r"([A-HJKMNPR-VX-Z]|CD|EF|FG|JS|Z[A-C])(0[1-9]?|[1-9]|1[0-8])", str(self.fit)):
            raise InputError(f"fit={self.fit!r} must be a hole fit of ISO 286: a capital letter and a grade, as H7.")


@dataclass(frozen=True)
class Socket(FromTable):
    """A blind hole into which a tube is bonded: diameter_mm of the tube and depth_mm of the bond [mm]."""

    diameter_mm: float
    depth_mm: float

    def __post_init__(self):
        check_numbers(arrays=False, diameter_mm=self.diameter_mm, depth_mm=self.depth_mm)


@dataclass(frozen=True)
class Face(FromTable):
    """A flat face to machine: area_cm2 [cm2]."""

    area_cm2: float

    def __post_init__(self):
        check_numbers(arrays=False, area_cm2=self.area_cm2)


@dataclass(frozen=True)
class KitPart:
    """One part of a kit, how many pieces of it a kit needs, and what is machined or bonded on each piece."""

    part: Part
    count: int = 1
    bores: tuple[Bore, ...] = ()
    sockets: tuple[Socket, ...] = ()
    faces: tuple[Face, ...] = ()

    def __post_init__(self):
        if not isinstance(self.part, Part):
            raise InputError(f"part={self.part!r} must be a Part.")
        for name, kind in (("bores", Bore), ("sockets", Socket), ("faces", Face)):
            given = getattr(self, name)
            if not isinstance(given, tuple | list) or not all(isinstance(one, kind) for one in given):
                raise InputError(f"{name}={given!r} must be a tuple of {kind.__name__}, such as ({kind.__name__}(…),).")
        _check_count(self.count)

    @property
    def holes(self):
        """Its bores, then its sockets."""
        return *self.bores, *self.sockets


def _check_count(count):
    if isinstance(count, bool) or not isinstance(count, (int, np.integer)) or count < 1:
        raise InputError(f"count={count!r} must be a whole number of at least 1.")


@dataclass(frozen=True)
class Kit:
    """The parts of one frame: name, parts, pedigree (where it comes from), free notes, `path` of its file, if any."""

    name: str
    parts: tuple[KitPart, ...]
    pedigree: str = ""
    notes: str = ""
    path: Path | None = field(default=None, repr=False, compare=False)

    def __post_init__(self):
        if not self.parts or not all(isinstance(entry, KitPart) for entry in self.parts):
            raise InputError(f"parts of kit {self.name!r} must be one or more KitPart; use Kit.of(part) for one.")
        object.__setattr__(self, "parts", tuple(self.parts))
        if faults := given_twice([entry.part.name for entry in self.parts], "part"):
            raise InputError(f"kit {self.name!r}: {faults[0]}; count one part more often, or name them apart.")

    @classmethod
    def of(cls, part):
        """A lone part as a kit of one piece; a kit as it is. Raises: InputError for anything else."""
        if not isinstance(part, Part | Kit):
            raise InputError(f"kit must be a Kit or a Part, not {part!r}: use Kit.load or Part.from_mesh.")
        return part if isinstance(part, Kit) else cls(part.name, (KitPart(part),))

    @classmethod
    def of_bodies(cls, part):
        """The separate bodies of a part's mesh as a kit; those of one volume and surface count as one part.

        Raises: InputError for a part without a mesh.
        """
        vertices, faces = part.needed_mesh("split into its bodies")
        alike = {}
        for body in bodies_of(vertices, faces):
            alike.setdefault(tuple(f"{x.sum():.4g}" for x in facets_of(vertices, body)), []).append(body)
        groups = enumerate(alike.values(), start=1)
        parts = [KitPart(Part.from_arrays(f"{part.name} {i}", vertices, group[0]), len(group)) for i, group in groups]
        return cls(part.name, tuple(parts), notes=f"The bodies of {part.name}, each as a part.")

    @classmethod
    def load(cls, path):
        """Read a kit from a TOML file; every fault is reported at once. Mesh paths are relative to the file.

        Keys: name, pedigree, notes, and one [[part]] table a part with name, count, bores, sockets, faces
        and either mesh (with unit, up) or volume_cm3, area_cm2, box_mm (with overhang_cm2, support_cm3).
        Raises InputError.
        """
        tables = read_toml(path)
        head, faults = validated(_KitHead, tables)
        # The parts are looked at even where the head is wrong, so that every fault is found at once.
        entries, wrong = parts_from(tables.get("part", []), Path(path).parent)
        faults += wrong
        if not tables.get("part", True):
            faults.append("part: one [[part]] table or more is needed")
        refuse(path, faults)
        return cls(head.name, entries, head.pedigree, head.notes, Path(path).resolve())

    @property
    def nodes(self):
        """Pieces in one kit [-]."""
        return sum(entry.count for entry in self.parts)

    @property
    def noun(self):
        """What one is called: "kit", or "piece" where a lone part is a kit of one."""
        return "piece" if self.nodes == 1 else "kit"

    def counted(self, number):
        """Such a number of kits in words: "4 kits of rover (11 pieces each)", "6 pieces of bracket"."""
        said = f"{number} {self.noun}{'s' * (number != 1)} of {self.name.replace('_', ' ')}"
        return said if self.nodes == 1 else f"{said} ({self.nodes} pieces each)"

    @cached_property
    def counts(self):
        """Pieces of each part in one kit (parts,) [-]."""
        return np.array([entry.count for entry in self.parts])

    @property
    def volume_cm3(self):
        """Metal in one kit [cm3], summed over all pieces."""
        return sum(entry.count * entry.part.volume_cm3 for entry in self.parts)

    def scaled_to(self, mean_volume_cm3):
        """The kit in similar shape, its pieces' mean volume [cm3] set (number or array). Raises InputError.

        Every part grows by the same factor; bores, sockets and faces stay: they fit tubes and bearings.
        """
        check_numbers(mean_volume_cm3=mean_volume_cm3)
        factor = np.asarray(mean_volume_cm3) * self.nodes / self.volume_cm3
        parts = (replace(e, part=e.part.scaled_to(e.part.volume_cm3 * factor)) for e in self.parts)
        return replace(self, parts=tuple(parts))

    def piece(self, part):
        """One piece of a Part as a kit, bored, bonded and faced as this kit's part of that name, if it has one."""
        known = next((entry for entry in self.parts if entry.part.name == part.name), KitPart(part))
        return Kit(part.name, (replace(known, part=part, count=1),))

    def without_meshes(self):
        """The same kit, its parts measured already: at other sizes no vertices need to move."""
        return replace(self, parts=tuple(replace(e, part=replace(e.part, mesh=None)) for e in self.parts))

    def table(self):
        """A pandas table with one row a part: count, sizes, modulus, number of sockets, bores and faces."""
        import pandas as pd

        rows = {
            e.part.name: {
                "count": e.count,
                "volume_cm3": e.part.volume_cm3,
                "area_cm2": e.part.area_cm2,
                **{f"box_{axis}_mm": plain(e.part.box_mm[..., i]) for i, axis in enumerate("xyz")},
                "modulus_mm": e.part.modulus_mm,
                "sockets": len(e.sockets),
                "bores": len(e.bores),
                "faces": len(e.faces),
            }
            for e in self.parts
        }
        return pd.DataFrame.from_dict(rows, orient="index").rename_axis("part")


def parts_from(tables, folder):
    """(KitParts, faults) of [[part]] tables as of `Kit.load`; paths of meshes start from `folder`."""
    parts, faults = [], []
    for i, table in enumerate((t for t in tables if isinstance(t, dict)) if isinstance(tables, list) else (), start=1):
        if isinstance(mesh := table.get("mesh"), str):
            table = table | {"mesh": str(folder / mesh)}
        part, wrong = validated(_kit_part, table, f"part {i} ({table.get('name', 'no name')})")
        parts += [part] if part else []
        faults += wrong
    return tuple(parts), faults + given_twice([entry.part.name for entry in parts], "part")


def given_twice(names, kind):
    """A fault for each of some names that more than one thing of a kind, such as "part", has."""
    return [f"the name {name!r} is given to more than one {kind}" for name in {*names} if names.count(name) > 1]


@dataclass(frozen=True)
class _KitHead(FromTable):
    name: str
    part: list[dict]
    pedigree: str = ""
    notes: str = ""


def _kit_part(
    name: str,
    count: int,
    mesh: str | None = None,
    unit: str = "mm",
    up: tuple[float, float, float] = (0.0, 0.0, 1.0),
    volume_cm3: float | None = None,
    area_cm2: float | None = None,
    box_mm: tuple[float, float, float] | None = None,
    overhang_cm2: float | None = None,
    support_cm3: float | None = None,
    bores: tuple[Bore, ...] = (),
    sockets: tuple[Socket, ...] = (),
    faces: tuple[Face, ...] = (),
):
    """The KitPart of what a [[part]] table holds. Raises: InputError."""
    _check_count(count)
    numbers = (volume_cm3, area_cm2, box_mm, overhang_cm2, support_cm3)
    if mesh is None and None in numbers[:3]:
        raise InputError("give either mesh, or all of volume_cm3, area_cm2 and box_mm.")
    if mesh is not None and any(value is not None for value in numbers):
        raise InputError("give either mesh or numbers (volume_cm3, area_cm2, box_mm, ...), not both.")
    part = Part.from_numbers(name, *numbers) if mesh is None else Part.from_mesh(mesh, unit, up, name)
    longest_mm, faces_cm2 = float(np.max(part.box_mm)), sum(face.area_cm2 for face in faces)
    if wide := [hole.diameter_mm for hole in (*bores, *sockets) if hole.diameter_mm > longest_mm]:
        raise InputError(f"a hole of {wide[0]:g} mm is wider than the part is long, {longest_mm:.4g} mm.")
    if faces_cm2 > part.area_cm2:
        raise InputError(
            f"faces of {faces_cm2:.4g} cm² are more than the part's whole surface, {part.area_cm2:.4g} cm²."
        )
    return KitPart(part, count, bores, sockets, faces)
