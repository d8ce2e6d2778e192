"""The kinds of exercise: typed numbers, orders, choices with a reason, predictions, mistakes and free designs."""

import math
from dataclasses import dataclass
from itertools import pairwise

from pourprint.ledger.errors import InputError
from pourprint.ledger.typed_numbers import read_number
from pourprint.lessons.exercises import NO_NUMBER, NO_PLAN, Field, Question, Verdict, told

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


ASKS = "your choice", "because"


def percent(share):
    """A share of one as text: 0.55 is "55 %"."""
    return f"{100 * share:g} %"


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
        if self.near(value, self.value):
            return Verdict(True, "Right.")
        if any(self.near(given * size / units[self.unit], self.value) for size in units.values()):
            return Verdict(False, "The digits are good, but not with this unit: check which unit they are in.", "unit")
        return self._slip(value)

    def _slip(self, value):
        for name, (wrong, say) in self.slips.items():
            if self.near(value, wrong):
                return Verdict(False, say, name)
        ratio = value / self.value if self.value else 0
        power = math.log10(ratio) if ratio > 0 and not self.whole else 0  # a count has no units to convert
        if abs(round(power)) >= 1 and abs(power - round(power)) < 0.0044:  # within 1 %
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


@dataclass(frozen=True)
class Option:
    """One choice: its text, and what to say to who takes it wrongly ("" for the right one)."""

    text: str
    say: str = ""


def _lettered(things):
    return {chr(ord("A") + i): thing for i, thing in enumerate(things)}


def _menu(draw, drawn, options, key, label, later=False):
    """A Field that offers options in a drawn order, the Option behind each letter, and the right letter."""
    by_text = {option.text: option for option in options}
    lettered = _lettered(by_text[text] for text in draw.shuffled(drawn, by_text))
    right = next(letter for letter, option in lettered.items() if not option.say)
    return Field(key, label, {letter: option.text for letter, option in lettered.items()}, later), lettered, right


def numeric(text, number, working):
    """A number to work out."""
    return Question("numeric", text, number.fields(), number.judge, number.answer(), working, number)


def order(draw, text, steps, why, working):
    """Steps to be put in order: `steps` in the right order; `why(early, late)` says why one cannot come first."""
    keys = _lettered(draw.shuffled("order", steps))
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

    places = tuple(Field(place, f"place {place}", keys) for place in worked)
    return Question("order", text, places, judge, worked, working)


def some_of(draw, steps, deciding, count=6):
    """For `order`: some of the steps, in their right order, those that decide among them."""
    others = [step for step in draw.shuffled("kept", steps) if step not in deciding]
    kept = {*deciding, *others[: count - len(deciding)]}
    return [step for step in steps if step in kept]


def by_stage(plan):
    """For `order`: why a step of a plan cannot come before another, from the stages to which they belong."""
    stages = {step.name: step.stage.title for step in plan.steps}

    def why(early, late):
        if stages[early] == stages[late]:
            return f"Both belong to “{stages[early]}”: which of them needs what the other leaves?"
        return f"It belongs to “{stages[early]}”, the other to “{stages[late]}”."

    return why


def choose(draw, text, options, reasons, working, asks=ASKS):
    """A choice and its reason, both to be right; exactly one Option of each has nothing to say against it."""
    choice, choices, right = _menu(draw, "options", options, "choice", asks[0])
    reason, why, good = _menu(draw, "reasons", reasons, "reason", asks[1])

    def judge(answer):
        taken, because = choices[answer["choice"]], why[answer["reason"]]
        if taken.say:
            return Verdict(False, taken.say, taken.text)
        if because.say:
            return Verdict(False, f"The first answer is right, the second is not. {because.say}", because.text)
        return Verdict(True, "Both answers are right.")

    worked = {"choice": right, "reason": good}
    return Question("choose and justify", text, (choice, reason), judge, worked, working)


def in_words(draw, **numbers):
    """A choice and its reason in words alone, as `exercises.toml` has them, with `numbers` put in."""
    case = draw.choice("case", told()[draw.exercise]["words"])
    text, working = (case[key].format(**numbers) for key in ("text", "working"))
    menus = ([Option(*(part.format(**numbers) for part in one)) for one in case[key]] for key in ("options", "reasons"))
    return choose(draw, text, *menus, working, case.get("asks", ASKS))


def predict(draw, text, options, truths, slider, reasons, working):
    """Predict first, then move a slider and see, then say why.

    `options` are texts, `truths` those that come true. The prediction is recorded; the reason is what is marked.
    """
    keys = _lettered(options)
    reason, why, good = _menu(draw, "reasons", reasons, "reason", "what you see comes about because", later=True)

    def judge(answer):
        if not answer["reason"]:
            say = "Your prediction is noted. Now move the slider, see what happens, and choose the reason."
            return Verdict(False, say, "predicted")
        because = why[answer["reason"]]
        if because.say:
            return Verdict(False, because.say, because.text)
        came = keys[answer["prediction"]] in truths
        what = "came true" if came else f"did not come true; what happens: {' or '.join(truths)}"
        return Verdict(True, f"Right. Your prediction {what}.")

    fields = Field("prediction", "your prediction", keys), reason
    worked = {"prediction": next(key for key, option in keys.items() if option in truths), "reason": good}
    return Question("predict", text, fields, judge, worked, working, slider=slider)


GROWTHS = (
    "it stays the same",
    "it grows by a smaller factor",
    "it grows by the same factor",
    "it grows by a larger factor",
)


def growth_of(ratio, factor):
    """For `predict`: those of GROWTHS that come true where something grows to `ratio` times, another to `factor`."""
    place = 0 if abs(ratio - 1) < 1e-3 else 2 if abs(ratio / factor - 1) < 1e-3 else 1 if ratio < factor else 3
    return GROWTHS[place : place + 1]


def mistake(text, lines, wrong, sound, number, working):
    """Lines of somebody's working with one mistake: find the line (from 1), and give the right result.

    `sound` {line: why it is right}; `number` is the right result.
    """
    keys = {str(i): f"line {i}" for i in range(1, len(lines) + 1)}

    def judge(answer):
        if answer["line"] != str(wrong):
            say = sound.get(int(answer["line"]), "It agrees with the lines before it.")
            return Verdict(False, f"Line {answer['line']} is sound. {say}", f"line {answer['line']}")
        found = number.judge(answer)
        return found if found.right else Verdict(False, f"The line is found. The result: {found.say}", found.slip)

    fields = Field("line", "the line with the mistake", keys), *number.fields("the right result")
    worked = {"line": str(wrong), **number.answer()}
    return Question("find the mistake", text, fields, judge, worked, working, number, tuple(lines))


@dataclass(frozen=True)
class Aim:
    """One aim of a design: its short name, what is wanted, whether it is met, and what came out."""

    name: str
    wanted: str
    met: bool
    came_out: str


def design(text, fields, outcome, worked, working):
    """A free task scored by its outcome: `outcome` turns an answer into a list of Aim, all to be met.

    It raises an InputError, what to mend, where an answer cannot be made into a plan.
    """

    def judge(answer):
        try:
            aims = outcome(answer)
        except InputError as error:
            return Verdict(False, str(error), NO_PLAN)
        missed = [aim.name for aim in aims if not aim.met]
        said = " ".join(f"{'Met' if aim.met else 'NOT met'}: {aim.wanted} (now {aim.came_out})." for aim in aims)
        return Verdict(not missed, said, missed[0] if missed else "")

    return Question("free design", text, fields, judge, worked, working)


def batch_of(text, most, least=1):
    """A typed batch size: a whole number from least to most. Raises: InputError for any other."""
    if text not in map(str, range(least, most + 1)):
        raise InputError(f"The batch size must be a whole number from {least} to {most}, not “{text}”.")
    return int(text)
