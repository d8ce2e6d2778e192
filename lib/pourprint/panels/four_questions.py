"""From "I have a part" to an answer in four questions: another way into the compare panel, for pages without code."""

import ipywidgets as widgets

from pourprint.panels.controls import folded, group, named

QUESTIONS = {  # with the beginnings of the names of their controls
    "1. What part? Drop a mesh of your own, or choose one of the demo frame": ("kit", "alloy"),
    "2. How many?": ("quantity",),
    "3. By when?": ("start", "deadline"),
    "4. What is a day worth to you, and what do you make yourself?": ("day", "buy."),
}


def four_questions(panel):
    """The controls of a compare panel under four questions, its answer, and the whole panel on demand: a widget."""
    own, keep = panel.beside
    own.children[0].value = True  # what is dropped is what most come with
    asked = [
        group(title, [row for name, row in panel.controls.items() if name.startswith(names)])
        for title, names in QUESTIONS.items()
    ]
    asked[0].children = [asked[0].children[0], own, *asked[0].children[1:]]
    answer = widgets.VBox([widgets.HTML("<h4>The answer</h4>"), panel.answer, panel.status])
    answer.add_class("pourprint-content")
    page = widgets.HBox([widgets.VBox(asked).add_class("pourprint-questions"), answer]).add_class("pourprint-page")
    return named(widgets.VBox([page, keep, folded("charts, tables and every rate", panel.widget)]))
