"""Pictures of a pour on trial say what the model says, and show where."""

from functools import cache

import numpy as np
import pytest

import pourprint as pp
from pourprint.figures.pouring import STATES, pour_frames, states
from pourprint.panels.pouring import Film
from pourprint.routes.mould_sizes import moulds_with_one_feeder
from pourprint.routes.pouring import NOT_MODELLED, pour
from scenes import demo_rates


@cache
def run():
    job = pp.Job(pp.nodes.badly_drawn(), "AlSi7Mg")
    return pour(moulds_with_one_feeder(job, demo_rates())[0], cells=100_000)


@pytest.mark.parametrize("name", ["filling_slices", "feeding_slices", "pour_picture", "pour_still"])
def test_every_picture_says_first_what_is_not_modelled_and_has_words_and_a_table(name):
    chart = getattr(pp.figures, name)(run())
    assert NOT_MODELLED in chart.takeaway and len(chart.alt) > 60 and len(chart.table)
    facets = sum(len(trace.i) for trace in chart.figure.data if trace.type == "mesh3d")
    assert facets <= 20_000


def test_the_table_names_pores_and_caught_air_with_their_places():
    table = pp.figures.pour_table(run())
    assert list(table["what"]) == ["pore"] * len(run().feeding.pores) + ["caught air"] * len(run().filling.traps)
    assert table["volume_cm3"].to_numpy()[0] == pytest.approx(run().feeding.pores[0].pore_cm3, abs=1e-3)


def test_a_section_goes_from_empty_to_solid_and_never_back():
    times, arrivals, cell, _ = pour_frames(run())
    shown = np.array([states(arrivals, t) for t in times])
    metal = ~np.isnan(arrivals[0])
    assert (np.diff(shown[:, metal], axis=0) >= 0).all()
    assert shown[0, metal].max() <= 1 and cell == run().filling.cavity.grid.cell_mm
    assert len(STATES) == 4 and np.isnan(shown[0, ~metal]).all()


def test_a_film_carries_its_section_in_one_piece():
    film, (times, arrivals, _, _) = Film(run()), pour_frames(run())
    sent = np.frombuffer(film.film["arrivals"], np.float32).reshape(arrivals.shape)
    assert np.array_equal(np.isnan(sent), np.isnan(arrivals.astype(np.float32)))
    assert film.film["times"] == times.tolist() and film.film["size"] == list(arrivals.shape[:0:-1])


def test_the_panel_mends_the_badly_drawn_node_and_says_what_it_costs():
    panel = pp.panels.pour_panel(pp.nodes.badly_drawn(), demo_rates())
    assert "1 place" in panel.answer.value and "+0 EUR" in panel.answer.value
    panel.controls["place"].source.value = "both"
    panel.finish()
    assert "no place" in panel.answer.value and "+0 EUR" not in panel.answer.value
    assert "left out" in panel.answer.value and "jets, splash, gas, convection" in panel.answer.value  # in front
