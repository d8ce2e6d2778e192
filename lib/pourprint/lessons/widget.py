"""The answer box and the sign-in box: fields, Check, Hint and spoken feedback. No model and no marking inside."""

import html
from functools import cache

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
    "You work as a <b>guest</b>: answers are kept, but they are not yours and cannot be marked. Sign in with "
    "<code>pp.lessons.sign_in()</code>; your numbers will then differ from these."
)
NARROW = widgets.Layout(width="340px")
FIELD = "pourprint-field-"  # marks a field in the page by its key


class AnswerBox:
    """One exercise posed to whoever is signed in; `widget` is what is shown, the rest serves tests."""

    def __init__(self, name, class_file=None, folder="."):
        self.exercise, self.class_file, self.folder = exercise_named(name), class_file, folder
        self.task, self.later, self.status = widgets.HTML(), widgets.VBox([]), widgets.HTML()
        self.hints, self.after = widgets.HTML(), widgets.HTML()
        self.entries, self.buttons, self.unsaved = widgets.VBox([]), _buttons()(), []
        self.pose()
        self.buttons.on_msg(lambda _, content, __: self._heard(content))
        parts = [self.task, self.entries, self.later, self.buttons, self.status, self.hints, self.after]
        frame = widgets.Layout(border="1px solid #767676", padding="4px 14px 10px", margin="6px 0", max_width="920px")
        self.widget = widgets.VBox(parts, layout=frame).add_class("pourprint-exercise")

    def pose(self):
        """Show the question with the numbers of who is signed in, and what that student has answered before."""
        self.room = classroom(self.class_file, self.folder)
        self.student = saved.signed_in(self.folder)
        self.question = self.exercise.question(self.room, self.student)
        self.inputs = {part.key: _input(part) for part in self.question.fields}
        self.entries.children = [self._field(part) for part in self.question.fields if not part.later]
        self.later.children, self.after.value = [], ""
        done, note = saved.read(self.folder, self.room.code, self.student)
        self._show_task()
        self._show_hints(done.hints(self.exercise.name))
        before = [event.answer for event in done.of(self.exercise.name)]
        if before:  # once solved it stays solved, whatever was tried afterwards
            back = next((answer for answer in reversed(before) if self.question.check(answer).right), before[-1])
            for key, box in self.inputs.items():
                _fill(box, back.get(key))
            self._show(self.question.check(back), f"Saved earlier, after {_tries(len(before))}. ")
        else:
            self._say("", note)

    def _field(self, part):
        return _shown(part, self.inputs[part.key].add_class(FIELD + part.key))

    def _show_task(self):
        lines = "".join(f"<li>{html.escape(line)}</li>" for line in self.question.lines)
        guest = (
            f"<p class='pourprint-guest' style='margin:4px 0;font-size:0.9em;line-height:1.4'>{GUEST_NOTE}</p>"
            if self.student == GUEST
            else ""
        )
        who = "" if guest else f" · numbers of {html.escape(self.student)}"
        title = f"{html.escape(self.exercise.title)} <small>({self.exercise.kind}{who})</small>"
        self.task.value = (
            f"<h4 style='margin:6px 0'>{title}</h4>{guest}<p style='margin:4px 0;line-height:1.45'>"
            f"{html.escape(self.question.text)}</p>" + (f"<ol style='line-height:1.45'>{lines}</ol>" if lines else "")
        )

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
        if verdict.slip == EMPTY:
            return self._show(verdict, "")
        done, note = self._save(Event(saved.now(), self.exercise.name, answer))
        self._show(verdict, f"Saved, {_tries(len(done.of(self.exercise.name)))}. ", note)

    def _hint(self):
        opened = saved.read(self.folder, self.room.code, self.student)[0].hints(self.exercise.name)
        if opened >= len(self.question.hints):
            return self._say("", "There are no further hints.")
        self._show_hints(opened + 1)  # shown even if saving fails
        self._save(Event(saved.now(), self.exercise.name, hint=opened + 1))
        self._say("", f"Hint {opened + 1}: {self.question.hints[opened]}")

    def _save(self, event):
        """Save an event and those that could not be saved before. Raises: InputError, and keeps them."""
        self.unsaved.append(event)
        try:
            done, note = saved.record(self.folder, self.room.code, self.student, self.unsaved)
        except InputError as error:
            verdict = self.question.check(event.answer) if event.answer else None
            judged = f"{'Right' if verdict.right else 'Not yet'}, but: " if verdict else ""
            raise InputError(f"{judged}{error}") from None
        self.unsaved = []
        return done, note

    def _show(self, verdict, saved_as, note=""):
        predicted = any(part.later for part in self.question.fields) and verdict.slip != EMPTY
        if predicted and not self.later.children:
            self.inputs["prediction"].disabled = True  # a prediction is made once
            rest = [self._field(part) for part in self.question.fields if part.later]
            self.later.children = [_slider(self.question.slider), *rest]
        mark = "✓ " if verdict.right else "" if verdict.slip in (EMPTY, "predicted") else "✗ Not yet. "
        self._say(mark, f"{verdict.say} {note}", saved_as)
        if verdict.right:
            source = f"<br><b>Source.</b> {html.escape(self.question.source)}" if self.question.source else ""
            self.after.value = (
                f"<p style='margin:4px 0;line-height:1.45'><b>How.</b> {html.escape(self.question.working)}{source}</p>"
            )

    def _say(self, mark, text, saved_as=""):
        tail = f" <small>{html.escape(saved_as)}</small>" if saved_as else ""
        self.status.value = (
            f"<div role='status' aria-live='polite' style='line-height:1.45;min-height:1.5em'><b>{mark}</b>"
            f"{html.escape(text.strip())}{tail}</div>"
        )

    def _show_hints(self, opened):
        """The count and the opened hints, in plain HTML: a label of the buttons would not always reach the page."""
        items = "".join(f"<li>{html.escape(hint)}</li>" for hint in self.question.hints[:opened])
        shown = f"<ol style='line-height:1.4;margin:2px 0'>{items}</ol>" if items else ""
        count = f"Hints opened: {opened} of {len(self.question.hints)}."
        self.hints.value = f"<p style='margin:6px 0 0'>{count}</p>{shown}"


def ask(name, class_file=None, folder="."):
    """Pose an exercise: question with the student's own numbers, fields, Check and Hint.

    Parameters: `name` of the exercise; `class_file` (default: `class.toml` found near the notebook); `folder` where
    answers are kept. Returns: a widget. Raises: InputError for an unknown exercise or a faulty class file.
    """
    return AnswerBox(name, class_file, folder).widget


def sign_in(class_file=None, folder="."):
    """The box in which a student signs in, once for all notebooks of a folder, and writes the file to hand in."""
    room = classroom(class_file, folder)
    # The whole id is sent when the field is left: while it is typed, the last letters could come after the press.
    look = {"style": {"description_width": "initial"}, "layout": NARROW, "continuous_update": False}
    entry = widgets.Text(description="your student id", **look)
    enter = widgets.Button(description="Sign in", tooltip="remember me in this folder")
    write = widgets.Button(description="Write my hand-in file", layout=widgets.Layout(width="auto"))
    status, who = widgets.HTML(), saved.signed_in(folder)
    entry.value = "" if who == GUEST else who

    def say(text):
        status.value = f"<div role='status' aria-live='polite' style='line-height:1.45'>{html.escape(text)}</div>"

    def told(action):
        try:
            say(action())
        except InputError as error:
            say(f"Please check: {error}")

    def enters():
        name = saved.remember(entry.value, folder)
        return (
            f"Signed in as {name}. Exercises that are open already change to your numbers when you press a button in "
            "them, or run their cell again."
        )

    def writes():
        path = saved.hand_in(room.code, saved.signed_in(folder), folder)
        return f"Written: {path.name}, beside this notebook. Hand it in as your instructor asks; do not edit it."

    enter.on_click(lambda _: told(enters))
    write.on_click(lambda _: told(writes))
    back = f"Signed in as {who}. Your answers come back when you run the cells of a notebook again."
    say("Nobody is signed in: you work as a guest." if who == GUEST else back)
    title = widgets.HTML(f"<h4 style='margin:6px 0'>{html.escape(room.title)}</h4>")
    line = widgets.HBox([entry, enter, write], layout=widgets.Layout(flex_flow="row wrap"))
    return widgets.VBox([title, line, status]).add_class("pourprint-sign-in")


def _input(part):
    """The ipywidget of a field, labelled by its own text."""
    style = {"description_width": "initial"}
    if not part.options:
        layout = widgets.Layout(width=f"{230 + 7 * len(part.label)}px", max_width="100%")
        return widgets.Text(
            description=part.label, style=style, layout=layout, placeholder="a number", continuous_update=False
        )
    options = [(_short(key, text) if _is_long(part) else text, key) for key, text in part.options.items()]
    width = 70 + 8 * (len(part.label) + max(len(text) for text, _ in options))
    layout = widgets.Layout(width=f"{min(840, max(260, width))}px")
    offered = [("choose …", ""), *options]
    return widgets.Dropdown(description=part.label, options=offered, value="", style=style, layout=layout)


def _is_long(part):
    return max(map(len, part.options.values()), default=0) > 80


def _short(key, text):
    """The beginning of a long option, for the closed menu; the whole stands in the list above it."""
    return f"{key}: {text if len(text) <= 60 else text[:56].rsplit(' ', 1)[0] + ' …'}"


def _shown(part, box):
    """A field as it is shown: long options stand in a lettered list above their menu."""
    if not _is_long(part):
        return box
    items = "".join(f"<li>{html.escape(text)}</li>" for text in part.options.values())
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
        says.value = (
            f"<p role='status' aria-live='polite' style='margin:4px 0'>{where}: {html.escape(slider.says(at))}</p>"
        )

    row.observe(move)
    move()
    return widgets.VBox([named(row.widget), says])


def _tries(count):
    return "first try" if count == 1 else f"{count} tries"


# The buttons only send, and take nothing from the kernel: a page that is too busy to set up a widget of this kind
# within two seconds drops all that the kernel says to it later (anywidget 0.11). Check and Hint send along what the
# fields show. A field's own message may still wait when a button is pressed (the browser keeps it back while the kernel
# is busy), and then an older answer would be judged.
BUTTONS_SCRIPT = """
const FIELD = "FIELD_MARK";
function render({ model, el }) {
  const filled = () => Object.fromEntries(
    [...el.closest(".pourprint-exercise").querySelectorAll(`[class*="${FIELD}"]`)].map(node => {
      const mark = [...node.classList].find(name => name.startsWith(FIELD));
      const control = node.querySelector("input, select");
      return [mark.slice(FIELD.length), control.tagName === "SELECT" ? control.selectedIndex : control.value];
    }));
  for (const [press, text, title] of [
    ["check", "Check", "check and save your answer"],
    ["hint", "Hint", "open the next hint"],
  ]) {
    const button = document.createElement("button");
    button.className = "lm-Widget jupyter-widgets jupyter-button widget-button";
    button.textContent = text;
    button.title = title;
    button.addEventListener("click", () => model.send({ press, fields: filled() }));
    el.append(button);
  }
  // A screen reader hears which exercise a field belongs to when the box is a group with a name.
  const start = requestAnimationFrame(function attach() {
    const box = el.closest(".pourprint-exercise"), title = box?.querySelector("h4");
    if (!title) return requestAnimationFrame(attach);
    box.setAttribute("role", "group");
    // Without this JupyterLab takes arrow keys from a menu in command mode, and moves to another cell.
    box.addEventListener("focusin", event => event.target.setAttribute("data-lm-suppress-shortcuts", "true"));
    box.setAttribute("aria-label", "exercise: " + title.firstChild.textContent.trim());
  });
  return () => cancelAnimationFrame(start);
}
export default { render };
""".replace("FIELD_MARK", FIELD)


@cache
def _buttons():
    import anywidget  # late, as in the panels: it is slow to import

    return type("Buttons", (anywidget.AnyWidget,), {"_esm": BUTTONS_SCRIPT})
