"""Lessons: exercises with each student's own numbers, instant feedback, saved answers, marking, handouts.

May import every room above it. A notebook needs `pp.lessons.sign_in()` once, and `pp.lessons.ask("unit-cost")`.
"""

# ruff: noqa: F401  the face of the room
from pourprint.lessons.answers import hand_in
from pourprint.lessons.catalogue import catalogue, exercise_named, exercises_of
from pourprint.lessons.checkup import checked, table
from pourprint.lessons.classroom import Classroom, classroom
from pourprint.lessons.marking import Marks, mark
from pourprint.lessons.overview import check_scenario, exercise_table, invented_class, variants, worked_answers
from pourprint.lessons.widget import ask, sign_in
