"""Stable numbers for each student: drawn from class code, student id, exercise and name by SHA-256.

The same on every platform and Python, and each draw stands alone: a new one never moves the others.
"""

import hashlib
import unicodedata
from dataclasses import dataclass

GUEST = "guest"


def identity(student):
    """A student id as it is compared and hashed: Unicode NFKC, case folded, single blanks; empty is the guest."""
    return " ".join(unicodedata.normalize("NFKC", student).casefold().split()) or GUEST


@dataclass(frozen=True)
class Draw:
    """The draws of one student for one exercise of a class."""

    class_code: str
    student: str
    exercise: str

    def _hash(self, name):
        words = (self.class_code.strip(), identity(self.student), self.exercise, name)
        return int.from_bytes(hashlib.sha256("\x1f".join(words).encode()).digest()[:8], "big")

    def number(self, name, low, high, step=1):
        """A number from low to high, both included, in steps: all are equally likely. Whole where all three are."""
        return round(low + step * (self._hash(name) % (int((high - low) / step + 1e-9) + 1)), 9)

    def choice(self, name, options):
        """One of the options."""
        return options[self._hash(name) % len(options)]

    def shuffled(self, name, items):
        """The items, texts that differ, in a drawn order."""
        return tuple(sorted(items, key=lambda item: self._hash(f"{name}/{item}")))
