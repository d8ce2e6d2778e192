"""Pictures of frame, fits, bonds and lightening: what is drawn is what was computed."""

import numpy as np
import pandas as pd
import pytest

import pourprint as pp
from pourprint.process.finish.bonding import Lap
from scenes import DEMO


def test_the_frame_names_the_tube_that_is_worked_hardest():
    frame = pp.Frame.load(DEMO / "rover_frame.toml")
    loads = pp.frame_loads(frame)
    chart = pp.figures.frame_picture(frame, loads)
    worst = loads.table()["margin of strength [-]"].idxmin()
    assert chart.figure.layout.title.text.startswith(worst.replace("_", " "))
    drawn = np.concatenate([np.column_stack([t.x, t.y, t.z]) for t in chart.figure.data if t.type == "mesh3d"])
    for point in frame.points.values():  # every point lies within what is drawn
        assert np.linalg.norm(drawn - point.at, axis=1).min() < 45
    assert sum(len(t.i) for t in chart.figure.data if t.type == "mesh3d") < 20_000


def test_the_fit_chart_says_which_fit_is_safe():
    metal = pp.alloys()["AlSi7Mg"]
    chart = pp.figures.fit_chart(28, 8, 40, metal, 30.0, ("N7", "R7"))
    safe = (pp.bearing_seat(28, 8, "R7", 40, metal, 30.0)["verdict"] == "holds").all()
    assert safe and "safe of these: R7" in chart.figure.layout.title.text.replace("<br>", " ")
    drawn = [tuple(trace.x) for trace in chart.figure.data if trace.mode == "lines"]
    assert drawn[0] == (-2, 28)
    words = [note.text for note in chart.figure.layout.annotations]
    assert words == ["may be loose", "safe"]


def test_the_shear_chart_draws_the_model():
    lap = Lap(30, 2, 70, 1.1, 3.8, 72, 21.5, 40)
    chart = pp.figures.shear_chart(lap, 10_000, 0.0)
    load = np.array(chart.figure.data[0].y)
    assert (load[0], load[-1]) == pytest.approx((18.215, 7.632), abs=1e-3)
    assert "18 MPa" in chart.figure.layout.title.text


def test_the_beam_is_mirrored_and_the_search_falls():
    design = next(iter(pp.lighten_beam(20, 8)))
    z = np.array(pp.figures.beam_picture(design).data[0].z, dtype=float)
    assert z.shape == (8, 40)
    assert z == pytest.approx(z[:, ::-1])
    chart = pp.figures.search_chart(np.array([[1, 1.0, 50.0], [2, 0.5, 50.0]]))
    assert "2.0 times less" in chart.figure.layout.title.text.replace("<br>", " ")


def test_the_gram_chart_finds_where_it_begins_to_pay():
    index = pd.MultiIndex.from_product([["printed_pattern", "printed_metal"], [1, 10]], names=["route", "kits"])
    table = pd.DataFrame({"price of a gram": [9.0, 2.0, 8.0, 0.5]}, index=index)
    titles = [pp.figures.gram_chart(table, worth, "CHF", "piece").figure.layout.title.text for worth in (1.0, 0.1)]
    assert "from 10 pieces on by printed metal" in titles[0] and "none" in titles[1]
    bars = pd.DataFrame(
        {
            "mass [g]": [200.0, 150.0],
            "stiffness, holes empty [-]": [1.0, 1.3],
            "stiffness, holes rigid [-]": [1.0, 0.9],
            "margin [-]": [2.0, 1.5],
        },
        index=["plain", "light"],
    )
    assert pp.figures.stiffness_chart(bars).figure.layout.title.text.replace("<br>", " ") == (
        "Stiffest for its mass is “light”: 90% of the stiffness of “plain” with 75% of its mass"
    )  # 0.9 / 150 > 1 / 200


def test_each_chart_tells_its_numbers_in_words():
    for chart in (
        pp.figures.fit_chart(28, 8, 40, pp.alloys()["AlSi7Mg"], 30.0, ("N7", "R7")),
        pp.figures.shear_chart(Lap(30, 2, 70, 1.1, 3.8, 72, 21.5, 40), 10_000, -60.0),
    ):
        assert "<table" in chart.words() and chart.takeaway and chart.alt
