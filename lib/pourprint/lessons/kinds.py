"""The kinds of exercise: typed numbers, orders, choices with a reason, predictions, mistakes and free designs."""

import math
import re
from dataclasses import dataclass
from itertools import pairwise

from pourprint.lessons.exercises import Field, Question, Slider, Verdict

# Units that a student may choose between, by what they measure, each in terms of the first.
DIMENSIONS = {
    "a length": {"mm": 1, "cm": 10, "m": 1000},
    "an area": {"cm²": 1, "mm²": 0.01, "m²": 10_000},
    "a volume": {"cm³": 1, "mm³": 0.001, "L": 1000},
    "a time": {"h": 1, "min": 1 / 60, "s": 1 / 3600, "days": 24},
    "a mass": {"kg": 1, "g": 0.001},
    "a share": {"of 1": 1, "%": 0.01},
}
STRANGERS = ("mm", "cm²", "cm³", "h", "kg")  # offered beside the fitting ones, so that the unit is a decision
# A hint for free designs; the notebooks' own panels show the demo frame, a class may have another.
PANEL = "room = pp.lessons.classroom() is your class: open pp.panels.compare_panel(room.kit, room.rates, room.start)"
NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,2})?")


def number_of(text):
    """A typed number as float, or None; blanks are left out, a comma is a decimal comma.

    >>> number_of("1 234,5"), number_of("1,234.5"), number_of("12 h")
    (1234.5, 1234.5, None)
    """
    text = re.sub(r"[\s'_]", "", text).replace("−", "-")
    if "," in text and "." in text:  # the one that stands last is the decimal mark
        text = text.replace("," if text.rfind(".") > text.rfind(",") else ".", "")
    return float(text.replace(",", ".")) if NUMBER.fullmatch(text) else None


def dimension_of(unit):
    """(what the unit measures, its units), or None for a unit that is shown rather than asked for."""
    return next(((name, units) for name, units in DIMENSIONS.items() if unit in units), None)


def percent(share):
    """A share of one as text: 0.55 is "55 %"."""
    return f"{100 * share:g} %"


def shown(value):
    """A number as text with four significant digits, whole numbers whole."""
    return f"{value:,.0f}" if value == round(value) or abs(value) >= 10_000 else f"{value:.4g}"


@dataclass(frozen=True)
class Number:
    """A number to be typed: the right value in a unit, its tolerance [-], and the known slips.

    `slips` {short name: (value, what to say)}; a slip that happens to give the right number is left out.
    `whole`: counts, which must be right to the piece.
    """

    value: float
    unit: str
    slips: dict
    tolerance: float = 0.01
    whole: bool = False

    def fields(self, label="your answer"):
        """A field for the number, and one for the unit where a choice of unit makes sense."""
        known = dimension_of(self.unit)
        if not known:
            return (Field("value", f"{label} [{self.unit}]"),)
        units = dict.fromkeys([*known[1], *STRANGERS])
        return (Field("value", label), Field("unit", "unit", {unit: unit for unit in sorted(units)}))

    def answer(self):
        """A right answer as texts."""
        text = f"{self.value:.0f}" if self.whole else f"{self.value:.6g}"
        return {"value": text, **({"unit": self.unit} if dimension_of(self.unit) else {})}

    def _near(self, value, right):
        """Whether a value is that number; of counts, whole numbers must agree, broken ones only nearly."""
        if self.whole and (value == round(value) or right == round(right)):
            return value == right
        return math.isclose(value, right, rel_tol=self.tolerance, abs_tol=1e-12)

    def judge(self, answer):
        """The Verdict on {"value", "unit"}."""
        given = number_of(answer["value"])
        if given is None:
            hint = f"“{answer['value']}” is not a plain number: type digits only, such as 12.5."
            return Verdict(False, hint, "no number")
        value, known = given, dimension_of(self.unit)
        if known:
            name, units = known
            if answer["unit"] not in units:
                return Verdict(False, f"The unit does not fit: the question asks for {name}.", "unit")
            value = given * units[answer["unit"]] / units[self.unit]
        if self._near(value, self.value):
            return Verdict(True, "Right.")
        if known and any(self._near(given * size / units[self.unit], self.value) for size in units.values()):
            return Verdict(False, "The digits are good, but not with this unit: check which unit they are in.", "unit")
        return self._slip(value)

    def _slip(self, value):
        for name, (wrong, say) in self.slips.items():
            if not self._near(wrong, self.value) and self._near(value, wrong):
                return Verdict(False, say, name)
        if not self.whole and self.value and value and value / self.value > 0:  # a count has no units to convert
            power = math.log10(value / self.value)
            if abs(round(power)) >= 1 and abs(power - round(power)) < 0.0044:  # within 1 %
                say = "The digits are good, but off by a power of ten: check the decimal point and every conversion."
                return Verdict(False, say, "factor of ten")
        if self.value and self._near(-value, self.value):
            return Verdict(False, "The size is good, the sign is not: what is taken from what?", "sign")
        if self.whole and value != round(value):
            return Verdict(False, "This counts whole pieces: can there be a part of one?", "not whole")
        if abs(value - self.value) <= 0.05 * abs(self.value):
            how = "a count is right or wrong" if self.whole else "keep more digits on the way, round at the end"
            return Verdict(False, f"Close, but not close enough: {how}.", "near")
        side = "large" if value > self.value else "small"
        far = " by more than half" if not 0.5 < value / (self.value or 1) < 2 else ""
        return Verdict(False, f"Your number is too {side}{far}. A hint may help.", f"too {side}")


def numeric(text, number, working, hints=(), source=""):
    """A number to work out."""
    return Question(text, number.fields(), number.judge, number.answer(), working, hints, source)


def order(draw, text, steps, why, working, hints=(), source=""):
    """Steps to be put in order: `steps` in the right order; `why(early, late)` says why one cannot come first."""
    offered = draw.shuffled("order", steps)
    keys = {chr(ord("A") + i): step for i, step in enumerate(offered)}
    letters = {step: key for key, step in keys.items()}
    places = tuple(Field(str(i + 1), f"place {i + 1}", keys) for i in range(len(steps)))

    def judge(answer):
        given = [keys[answer[place.key]] for place in places]
        twice = next((step for step in given if given.count(step) > 1), None)
        if twice:
            return Verdict(False, f"‘{twice}’ stands in more than one place.", "twice")
        for early, late in pairwise(given):
            if steps.index(early) > steps.index(late):
                say = f"‘{early}’ cannot come before ‘{late}’. {why(early, late)}"
                return Verdict(False, say, f"{early} before {late}")
        return Verdict(True, "Right.")

    worked = {str(i + 1): letters[step] for i, step in enumerate(steps)}
    return Question(text, places, judge, worked, working, hints, source)


def by_stage(plan):
    """For `order`: why a step of a plan cannot come before another, from the stages to which they belong."""
    stages = {step.name: step.stage.title for step in plan.steps}

    def why(early, late):
        if stages[early] == stages[late]:
            return f"Both belong to “{stages[early]}”: which of them needs what the other leaves?"
        return f"It belongs to “{stages[early]}”, the other to “{stages[late]}”."

    return why


@dataclass(frozen=True)
class Option:
    """One choice: its text, and what to say to who takes it wrongly ("" for the right one)."""

    text: str
    say: str = ""


def _offered(draw, name, options):
    """Options {key: Option} in a drawn order, lettered: ({letter: text}, {letter: Option}, right letter)."""
    texts = draw.shuffled(name, [option.text for option in options])
    by_text = {option.text: option for option in options}
    lettered = {chr(ord("A") + i): by_text[text] for i, text in enumerate(texts)}
    right = next(letter for letter, option in lettered.items() if not option.say)
    return {letter: option.text for letter, option in lettered.items()}, lettered, right


def choose(draw, text, options, reasons, working, hints=(), source="", asks=("your choice", "because")):
    """A choice and its reason, both to be right; exactly one Option of each has nothing to say against it."""
    shown_options, by_letter, right = _offered(draw, "options", options)
    shown_reasons, why, good = _offered(draw, "reasons", reasons)
    fields = (Field("choice", asks[0], shown_options), Field("reason", asks[1], shown_reasons))

    def judge(answer):
        choice, reason = by_letter[answer["choice"]], why[answer["reason"]]
        if choice.say:
            return Verdict(False, choice.say, choice.text)
        if reason.say:
            return Verdict(False, f"The first answer is right, the second is not. {reason.say}", reason.text)
        return Verdict(True, "Both answers are right.")

    return Question(text, fields, judge, {"choice": right, "reason": good}, working, hints, source)


def predict(draw, text, options, truth, slider, reasons, working, hints=(), source=""):
    """Predict first, then move a slider and see, then say why.

    `options` are texts, `truth` the one that comes true. The prediction is recorded; the reason is what is marked.
    """
    keys = {chr(ord("A") + i): option for i, option in enumerate(options)}
    shown_reasons, why, good = _offered(draw, "reasons", reasons)
    fields = (
        Field("prediction", "your prediction", keys),
        Field("reason", "what you see comes about because", shown_reasons, later=True),
    )

    def judge(answer):
        if not answer["reason"]:
            say = "Your prediction is noted. Now move the slider, see what happens, and choose the reason."
            return Verdict(False, say, "predicted")
        if why[answer["reason"]].say:
            return Verdict(False, why[answer["reason"]].say, why[answer["reason"]].text)
        came = "came true" if keys[answer["prediction"]] == truth else f"did not come true; what happens: {truth}"
        return Verdict(True, f"Right. Your prediction {came}.")

    worked = {"prediction": next(k for k, option in keys.items() if option == truth), "reason": good}
    return Question(text, fields, judge, worked, working, hints, source, slider=slider)


def mistake(text, lines, wrong, sound, number, working, hints=(), source=""):
    """A worked calculation with one wrong line: find it, and give the right result.

    `wrong` is the number of the line, from 1; `sound` {line number: why it is sound} for lines that tempt.
    """
    keys = {str(i + 1): f"line {i + 1}" for i in range(len(lines))}
    fields = (Field("line", "the line with the mistake", keys), *number.fields("the right result"))

    def judge(answer):
        if answer["line"] != str(wrong):
            say = sound.get(int(answer["line"]), "It agrees with the lines before it.")
            return Verdict(False, f"Line {answer['line']} is sound. {say}", f"line {answer['line']}")
        found = number.judge(answer)
        return found if found.right else Verdict(False, f"The line is found. The result: {found.say}", found.slip)

    return Question(text, fields, judge, {"line": str(wrong), **number.answer()}, working, hints, source, tuple(lines))


@dataclass(frozen=True)
class Aim:
    """One aim of a design: its short name, what is wanted, whether it is met, and what came out."""

    name: str
    wanted: str
    met: bool
    came_out: str


def design(text, fields, outcome, worked, working, hints=(), source=""):
    """A free task scored by its outcome: `outcome` turns an answer into a list of Aim, all to be met.

    It returns a text instead, what to mend, where an answer cannot be made into a plan.
    """

    def judge(answer):
        aims = outcome(answer)
        if isinstance(aims, str):
            return Verdict(False, aims, "no plan")
        missed = [aim for aim in aims if not aim.met]
        said = " ".join(f"{'Met' if aim.met else 'NOT met'}: {aim.wanted} (now {aim.came_out})." for aim in aims)
        return Verdict(not missed, said, missed[0].name if missed else "")

    return Question(text, fields, judge, worked, working, hints, source)


def no_such_batch(given, quantity):
    """What to say of a batch size that is not a whole number from 1 to the quantity."""
    return f"The batch size must be a whole number from 1 to {quantity}, not “{given}”."


__all__ = [
    "PANEL",
    "Aim",
    "Number",
    "Option",
    "Slider",
    "by_stage",
    "choose",
    "design",
    "mistake",
    "no_such_batch",
    "numeric",
    "order",
    "percent",
    "predict",
]
