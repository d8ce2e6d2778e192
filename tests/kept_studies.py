"""The studies of the demo nodes that come with the library, so that its notebooks open without measuring: as they
are read from their files, and as the demo frame makes them, these of aluminium alone.

Where a study or a demo node changes, write them anew:

    python tests/kept_studies.py
"""

from functools import partial

from pourprint.ledger.alloys import alloys
from pourprint.parts import kept
from pourprint.parts.frame import Frame
from pourprint.parts.mending import FORMATS, file_key, read_fresh
from pourprint.parts.part import Measures
from pourprint.process.freezing.section_modulus import METALS, section_in
from pourprint.process.powder.nesting import learnt
from pourprint.process.powder.orientation import Orientations
from pourprint.process.sand.parting import PartingStudy
from pourprint.process.shell.clusters import Seat
from pourprint.process.strength.lighten import Task, search, search_key
from pourprint.process.strength.loads import frame_loads
from pourprint.process.walls import Walls
from pourprint.routes.looks import OTHER_CELLS, look_in, looked
from pourprint.routes.printed_metal import nested_load
from scenes import DEMO, demo_kit

DEMO_SEARCH = {"share": 0.68, "cell_mm": 3.0, "iterations": 40}  # of notebook 08
KINDS = (Measures, Orientations, PartingStudy, Seat, Walls, *(section_in(metal) for metal in range(len(METALS))))


def fresh():
    """All of them measured now: {name: how to make it}."""
    made = {}
    for path in sorted((DEMO / "nodes").iterdir()):
        if path.suffix in FORMATS:
            data = path.read_bytes()
            made[kept.name_of(*file_key(path, data, "mm"))] = partial(read_fresh, path, data, "mm")
    for kit, metals in ((demo_kit(), METALS), (Frame.load(DEMO / "rover_frame.toml").kit(), METALS[:1])):
        for entry in kit.parts:
            shape = entry.part.shape
            for kind in KINDS:
                made[kept.name_of(shape.content, kind)] = partial(kind.measured, shape.vertices, shape.faces)
            looks = [look_in(alloys()[METALS[0]], OTHER_CELLS)]  # what notebook 03 shows on two grids is of aluminium
            for metal in metals:
                looks += [look_in(alloys()[metal]), look_in(alloys()[metal], OTHER_CELLS, shell=True)]
            for kind in looks:
                made[kept.name_of(shape.content, kind)] = partial(looked, entry.part, kind)
        load = nested_load(kit.parts)
        made[kept.name_of(*load.key)] = partial(learnt, load)
    return made


def searched():
    """The search of notebook 08, which takes a minute: {name: how to make it}."""
    frame = Frame.load(DEMO / "rover_frame.toml")
    task = Task.of(frame, frame_loads(frame), "rocker_pivot")
    return {kept.name_of(*search_key(task, **DEMO_SEARCH)): partial(search, task, **DEMO_SEARCH)}


if __name__ == "__main__":
    kept.SHIPPED.unlink(missing_ok=True)  # or studies that rest on others would take the old ones
    kept.write(kept.SHIPPED, {name: make() for name, make in (fresh() | searched()).items()})
    print(f"{kept.SHIPPED.name}: {kept.SHIPPED.stat().st_size / 1000:.0f} kB")
