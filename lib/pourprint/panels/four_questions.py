"""From "I have a part" to an answer in four questions: another way into the compare panel, for pages without code."""

import ipywidgets as widgets

from pourprint.panels.controls import folded, group, named
from pourprint.panels.panel import TEXTS


def four_questions(panel):
    """The controls of a compare panel under four questions, its answer, and the whole panel on demand: a widget."""
    own, keep = panel.beside
    own.children[0].value = True  # what is dropped is what most come with
    asked = [
        group(title, [row for name, row in panel.controls.items() if name.startswith(tuple(names))])
        for title, names in TEXTS["questions"].items()
    ]
    asked[0].children = [asked[0].children[0], own, *asked[0].children[1:]]
    answer = widgets.VBox([widgets.HTML("<h4>The answer</h4>"), panel.answer, panel.status])
    answer.add_class("pourprint-content")
    page = widgets.HBox([widgets.VBox(asked).add_class("pourprint-questions"), answer]).add_class("pourprint-page")
    return named(widgets.VBox([page, keep, folded("charts, tables and every rate", panel.widget)]))
