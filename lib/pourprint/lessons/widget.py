"""The answer box and the sign-in box: fields, Check, Hint and spoken feedback. No model and no marking inside."""

from html import escape
from pathlib import Path

import anywidget
import ipywidgets as widgets

from pourprint.ledger.errors import InputError
from pourprint.lessons import answers as saved
from pourprint.lessons.answers import Event
from pourprint.lessons.catalogue import exercise_named
from pourprint.lessons.classroom import classroom
from pourprint.lessons.exercises import EMPTY
from pourprint.lessons.numbers import GUEST
from pourprint.panels.controls import named, number_row, unit_of

GUEST_NOTE = (
    "<p class='pourprint-guest' style='margin:4px 0;font-size:0.9em;line-height:1.4'>You work as a <b>guest</b>: "
    "answers are kept, but they are not yours and cannot be marked. Sign in with <code>pp.lessons.sign_in()</code>; "
    "your numbers will then differ from these.</p>"
)
FIELD = "pourprint-field-"  # marks a field in the page by its key
LONG = 80  # letters of an option that stands in a list above its menu
FRAME = {"border": "1px solid #767676", "padding": "4px 14px 10px", "margin": "6px 0", "max_width": "920px"}


class Buttons(anywidget.AnyWidget):
    """Check and Hint, which send what the fields show when they are pressed."""

    _esm = Path(__file__).with_name("answer_buttons.js")


class AnswerBox:
    """One exercise posed to whoever is signed in; `widget` is what is shown, the rest serves tests."""

    def __init__(self, name, class_file=None, folder="."):
        self.exercise, self.class_file, self.folder = exercise_named(name), class_file, folder
        self.task, self.status, self.hints, self.after = (widgets.HTML() for _ in range(4))
        self.entries, self.later, self.buttons, self.unsaved = widgets.VBox(), widgets.VBox(), Buttons(), []
        self.pose()
        self.buttons.on_msg(lambda _, content, __: self._heard(content))
        parts = [self.task, self.entries, self.later, self.buttons, self.status, self.hints, self.after]
        self.widget = widgets.VBox(parts, layout=FRAME).add_class("pourprint-exercise")

    def pose(self):
        """Show the question with the numbers of who is signed in, and what that student has answered before."""
        self.room = classroom(self.class_file, self.folder)
        self.student = saved.signed_in(self.folder)
        self.question = self.exercise.question(self.room, self.student)
        self.inputs = {part.key: _input(part) for part in self.question.fields}
        self.entries.children = self._fields(later=False)
        self.later.children, self.after.value, self.task.value = [], "", self._task()
        done = self._done()
        self._show_hints(done.hints(self.exercise.name))
        before = [event.answer for event in done.of(self.exercise.name)]
        if before:  # once solved it stays solved, whatever was tried afterwards
            back = next((answer for answer in reversed(before) if self.question.check(answer).right), before[-1])
            for key, box in self.inputs.items():
                _fill(box, back.get(key))
            self._show(self.question.check(back), f"Saved earlier, after {_tries(len(before))}. ")
        else:
            lost = f"Lines in {saved.file_of(self.folder, self.student).name} that cannot be read: {done.lost}."
            self._say("", lost if done.lost else "")

    def _done(self):
        return saved.read(self.folder, self.room.code, self.student)

    def _fields(self, later):
        fields = [part for part in self.question.fields if part.later == later]
        return [_shown(part, self.inputs[part.key].add_class(FIELD + part.key)) for part in fields]

    def _task(self):
        items = "".join(f"<li>{escape(line)}</li>" for line in self.question.lines)
        lines = f"<ol style='line-height:1.45'>{items}</ol>" if items else ""
        who = "" if self.student == GUEST else f" · numbers of {escape(self.student)}"
        asks = f"<p style='margin:4px 0;line-height:1.45'>{escape(self.question.text)}</p>{lines}"
        kind = f"<small>({self.question.kind}{who})</small>"
        return f"<h4 style='margin:6px 0'>{escape(self.exercise.title)} {kind}</h4>{'' if who else GUEST_NOTE}{asks}"

    def _heard(self, content):
        """A button was pressed in the browser: its message brings what the fields show at that moment."""
        answer = {}
        for key, seen in content["fields"].items():
            options = getattr(self.inputs[key], "options", None)
            answer[key] = options[seen][1] if options else seen
        self.press(content["press"], answer)

    def press(self, button, answer=None):
        """Press "check" or "hint", with an answer {field key: text} (default: what the fields hold)."""
        if answer is None:
            answer = {key: str(box.value or "") for key, box in self.inputs.items()}
        try:
            if saved.signed_in(self.folder) != self.student:
                self.pose()
                self._say("", f"{self.student} is signed in now, and these are their numbers: answer these.")
            elif button == "check":
                self._check(answer)
            else:
                self._hint()
        except InputError as error:
            self._say("Careful: ", str(error))

    def _check(self, answer):
        verdict = self.question.check(answer)
        if not verdict.is_try:
            return self._show(verdict)
        try:
            done = self._save(Event(saved.now(), self.exercise.name, answer))
        except InputError as error:
            raise InputError(f"{'Right' if verdict.right else 'Not yet'}, but: {error}") from None
        self._show(verdict, f"Saved, {_tries(len(done.of(self.exercise.name)))}. ")

    def _hint(self):
        opened = self._done().hints(self.exercise.name)
        if opened >= len(self.question.hints):
            return self._say("", "There are no further hints.")
        self._show_hints(opened + 1)  # shown even if saving fails
        self._save(Event(saved.now(), self.exercise.name, hint=opened + 1))
        self._say("", f"Hint {opened + 1}: {self.question.hints[opened]}")

    def _save(self, event):
        """Save an event and those that could not be saved before. Raises: InputError, and keeps them."""
        self.unsaved.append(event)
        done = saved.record(self.folder, self.room.code, self.student, self.unsaved)
        self.unsaved = []
        return done

    def _show(self, verdict, saved_as=""):
        if self.question.slider and verdict.slip != EMPTY and not self.later.children:
            self.inputs["prediction"].disabled = True  # a prediction is made once
            self.later.children = [_slider(self.question.slider), *self._fields(later=True)]
        mark = "✓ " if verdict.right else "" if verdict.slip in (EMPTY, "predicted") else "✗ Not yet. "
        self._say(mark, verdict.say, saved_as)
        if verdict.right:
            source = f"<br><b>Source.</b> {escape(self.question.source)}" if self.question.source else ""
            how = f"<b>How.</b> {escape(self.question.working)}{source}"
            self.after.value = f"<p style='margin:4px 0;line-height:1.45'>{how}</p>"

    def _say(self, mark, text, saved_as=""):
        tail = f" <small>{escape(saved_as)}</small>" if saved_as else ""
        self.status.value = _spoken(f"<b>{mark}</b>{escape(text)}{tail}")

    def _show_hints(self, opened):
        """The count and the opened hints, in plain HTML: a label of the buttons would not always reach the page."""
        items = "".join(f"<li>{escape(hint)}</li>" for hint in self.question.hints[:opened])
        count = f"<p style='margin:6px 0 0'>Hints opened: {opened} of {len(self.question.hints)}.</p>"
        self.hints.value = count + (f"<ol style='line-height:1.4;margin:2px 0'>{items}</ol>" if items else "")


def ask(name, class_file=None, folder="."):
    """Pose an exercise: question with the student's own numbers, fields, Check and Hint.

    Parameters: `name` of the exercise; `class_file` (default: `class.toml` found near the notebook); `folder` where
    answers are kept. Returns: a widget. Raises: InputError for an unknown exercise or a faulty class file.
    """
    return AnswerBox(name, class_file, folder).widget


def sign_in(class_file=None, folder="."):
    """The box in which a student signs in, once for all notebooks of a folder, and writes the file to hand in."""
    room, who = classroom(class_file, folder), saved.signed_in(folder)
    # The whole id is sent when the field is left: while it is typed, the last letters could come after the press.
    look = {"style": {"description_width": "initial"}, "layout": {"width": "340px"}, "continuous_update": False}
    entry = widgets.Text("" if who == GUEST else who, description="your student id", **look)
    enter = widgets.Button(description="Sign in", tooltip="remember me in this folder")
    write = widgets.Button(description="Write my hand-in file", layout={"width": "auto"})
    back = f"Signed in as {who}. Your answers come back when you run the cells of a notebook again."
    status = widgets.HTML(_spoken("Nobody is signed in: you work as a guest." if who == GUEST else escape(back)))

    def enters():
        who, then = saved.remember(entry.value, folder), "when you press a button in them, or run their cell again"
        return f"Signed in as {who}. Exercises that are open already change to your numbers {then}."

    def writes():
        path = saved.hand_in(room.code, saved.signed_in(folder), folder)
        return f"Written: {path.name}, beside this notebook. Hand it in as your instructor asks; do not edit it."

    def told(action):
        try:
            said = action()
        except InputError as error:
            said = f"Please check: {error}"
        status.value = _spoken(escape(said))

    enter.on_click(lambda _: told(enters))
    write.on_click(lambda _: told(writes))
    title = widgets.HTML(f"<h4 style='margin:6px 0'>{escape(room.title)}</h4>")
    line = widgets.HBox([entry, enter, write], layout={"flex_flow": "row wrap"})
    return widgets.VBox([title, line, status]).add_class("pourprint-sign-in")


def _spoken(text):
    """HTML that a screen reader reads out when it changes."""
    return f"<div role='status' aria-live='polite' style='line-height:1.45;min-height:1.5em'>{text}</div>"


def _input(part):
    """The ipywidget of a field, labelled by its own text."""
    look = {"description": part.label, "style": {"description_width": "initial"}}
    if not part.options:
        layout = {"width": f"{230 + 7 * len(part.label)}px", "max_width": "100%"}
        return widgets.Text(layout=layout, placeholder="a number", continuous_update=False, **look)
    names = {key: f"{key}: {_cut(text)}" if _is_long(part) else text for key, text in part.options.items()}
    width = max(260, 70 + 8 * (len(part.label) + max(map(len, names.values()))))
    offered = [("choose …", ""), *((name, key) for key, name in names.items())]
    return widgets.Dropdown(options=offered, value="", layout={"width": f"{width}px", "max_width": "100%"}, **look)


def _is_long(part):
    return max(map(len, part.options.values()), default=0) > LONG


def _cut(text):
    """The beginning of a long option, for the closed menu; the whole stands in the list above it."""
    return text if len(text) <= 60 else text[:56].rsplit(" ", 1)[0] + " …"


def _shown(part, box):
    """A field as it is shown: long options stand in a lettered list above their menu."""
    if not _is_long(part):
        return box
    items = "".join(f"<li>{escape(text)}</li>" for text in part.options.values())
    return widgets.VBox([widgets.HTML(f"<ol type='A' style='line-height:1.4;margin:2px 0'>{items}</ol>"), box])


def _fill(box, value):
    """Put an earlier answer back; one that is no longer among the options is left out."""
    options = getattr(box, "options", None)
    if value and (options is None or value in [key for _, key in options]):
        box.value = value


def _slider(slider):
    """The slider of a prediction, with what the model says at its place."""
    places = slider.places
    row = number_row(slider.name, places[0], places[0], places[-1], places[1] - places[0], slider.unit)
    row.widget.children[1].layout.width = "320px"  # there is more room than in a panel's column
    says = widgets.HTML()

    def move():
        at = min(places, key=lambda place: abs(place - row.value))
        where = f"at {at:g} {unit_of(slider.unit, at)}".rstrip()
        says.value = _spoken(f"{where}: {escape(slider.says(at))}")

    row.observe(move)
    move()
    return widgets.VBox([named(row.widget), says])


def _tries(count):
    return "first try" if count == 1 else f"{count} tries"
