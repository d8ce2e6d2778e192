"""A part of one's own without code: a mesh that is dropped on the panel, or numbers that are typed."""

import html
import signal
import tempfile
import threading
from contextlib import contextmanager
from pathlib import Path

import ipywidgets as widgets

from pourprint.figures.part import findings_picture
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.ledger.typed_numbers import read_number
from pourprint.panels.controls import folded
from pourprint.panels.drop import Drop
from pourprint.panels.live import LiveFigure, guarded, status_line
from pourprint.parts.mending import FORMATS, USUAL_MM
from pourprint.parts.part import Part
from pourprint.plans.jobs import Job
from pourprint.routes import plan_all

MOST_BYTES, MOST_S = 40_000_000, 60
DROP = "drop a mesh here, or choose one"
TALL_PX = 330
GUESSES = ("mm", "inch", "cm", "m")


def own_part(add):
    """A folded box in which a part is measured and then handed to `add(part, count)`, which returns an alloy's
    name and what stands against the part in it, the worst first: a widget.

    A file that is dropped is measured at once; it stays on this machine; its unit is guessed from its size unless one
    is chosen.
    """
    drop = Drop(lambda: safely(True), accept=",".join(FORMATS), most=MOST_BYTES)
    drop.told.news = DROP
    unit = widgets.Dropdown(options=["guess", *GUESSES], description="its unit")
    count = widgets.Text("1", description="pieces a kit")
    numbers = [widgets.Text(description=name) for name in ("volume, cm³", "area, cm²", "box, mm")]
    numbers[2].placeholder = "90 x 70 x 60"
    measure = widgets.Button(description="take these numbers")
    found, status = widgets.VBox(), status_line()

    def take(mesh):
        pieces = read_number(count.value)
        check_numbers(whole=True, **{"pieces a kit": pieces})
        if mesh:
            part, said = from_mesh(*drop.file)
        else:
            volume, area = (read_number(field.value) for field in numbers[:2])
            sides = tuple(map(read_number, numbers[2].value.lower().replace("×", "x").split("x")))
            part, said = Part.from_numbers("own part", volume, area, sides), []
        size = " × ".join(f"{side:.4g}" for side in part.box_mm)
        said += [f"{part.title}: {size} mm, {part.volume_cm3:.1f} cm³, {part.area_cm2:.0f} cm².", *part.notes]
        alloy, told = add(part, int(pieces))
        said += [f"{one.verdict} in {alloy}: {one}." for one in told[:1]]
        picture = [LiveFigure(findings_picture(part, told).figure.update_layout(height=TALL_PX))] if part.mesh else []
        found.children = [widgets.HTML("".join(f"<p>{html.escape(line)}</p>" for line in said)), *picture]

    def from_mesh(name, content):
        try:
            with within(MOST_S, name):
                drop.told.news = f"{name}, 1 of 2: reading, mending, measuring …"
                part, read_in = measured(name, content, unit.value)
                drop.told.news = f"{name}, 2 of 2: trying every route …"
                plan_all(Job(part, "AlSi7Mg"))  # what is studied is known from here on
        finally:
            drop.told.news = DROP
        return part, [f"Read in {read_in}" + ", by a guess from its size." * (unit.value == "guess")]

    safely = guarded(take, status)
    measure.on_click(lambda button: safely(False))
    unit.observe(lambda change: drop.file and safely(True), "value")
    for widget in (unit, count, *numbers):
        widget.style.description_width = "90px"
    typed = folded("or three numbers", *numbers, measure)
    return folded("a part of your own", drop, unit, count, typed, status, found).add_class("pourprint-screen")


class _Late(BaseException):  # no study that takes a fault for an answer may take this for one, and keep it
    """A measurement takes too long."""


@contextmanager
def within(seconds, name):
    """Refuse what takes longer, as soon as Python gets a word in. Raises: InputError."""

    def late(*_):
        raise _Late

    if not hasattr(signal, "SIGALRM") or threading.current_thread() is not threading.main_thread():
        yield  # this system, or this thread, has no alarm
        return
    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    except _Late:
        said = f"{name} takes more than {seconds} s to measure: save it with fewer facets and drop it again."
        raise InputError(said) from None
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def measured(name, content, unit="guess"):
    """A Part from the bytes of a mesh file, and the unit in which it is read: "guess" takes the first of mm, inch, cm
    and m in which its longest side is that of a node.

    Raises: InputError, in the words that mm gets where the file can be read in no unit.
    """
    if len(content) > MOST_BYTES:
        raise InputError(f"{name} has {len(content) / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are read here.")
    refused = None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, Path(name).name)
        path.write_bytes(content)
        for one in GUESSES if unit == "guess" else (unit,):
            try:
                part = Part.from_mesh(path, one)
                if unit != "guess" or USUAL_MM[0] <= part.box_mm.max() <= USUAL_MM[1]:
                    return part, one
                refused = InputError(f"{name} has the size of a node in none of {', '.join(GUESSES)}: choose its unit.")
            except InputError as fault:
                refused = refused or fault
    raise refused
