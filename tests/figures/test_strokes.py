"""What every chart shares: its message in lines that fit, names that keep clear, tables with real headings."""

import re
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

import pourprint as pp
from pourprint import figures
from pourprint.figures.strokes import LETTERS, canvas
from pourprint.figures.tables import table_html
from scenes import DEMO, demo_kit, demo_rates

PAGE_PX, LETTER_PX, LINE_PX = 700, 7.0, 16  # of a narrow page; of text of 13 px, as sans-serif fonts run


def test_a_long_message_is_broken_into_lines_that_fit():
    words = " ".join(["seven77"] * 30)
    lines = canvas(words, "x [mm]").layout.title.text.split("<br>")
    assert " ".join(lines) == words and max(map(len, lines)) <= LETTERS
    assert canvas("short").layout.margin.t < canvas(words).layout.margin.t, "the chart makes room for its lines"


def test_what_a_name_holds_is_text_in_a_message():
    """Plotly reads <b>, <a href> and entities in a title as markup."""
    part = pp.Part.from_mesh(DEMO / "nodes" / "mast_foot.stl", name='<a href="//x">foot</a> & <b>all')
    title = figures.findings_picture(part, ()).figure.layout.title.text
    assert title.replace("<br>", " ") == '&lt;a href="//x"&gt;foot&lt;/a&gt; &amp; &lt;b&gt;all: nothing found'


def test_a_unit_does_not_stand_alone_on_a_line_below_its_axis():
    for words in ("expected cost of its failures [EUR]", "least stiffness over the first's [-]", "days [d]"):
        figure = canvas("T", words, rows=["a", "b"])
        lines = figure.layout.xaxis.title.text.split("<br>")
        assert " ".join(lines) == words and not lines[-1].startswith("[")


@pytest.mark.parametrize("count", [1, 3, 30])
def test_each_named_row_has_its_room_and_its_name_however_long_title_and_axis(count):
    long = " ".join(["seven77"] * 30)
    for margin in ({}, {"b": 70}):
        figure = canvas(long, long, rows=[f"row {i}" for i in range(count)], key=long, **margin)
        room = figure.layout.height - figure.layout.margin.t - figure.layout.margin.b
        assert room / count >= LINE_PX + 8 and figure.layout.yaxis.dtick == 1, "plotly drops names that it cannot set"


def charts():
    job, rates = pp.Job(demo_kit(), "AlSi7Mg", 4), demo_rates()
    sizes, item, metal = pp.ShellSizes(job, rates), demo_kit().parts[0], pp.Job(demo_kit(), "AlSi10Mg", 1)
    plans = pp.plan_all(job, rates)
    yield "firing", figures.firing_chart(sizes, 4)
    yield "crack", figures.crack_chart(sizes, item)
    yield "hot shell", figures.hot_shell_chart(sizes, item.part)
    yield "roughness", figures.roughness_chart(metal, rates)
    yield "directions", figures.orientation_map(metal, rates)
    yield "learning", figures.learning_chart(0.8, 16)
    yield "repeats", figures.repeats_chart(plans["printed_pattern"], 8)
    yield "footprints", figures.footprint_chart({route: pp.footprint(plan) for route, plan in plans.items()})


def boxes(figure):
    """[(words, (left, right, low, high) [px])] of the notes of a chart whose axes say where they end."""
    layout, found = figure.layout, []
    width = PAGE_PX - layout.margin.l - layout.margin.r
    height = layout.height - layout.margin.t - layout.margin.b
    for note in layout.annotations:
        ends = []
        for data, ref in (("x", note.xref or "x"), ("y", note.yref or "y")):
            axis = layout[f"{data}axis{ref[1:]}"]
            values = [np.asarray(trace[data], dtype=float).ravel() for trace in figure.data]
            own = np.concatenate([value[np.isfinite(value)] for value in values])
            low, high = axis.range or (min(own.min(), 0.0), own.max())
            first, last = axis.domain or (0.0, 1.0)
            ends.append(first + (last - first) * (note[data] - low) / (high - low))
        lines = note.text.replace("<b>", "").replace("</b>", "").split("<br>")
        wide, tall = LETTER_PX * max(map(len, lines)), LINE_PX * len(lines)
        x = ends[0] * width + ((note.ax or 0) if note.showarrow else 0) + (note.xshift or 0)
        y = ends[1] * height - ((note.ay or 0) if note.showarrow else 0) + (note.yshift or 0)
        x -= wide * {"left": 0.0, "right": 1.0}.get(note.xanchor, 0.5)
        y -= tall * {"bottom": 0.0, "top": 1.0}.get(note.yanchor, 0.5)
        found.append((note.text, (x, x + wide, y, y + tall)))
    return found


@pytest.mark.parametrize(("name", "chart"), list(charts()), ids=lambda value: value if isinstance(value, str) else "")
def test_names_in_a_chart_keep_clear_of_each_other_on_a_narrow_page(name, chart):
    for (one, a), (other, b) in combinations(boxes(chart.figure), 2):
        apart = a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2]
        assert apart, f"{name}: “{one}” and “{other}” lie over each other"


def test_a_table_has_headings_with_units_words_left_and_no_count_of_rows():
    text = table_html(pd.DataFrame({"part": ["a <b>"], "pool_cm3": [12.3456], "cost": [-2e-14]}), "A caption.")
    assert '<th scope="col">pool [cm³]</th>' in text and ">12.35<" in text and "<td>0</td>" in text
    assert text.count("<th") == 3 + 1 and "a &lt;b&gt;" in text  # three headings, and the word "thead"
    assert text.count("text-align:left") == 3, "the caption, the heading of words, and the words"


def test_what_stands_in_a_column_stands_under_its_heading():
    """Dates and words among numbers: heading and cells of such a column are all set left; of numbers alone, right."""
    table = pd.DataFrame({"mixed": [1.5, "Fri 26 Feb 2027"], "numbers": [2, 3], "words": ["a", None]})
    text = table_html(table)
    assert [text.count(f'{tag} style="text-align:left">') for tag in ('<th scope="col"', "<td")] == [2, 4]
    assert '<th scope="col">numbers' in text and "<td>2<" in text and "<td>3<" in text


def test_a_table_says_names_in_words_and_leaves_out_what_is_empty_in_every_row():
    text = table_html(pd.DataFrame({"machine": ["sand_printer"], "key": ["shell.dip_time"], "ready": [None]}))
    assert ">sand printer<" in text and ">shell.<wbr>dip_<wbr>time<" in text and "ready" not in text


def test_a_table_without_rows_is_no_heading_alone():
    assert table_html(pd.DataFrame({"place": [], "pore [cm³]": []}).set_index("place"), "pores") == ""


def test_a_table_writes_nothing_for_a_date_or_a_number_that_is_not_there():
    ends = pd.to_datetime(pd.Series(["2027-01-11 16:30", None], name="end"))
    said = table_html(pd.DataFrame({"order": ["A", "B"], "end": ends, "kg": [np.nan, 2.0], "who": ["Ann", None]}))
    assert "<td>Mon 11 Jan 2027 16:30</td>" in re.sub(" style='[^']*'| style=\"[^\"]*\"", "", said)
    assert not {"NaT", "nan", "None"} & set(re.findall(r"\w+", said))


@pytest.mark.parametrize("alloy", pp.alloys())
def test_a_ranking_is_a_table_to_read_also_where_a_route_cannot(alloy):
    plans = pp.plan_all(pp.Job(demo_kit(), alloy), demo_rates())
    said = table_html(pp.rank(plans))
    assert all(plan.title in said for plan in plans.values()) and not re.search(r"&lt;NA&gt;|\bNone\b|\bnan\b", said)


def test_a_wide_table_of_few_rows_is_turned_to_fit_the_page():
    wide = pd.DataFrame(np.ones((2, 12)), index=["one", "two"], columns=[f"size {i} [mm]" for i in range(12)])
    assert table_html(wide).count("<tr>") == 13 and table_html(wide.T).count("<tr>") == 13
