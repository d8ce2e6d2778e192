"""Numbers as people type them: decimal comma or point, thousands set off by a space, an apostrophe, comma or point."""

import math
import re

from pourprint.ledger.errors import InputError

SIGNS = str.maketrans({"−": "-", "–": "-", "’": "'"} | dict.fromkeys("\u00a0\u2007\u2009\u202f\t", " "))
TYPED = re.compile(r"([+-]?)([\d ',.]*\d[\d ',.]*)(?:[eE]([+-]?\d{1,3}))?")
WHOLE = re.compile(r"\d*|\d{1,3}([ ',.])\d{3}(?:\1\d{3})*")  # groups of three, one mark throughout
THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")


def read_number(text):
    """The number that a text says, read by one rule.

    A comma or a point is the decimal mark; spaces and apostrophes set off thousands. Where both comma and point stand,
    the last is the decimal mark; a mark that stands twice sets off thousands. A single comma before exactly three
    digits does so too (6,900 is six thousand nine hundred, as this course writes it) unless a lone 0 is before it
    (0,125); a single point never does.
    Returns: float. Raises: InputError, with what is wrong.

    >>> [read_number(text) for text in ("38,5", "6,900", "6.900", "1.234,5", "1 234 567", "-0,125")]
    [38.5, 6900.0, 6.9, 1234.5, 1234567.0, -0.125]
    """
    typed = str(text).translate(SIGNS).strip()
    found = TYPED.fullmatch(typed)
    sign, body, power = found.groups() if found else ("", "", None)
    last = body[max(body.rfind(","), body.rfind("."))] if "," in body or "." in body else ""
    decimal = last if body.count(last) == 1 and not THOUSANDS.fullmatch(body) else ""
    whole, rest = body.split(decimal) if decimal else (body, "")
    if not found or not WHOLE.fullmatch(whole) or not (rest or "0").isdigit():
        reason = "type digits alone, such as 1250 or 38,5" if typed else "type one, such as 38,5"
        raise InputError(f"{typed[:40]!r} cannot be read as a number: {reason}.")
    digits = re.sub(r"\D", "", whole)
    value = float(f"{sign}{digits}.{rest}e{power or 0}")
    if math.isinf(value):
        raise InputError(f"{typed[:40]!r} is larger than any number that can be worked with here.")
    return value
