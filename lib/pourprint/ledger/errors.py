"""Errors that a student can act on: one sentence with what is wrong and what to do, no traceback."""


class InputError(ValueError):
    """Something the user gave cannot be used; the message says what, why and how to mend it.

    A notebook shows the message alone: IPython asks an exception for its own rendering.
    """

    def _render_traceback_(self):
        return [f"Please check your input: {self}"]


class Infeasible(InputError):
    """A route cannot make this job, or none can; each of the `args` is a reason in whole sentences."""

    def __str__(self):
        return " ".join(map(str, self.args))

    def _render_traceback_(self):
        return [f"This cannot be made: {self}"]
