"""The kinds of exercise: typed numbers, orders, choices with a reason, predictions, mistakes and free designs.

Each takes a Task, whose words say everything and which knows the numbers in them, and what only the library knows: the
right answer and the known slips.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from pourprint.ledger.errors import InputError
from pourprint.ledger.typed_numbers import THOUSANDS, read_number
from pourprint.lessons.exercises import NO_NUMBER, NO_PLAN, Field, Slider, Verdict
from pourprint.routes import ROUTES

# Units that a student may choose between, by what they measure, each in terms of the first.
DIMENSIONS = {
    "a length": {"mm": 1, "cm": 10, "m": 1000},
    "an area": {"cm²": 1, "mm²": 0.01, "m²": 10_000},
    "a volume": {"cm³": 1, "mm³": 0.001, "L": 1000},
    "a time": {"h": 1, "min": 1 / 60, "s": 1 / 3600, "days": 24},
    "a mass": {"kg": 1, "g": 0.001},
    "a share": {"of 1": 1, "%": 0.01},
}
ASKS = ["your choice", "because"]
STRANGERS = ("mm", "cm²", "cm³", "h", "kg")  # offered beside the fitting ones, so that the unit is a decision


@dataclass(frozen=True)
class Number:
    """A number to be typed: the right value in a unit, its tolerance [-], and the known slips.

    `slips` {short name: (value, what to say)}. `step` is what the answer may be rounded to, in its unit; `whole`:
    counts, which must be right to the piece.
    """

    value: float
    unit: str
    slips: dict
    tolerance: float = 0.01
    whole: bool = False
    step: float = 0.0

    @property
    def tells_apart(self):
        """Whether no slip leads to the right number."""
        return not any(self.near(wrong, self.value) for wrong, _ in self.slips.values())

    @property
    def dimension(self):
        """(what the unit measures, its units), or ("", {}) for a unit that is shown rather than asked for."""
        return next(((name, units) for name, units in DIMENSIONS.items() if self.unit in units), ("", {}))

    def fields(self, label="your answer"):
        """A field for the number, and one for the unit where a choice of unit makes sense."""
        units = self.dimension[1]
        if not units:
            return (Field("value", f"{label} [{self.unit}]"),)
        return Field("value", label), Field("unit", "unit", {unit: unit for unit in sorted({*units, *STRANGERS})})

    def answer(self):
        """A right answer as texts."""
        text = f"{self.value:.0f}" if self.whole else f"{self.value:.6g}"
        return {"value": text, **({"unit": self.unit} if self.dimension[1] else {})}

    def near(self, value, right):
        """Whether a value is that number; of counts, whole numbers must agree, broken ones only nearly."""
        if self.whole and (value == round(value) or right == round(right)):
            return value == right
        return math.isclose(value, right, rel_tol=self.tolerance, abs_tol=0.5001 * self.step + 1e-12)

    def judge(self, answer):
        """The Verdict on {"value", "unit"}."""
        try:
            given = read_number(answer["value"])
        except InputError as error:
            return Verdict(False, str(error), NO_NUMBER)
        name, units = self.dimension
        if units and answer["unit"] not in units:
            return Verdict(False, f"The unit does not fit: the question asks for {name}.", "unit")
        value = given * units[answer["unit"]] / units[self.unit] if units else given
        if told := self._known(value):
            return told
        if THOUSANDS.fullmatch(answer["value"]) and self._known(value / 1000):
            typed = f"type {answer['value'].replace(',', '.')} or {f'{given / 1000:.2f}'.replace('.', ',')}"
            return Verdict(False, f"A comma before three digits sets off thousands here: {typed}.", NO_NUMBER)
        if any(self.near(given * size / units[self.unit], self.value) for size in units.values()):
            return Verdict(False, "The digits are good, but not with this unit: check which unit they are in.", "unit")
        return self._off(value)

    def _known(self, value):
        """The Verdict on the right value or that of a slip, the first that it is near; None on any other."""
        known = {"": (self.value, "Right."), **self.slips}
        return next((Verdict(not slip, say, slip) for slip, (n, say) in known.items() if self.near(value, n)), None)

    def _off(self, value):
        """The Verdict on a value that is neither right nor a known slip."""
        ratio = value / self.value if self.value else 0
        power = math.log10(ratio) if ratio > 0 and not self.whole else 0  # a count has no units to convert
        if abs(round(power)) >= 1 and abs(power - round(power)) < 0.0044:  # within 1%
            say = "The digits are good, but off by a power of ten: check the decimal point and every conversion."
            return Verdict(False, say, "factor of ten")
        if self.value and self.near(-value, self.value):
            return Verdict(False, "The size is good, the sign is not: what is taken from what?", "sign")
        if self.whole and value != round(value):
            return Verdict(False, "This counts whole pieces: can there be a part of one?", "not whole")
        if abs(ratio - 1) <= 0.05:
            how = "a count is right or wrong" if self.whole else "keep more digits on the way, round at the end"
            return Verdict(False, f"Close, but not close enough: {how}.", "near")
        side = "large" if value > self.value else "small"
        far = "" if 0.5 < ratio < 2 else " by more than half"
        return Verdict(False, f"Your number is too {side}{far}. A hint may help.", f"too {side}")


def _number(task, right, slips):
    """A Task that knows the right answer too, and the Number that its words ask for."""
    task = task.knows(right=right)
    says = task.told("slips")
    slips = {name: (wrong, says[name]) for name, wrong in slips.items()}
    return task, Number(float(right), slips=slips, **task.told("number"))


def numeric(task, right, slips):
    """A number to work out: the right one, and the known slips {short name: value}."""
    task, number = _number(task, right, slips)
    return task.question("numeric", number.fields(), number.judge, number.answer(), number=number)


def mistake(task, wrong, right, slips):
    """Lines of somebody's working, of which `wrong` (from 1) holds a mistake: find it, and give the right result.

    The words may say under `sound` why a line is right.
    """
    task, number = _number(task, right, slips)
    lines, sound = task.told("lines"), task.told("sound", {})
    keys = {str(i): f"line {i}" for i in range(1, len(lines) + 1)}

    def judge(answer):
        line, found = answer["line"], number.judge(answer)
        if not found.is_try:
            return found
        if line != str(wrong):
            say = sound.get(line, "It agrees with the lines before it.")
            return Verdict(False, f"Line {line} is sound. {say}", f"line {line}")
        return found if found.right else Verdict(False, f"The line is found. The result: {found.say}", found.slip)

    fields = Field("line", "the line with the mistake", keys), *number.fields("the right result")
    worked = {"line": str(wrong), **number.answer()}
    return task.question("find the mistake", fields, judge, worked, number=number, lines=tuple(lines))


def _lettered(things):
    return {chr(ord("A") + i): thing for i, thing in enumerate(things)}


def order(task, steps, why):
    """Steps to be put in order: `steps` in the right order; `why(early, late)` says why one cannot come first.

    Of more than six those are kept that the words name as `deciding`, and some others.
    """
    deciding = task.words.get("deciding", [])
    others = [step for step in task.shuffled("kept", steps) if step not in deciding]
    kept = {*deciding, *others[: 6 - len(deciding)]}
    steps = [step for step in steps if step in kept]
    keys = _lettered(task.shuffled("order", steps))
    letters = {step: key for key, step in keys.items()}
    worked = {str(place): letters[step] for place, step in enumerate(steps, start=1)}

    def judge(answer):
        given = [keys[answer[place]] for place in worked]
        twice = next((step for step in given if given.count(step) > 1), None)
        if twice:
            return Verdict(False, f"‘{twice}’ stands in more than one place.", "twice")
        for early, late in pairwise(given):
            if steps.index(early) > steps.index(late):
                say = f"‘{early}’ cannot come before ‘{late}’. {why(early, late)}"
                return Verdict(False, say, f"{early} before {late}")
        return Verdict(True, "Right.")

    places = [Field(place, f"place {place}", keys) for place in worked]
    return task.knows(steps="; ".join(steps)).question("order", places, judge, worked)


def order_of_route(task, room, route, first, last):
    """Steps of a route to be put in order, from one stage to another; their stages say why one cannot come first."""
    steps = room.making.plan(route).steps
    stages = {step.name: step.stage.title for step in steps if first <= step.stage <= last}

    def why(early, late):
        if stages[early] == stages[late]:
            return f"Both belong to “{stages[early]}”: which of them needs what the other leaves?"
        return f"It belongs to “{stages[early]}”, the other to “{stages[late]}”."

    return order(task, [*stages], why)


@dataclass(frozen=True)
class _Menu:
    """A choice of options: its field, the right one's letter, and what is said to who takes another {text: say}."""

    field: Field
    right: str
    says: Mapping

    @property
    def right_text(self):
        return self.field.options[self.right]

    def refused(self, answer):
        """The Verdict on a wrong option, None on the right one."""
        text = self.field.options[answer[self.field.key]]
        return Verdict(False, self.says[text], text) if self.says[text] else None


def _menu(task, drawn, offered, right, again, field):
    """A _Menu that offers options in a drawn order.

    `offered` {key: option}, or options that are their own keys; one is a text, or a text and what is said to who takes
    it wrongly, else `again`. `right` is the key of the right one.
    """
    says = {}
    for key, option in offered.items() if isinstance(offered, Mapping) else zip(offered, offered, strict=True):
        text, *own = [option] if isinstance(option, str) else option
        says[text] = "" if right in (key, text) else (*own, again)[0]
    letters = _lettered(task.shuffled(drawn, says))
    good = next(letter for letter, text in letters.items() if not says[text])
    return _Menu(replace(field, options=letters), good, says)


def choose(task, right, because, options=None, reasons=None):
    """A choice and its reason, both to be right: `right` and `because` are their keys among the options.

    Options and reasons stand in the words, but for those that only the library knows.
    """
    again = task.told("again", "")
    asks, because_of = (Field(*pair) for pair in zip(("choice", "reason"), task.told("asks", ASKS), strict=True))
    choice = _menu(task, "options", options or task.told("options"), right, again, asks)
    told, why = reasons or task.told("reasons"), task.told("again_why", again)
    reason = _menu(task, "reasons", told, because, why, because_of)

    def judge(answer):
        if refused := choice.refused(answer):
            return refused
        if refused := reason.refused(answer):
            return replace(refused, say=f"The first answer is right, the second is not. {refused.say}")
        return Verdict(True, "Both answers are right.")

    task = task.knows(choice=choice.right_text, reason=reason.right_text)
    worked = {"choice": choice.right, "reason": reason.right}
    return task.question("choose and justify", (choice.field, reason.field), judge, worked)


def in_words(task, room, **_):
    """A choice and its reason in words alone: one of `words`, in which the first option and first reason are right.

    It stands for exercises without a function of their own too; what was drawn the task knows already.
    """
    case = task.choice("case", task.words["words"])
    task = replace(task, words={**task.words, **case})
    return choose(task, *(task.told(menu)[0][0] for menu in ("options", "reasons")))


GROWTHS = ["it stays the same", *(f"it grows by {how} factor" for how in ("a smaller", "the same", "a larger"))]


def growth_of(ratio, factor):
    """For `predict`: those of GROWTHS that come true where something grows to `ratio` times, another to `factor`."""
    place = 0 if abs(ratio - 1) < 1e-3 else 2 if abs(ratio / factor - 1) < 1e-3 else 1 if ratio < factor else 3
    return GROWTHS[place : place + 1]


def predict(task, truths, because, now):
    """Predict first, then move a slider and see, then say why.

    `truths` are the `options` of the words (default: GROWTHS) that come true, `because` the key of the right reason;
    `now(place)` what the words call `now` at a place of the slider; of what `happens`, where the words know several
    things, it is the one of that reason. The prediction is recorded, the reason is marked.
    """
    task = task.knows(happens=task.told("happens", {}).get(because))
    keys = _lettered(task.told("options", GROWTHS))
    later = Field("reason", "what you see comes about because", later=True)
    reason = _menu(task, "reasons", task.told("reasons"), because, task.told("again", ""), later)
    moved = task.words["slider"]
    places = tuple(range(moved["low"], moved["high"] + 1, moved.get("step", 1)))

    def says(place):
        return task.knows(now=now(place)).filled(moved["says"])

    def judge(answer):
        if not answer["reason"]:
            say = "Your prediction is noted. Now move the slider, see what happens, and choose the reason."
            return Verdict(False, say, "predicted")
        came = keys[answer["prediction"]] in truths
        what = "came true" if came else f"did not come true; what happens: {' or '.join(truths)}"
        return reason.refused(answer) or Verdict(True, f"Right. Your prediction {what}.")

    fields = Field("prediction", "your prediction", keys), reason.field
    worked = {"prediction": next(key for key, option in keys.items() if option in truths), "reason": reason.right}
    slider = Slider(moved["name"], moved["unit"], places, says)
    task = task.knows(reason=reason.right_text, before=now(places[0]))
    return task.question("predict", fields, judge, worked, slider=slider)


def design(task, fields, outcome, worked):
    """A free task scored by its outcome.

    `fields` {key: options, none for what is typed}; their labels stand in the words. `outcome` turns an answer into
    {aim: (whether it is met, what came out)}, all to be met; the words say under `aims` what is wanted. It raises an
    InputError, what to mend, where an answer cannot be made into a plan.
    """
    labels, wanted = task.told("fields"), task.told("aims")

    def judge(answer):
        try:
            aims = outcome(answer)
        except InputError as error:
            return Verdict(False, str(error), NO_PLAN)
        missed = [aim for aim, (met, _) in aims.items() if not met]
        said = (f"{'Met' if met else 'NOT met'}: {wanted[aim]} (now {now})." for aim, (met, now) in aims.items())
        return Verdict(not missed, " ".join(said), missed[0] if missed else "")

    return task.question("free design", [Field(key, labels[key], fields[key]) for key in fields], judge, worked)


def typed(text, what, low, high, whole=False):
    """A typed number from low to high. Raises: InputError for any other, or for a broken one of what is `whole`."""
    value = read_number(text)
    if not low <= value <= high or (whole and value != round(value)):
        raise InputError(f"The {what} must be a {'whole ' * whole}number from {low:g} to {high:g}, not “{text}”.")
    return value


def design_batches(task, choices, aims, chosen):
    """A `design` of a route and a batch size for some kits.

    `choices` {(route, batch size): what comes of it}, as of `Classroom.batches`; `aims(*what comes of it)` as the
    outcome of `design`; `chosen` one that meets them.
    """
    most, (route, size) = max(size for _, size in choices), chosen
    routes = {name: ROUTES[name].TITLE for name, _ in choices}

    def outcome(answer):
        return aims(*choices[answer["route"], typed(answer["batch"], "batch size", 1, most, whole=True)])

    task = task.knows(kits=f"{most} kit{'s' * (most > 1)}", title=routes[route], size=size)
    return design(task, {"route": routes, "batch": {}}, outcome, {"route": route, "batch": str(size)})
