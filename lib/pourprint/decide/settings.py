"""A setting: what is asked of the routes, under a name, kept as a small text file that can be read and mailed.

The file names the kit and the rate card that it starts from, and holds the job, the clock and only those values that
differ from card and kit: what is mended there later holds for the setting too. Of a number its value alone is kept,
not its range. Meshes of parts that stand in no kit's file are written beside it.
"""

import datetime as dt
import os
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

import numpy as np

from pourprint.ledger.checks import check_known, check_numbers, read_toml, refuse, validated
from pourprint.ledger.errors import InputError
from pourprint.ledger.files import check_free, write_whole
from pourprint.ledger.rates import RateCard, check_card
from pourprint.ledger.workdays import moment_of
from pourprint.parts.kits import FromTable, Kit, parts_from
from pourprint.plans.jobs import Job
from pourprint.routes import ROUTES

ENDING = ".setting.toml"
HEAD = "A setting of Pour or Print: what is asked, and which values differ from the kit and card that it starts from."
PLAIN = ("alloy", "quantity", "batch_size", "start", "deadline", "price_of_day", "routes")


@dataclass(frozen=True)
class Setting:
    """What is asked: which kit in which alloy, how many, in which lab, from when, at what price of a day.

    `name`; `kit` Kit, or Part as a kit of one; `rates` RateCard; `alloy` its name; `quantity` of kits; `batch_size`
    (default: all at once); `start` date and time; `deadline` date, or None; `price_of_day` [currency/d];
    `volume_cm3` mean volume of a piece (default: the kit's own); `routes` to weigh. Raises: InputError.
    """

    name: str
    kit: Kit
    rates: RateCard
    alloy: str
    quantity: int
    start: dt.datetime
    batch_size: int | None = None
    deadline: dt.date | None = None
    price_of_day: float = 0.0
    volume_cm3: float | None = None
    routes: tuple[str, ...] = tuple(ROUTES)

    def __post_init__(self):
        if not file_name(self.name):
            raise InputError(f"name={self.name!r} must hold letters or digits: the setting's file is called after it.")
        check_card(self.rates)
        for route in self.routes:
            check_known(ROUTES, route=route)
        check_numbers(arrays=False, quantity=self.quantity)
        check_numbers(zero_allowed=True, arrays=False, price_of_day=self.price_of_day)
        job = Job(self.kit, self.alloy, self.quantity, self.batch_size, start=moment_of(self.start))
        fields = {
            "kit": job.kit,
            "quantity": job.quantity,
            "batch_size": None if job.all_at_once else job.batch_size,
            "start": job.start,
            "deadline": None if self.deadline is None else moment_of(self.deadline).date(),
        }
        for key, value in fields.items():
            object.__setattr__(self, key, value)  # the only way to fill a frozen field

    @property
    def job(self):
        """The Job that is asked, its kit grown to `volume_cm3`."""
        kit = self.kit if self.volume_cm3 is None else self.kit.scaled_to(self.volume_cm3)
        return Job(kit, self.alloy, self.quantity, self.batch_size, start=self.start)

    @classmethod
    def load(cls, path):
        """Read a setting with the kit and card that it names, beside it. Raises InputError that lists every fault."""
        head, faults = validated(_File, read_toml(path))
        found = {}
        for key in ("kit", "card") if head else ():
            try:
                found[key] = getattr(head, key).read(Path(path).parent)
            except InputError as error:
                faults.append(f"{key}: {error}")
        refuse(path, faults)
        given = {key: getattr(head, key) for key in PLAIN if getattr(head, key) is not None}
        try:
            return cls(head.name, found["kit"], found["card"], volume_cm3=head.kit.volume_cm3, **given)
        except InputError as error:
            refuse(path, [str(error)])

    def save(self, folder=".", replace=False):
        """Write the setting, whole or not at all, and the meshes of its own parts into a folder.

        Parameters: `replace` lets files of the same name be written over. Returns: Path. Raises: InputError.
        """
        import tomlkit

        path = Path(folder) / f"{file_name(self.name)}{ENDING}"
        kit, own = self._kit_table(path)
        text = tomlkit.document()
        text.add(tomlkit.comment(HEAD))
        asked = {key: getattr(self, key) for key in ("name", *PLAIN)}
        text.update({key: value for key, value in asked.items() if value is not None})
        text["card"], text["kit"] = self._card_table(path), kit
        meshes = [(_mesh_path(path, item.part), item.part) for item in own if item.part.mesh is not None]
        paths = [mesh for mesh, _ in meshes]
        if twice := [mesh.name for mesh in paths if paths.count(mesh) > 1]:
            raise InputError(f"two parts of the kit would be written to {twice[0]}: give one of them another name.")
        check_free(path, *paths, replace=replace)  # all of them before any is written
        for mesh, part in meshes:
            part.write_mesh(mesh, replace)
        return write_whole(path, tomlkit.dumps(text).encode(), replace)

    def _kit_table(self, path):
        """The kit's file, how many pieces of its parts are wanted where that differs, and parts of no file; and these
        KitParts."""
        file, kit = self.kit.path, self.kit
        whole = Kit.load(file) if file else None
        base = {item.part.name: item for item in whole.parts} if file else {}
        kept = {item.part.name: item.count for item in kit.parts if _alike(item, base.get(item.part.name))}
        own = [item for item in kit.parts if item.part.name not in kept]
        table = {"file": _from(path, file), "volume_cm3": self.volume_cm3}
        table["name"] = None if file and kit.name == whole.name else kit.name
        if kept != {name: item.count for name, item in base.items()}:
            table["pieces"] = kept
        table["part"] = [_part_table(item, path) for item in own]
        return {key: value for key, value in table.items() if value or (key == "pieces" and base)}, own

    def _card_table(self, path):
        """The card's file, and its values that differ."""
        import tomlkit

        rates, file = self.rates, self.rates.path
        base = RateCard.load(file) if file else RateCard.default()
        if rates.hours != base.hours:
            raise InputError("the working hours differ from the card's file: save the card itself and load it first.")
        table, values = {"file": _from(path, file)} if file else {}, tomlkit.table()
        for key, entry in rates.entries.items():
            if entry.value != base[key]:
                values[key] = tomlkit.item(float(entry.value)).comment(f"{entry.unit}; the card has {base[key]:g}")
        making = [ware for ware in base.bought if ware not in rates.bought]
        return table | ({"making": making} if making else {}) | ({"values": values} if values else {})


def file_name(name):
    """What a setting's file is called after its name: letters and digits, others as hyphens.

    >>> file_name("Six by January (inch)")
    'Six-by-January-inch'
    """
    return "-".join(re.findall(r"\w+", name)) if isinstance(name, str) else ""


def settings_in(folder="."):
    """The settings kept in a folder: {name: path}; files that cannot be read are left out."""
    found = {}
    for path in sorted(Path(folder).glob(f"*{ENDING}")):
        try:
            found[str(read_toml(path).get("name", path.name))] = path
        except InputError:
            continue
    return found


def same_kit(kit, other):
    """Whether two kits have the same parts, as many pieces of each."""
    pairs = zip(kit.parts, other.parts, strict=False)
    return len(kit.parts) == len(other.parts) and all(a.count == b.count and _alike(a, b) for a, b in pairs)


def _alike(item, other):
    """Whether two KitParts are one part: name, features and sizes, to what a written number or mesh leaves of them."""
    if other is None:
        return False
    names = [(one.part.name, one.bores, one.sockets, one.faces, one.part.mesh is None) for one in (item, other)]
    # A mesh that was written and read again may tell a few facets' overhang otherwise.
    fields = ("volume_cm3", "area_cm2", *(("overhang_cm2", "support_cm3") if item.part.mesh is None else ()))
    sizes = [(*one.box_mm, *(getattr(one, field) for field in fields)) for one in (item.part, other.part)]
    return names[0] == names[1] and np.allclose(*sizes, rtol=1e-6, atol=0)


def _from(path, file):
    """The way to a file from that of the setting, as any system reads it."""
    try:
        return Path(os.path.relpath(file, path.resolve().parent)).as_posix() if file else None
    except ValueError:  # another drive
        return Path(file).as_posix()


def _mesh_path(path, part):
    """Where the mesh of a part is written, beside the setting's file."""
    return path.with_name(f"{path.name.removesuffix(ENDING)}-{file_name(part.name)}.stl")


def _part_table(item, path):
    """A KitPart as a [[part]] table of a kit's file, with the name of its mesh beside the setting."""
    part = item.part
    table = {"name": part.name, "count": int(item.count)}
    if part.mesh is not None:
        table["mesh"] = _mesh_path(path, part).name
    else:
        table |= {"volume_cm3": part.volume_cm3, "area_cm2": part.area_cm2, "box_mm": part.box_mm.tolist()}
        table |= {"overhang_cm2": part.overhang_cm2, "support_cm3": part.support_cm3}
    holes = {key: [asdict(one) for one in getattr(item, key)] for key in ("bores", "sockets", "faces")}
    return table | {key: value for key, value in holes.items() if value}


# The file, as it is checked -----------------------------------------------------------------------------


@dataclass(frozen=True)
class _KitTable(FromTable):
    file: str | None = None
    name: str | None = None
    volume_cm3: float | None = None
    pieces: Mapping[str, int] | None = None
    part: tuple[dict, ...] = ()

    def read(self, folder):
        base = Kit.load(folder / self.file) if self.file else None
        known = {item.part.name: item for item in base.parts} if base else {}
        pieces = {name: item.count for name, item in known.items()} if self.pieces is None else self.pieces
        if unknown := [name for name in pieces if name not in known]:
            raise InputError(f"pieces: {self.file} has no part {unknown[0]!r}; it has {', '.join(known) or 'none'}.")
        own, faults = parts_from(list(self.part), folder)
        if faults:
            raise InputError("; ".join(faults))
        items = tuple(replace(known[name], count=count) for name, count in pieces.items()) + own
        name = self.name or (base.name if base else "kit")
        return replace(base, name=name, parts=items) if base else Kit(name, items)


@dataclass(frozen=True)
class _CardTable(FromTable):
    file: str | None = None
    making: tuple[str, ...] = ()
    values: Mapping[str, float] = field(default_factory=dict)

    def read(self, folder):
        card = RateCard.load(folder / self.file) if self.file else RateCard.default()
        return (card.making(*self.making) if self.making else card).replace(self.values)


@dataclass(frozen=True)
class _File(FromTable):
    name: str
    alloy: str
    quantity: int
    start: str
    kit: _KitTable
    card: _CardTable = field(default_factory=_CardTable)
    batch_size: int | None = None
    deadline: str | None = None
    price_of_day: float | None = None
    routes: tuple[str, ...] | None = None
