"""Lessons: exercises with each student's own numbers, instant feedback, saved answers, and marking.

A student's notebook needs two lines: `pp.lessons.sign_in()` once, and `pp.lessons.ask("unit-cost")`.
"""

from pourprint.lessons.answers import hand_in
from pourprint.lessons.catalogue import catalogue, exercise_named, exercises_of
from pourprint.lessons.classroom import Classroom, classroom
from pourprint.lessons.marking import Marks, mark
from pourprint.lessons.overview import check_scenario, exercise_table, invented_class, variants, worked_answers
from pourprint.lessons.widget import ask, sign_in

__all__ = [
    "Classroom",
    "Marks",
    "ask",
    "catalogue",
    "check_scenario",
    "classroom",
    "exercise_named",
    "exercise_table",
    "exercises_of",
    "hand_in",
    "invented_class",
    "mark",
    "sign_in",
    "variants",
    "worked_answers",
]
