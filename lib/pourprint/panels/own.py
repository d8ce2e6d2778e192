"""A part of one's own without code: a mesh that is dropped on the panel, or numbers that are typed."""

import html
import tempfile
from pathlib import Path

import ipywidgets as widgets

from pourprint.figures.part import part_picture
from pourprint.ledger.errors import InputError
from pourprint.ledger.numbers import read_number
from pourprint.panels.controls import folded
from pourprint.panels.live import LiveFigure, guarded, status_line
from pourprint.parts.mending import FORMATS, USUAL_MM
from pourprint.parts.part import Part

MOST_BYTES = 40_000_000
GUESSES = ("mm", "inch", "cm", "m")


def own_part(add):
    """A folded box in which a part is measured and then handed to `add(part, count)`: a widget.

    A file stays on this machine; its unit is guessed from its size unless one is chosen.
    """
    drop = widgets.FileUpload(accept=",".join(FORMATS), description="mesh: drop or choose")
    unit = widgets.Dropdown(options=["guess", *GUESSES], description="its unit")
    count = widgets.Text("1", description="pieces a kit")
    numbers = [widgets.Text(description=name) for name in ("volume, cm³", "area, cm²", "box, mm")]
    numbers[2].placeholder = "90 x 70 x 60"
    measure = widgets.Button(description="measure and add")
    found, status = widgets.VBox(), status_line()
    words = widgets.HTML("a mesh, or three numbers:")

    def take():
        pieces = read_number(count.value)
        if pieces % 1 or pieces < 1:
            raise InputError(f"pieces a kit must be a whole number of at least 1, not {count.value!r}.")
        if drop.value:
            part, read_in = measured(drop.value[0]["name"], bytes(drop.value[0]["content"]), unit.value)
            said = [f"Read in {read_in}" + ", by a guess from its size." * (unit.value == "guess")]
        else:
            volume, area = (read_number(field.value) for field in numbers[:2])
            sides = tuple(map(read_number, numbers[2].value.lower().replace("×", "x").split("x")))
            part, said = Part.from_numbers("own part", volume, area, sides), []
        size = " × ".join(f"{side:.0f}" for side in part.box_mm)
        said += [f"{part.name}: {size} mm, {part.volume_cm3:.1f} cm³, {part.area_cm2:.0f} cm².", *part.notes]
        text = widgets.HTML("".join(f"<p>{html.escape(line)}</p>" for line in said))
        found.children = [text, LiveFigure(part_picture(part).figure)] if part.mesh else [text]
        add(part, int(pieces))

    measure.on_click(guarded(lambda button: take(), status))
    return folded("a part of your own", drop, unit, words, *numbers, count, measure, status, found)


def measured(name, content, unit="guess"):
    """A Part from the bytes of a mesh file, and the unit in which it is read: "guess" takes the first of mm, inch, cm
    and m in which its longest side is that of a node.

    Raises: InputError, in the words that mm gets where no unit will do.
    """
    if len(content) > MOST_BYTES:
        raise InputError(f"{name} has {len(content) / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are read here.")
    faults = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, Path(name).name)
        path.write_bytes(content)
        for one in GUESSES if unit == "guess" else (unit,):
            try:
                part = Part.from_mesh(path, one)
                if unit != "guess" or USUAL_MM[0] <= part.box_mm.max() <= USUAL_MM[1]:
                    return part, one
            except InputError as fault:
                faults.append(fault)
    raise faults[0] if faults else InputError(f"{name} has the size of a node in none of {', '.join(GUESSES)}.")
