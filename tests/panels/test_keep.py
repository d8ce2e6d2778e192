"""Settings kept from a panel: loaded again by another one, compared, and taken along as tables."""

import io
import re
import zipfile
from base64 import b64decode
from dataclasses import replace

import pytest

import pourprint as pp
from pourprint.panels import compare_panel
from scenes import DEMO, bracket, demo_kit, demo_rates

START = "2027-01-11T08:00"


def keeper(panel):
    """(name, keep, kept, load, compare, tables, status, found) of the panel's folded box."""
    first, second, take, status, found = (
        panel.widget.children[0].children[0].children[0].children[-2].children[1].children
    )
    return (*first.children, *second.children, take, status, found)


def values(panel):
    return {name: row.value for name, row in panel.controls.items()}


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def changed_panel():
    panel = compare_panel(demo_kit(), demo_rates(), START)
    for name, value in {"kit": "one mast foot", "quantity": 6.0, "labour.technician": 52.0, "day": 120.0}.items():
        panel.controls[name].source.value = value
    return panel


def test_what_one_panel_keeps_another_one_asks_again(folder):
    panel = changed_panel()
    name, keep, *_, status, found = keeper(panel)
    name.value = "six feet"
    keep.click()
    assert (folder / "six-feet.setting.toml").is_file() and "Kept in six-feet" in found.children[0].value
    other = compare_panel(demo_kit(), demo_rates(), START)
    _, _, kept, load, *_, status, _ = keeper(other)
    assert kept.label == "six feet"
    load.click()
    assert values(other) == values(panel) and other.answer.value == panel.answer.value, status.value
    setting = pp.Setting.load(folder / "six-feet.setting.toml")
    assert (setting.kit.nodes, setting.quantity, setting.rates["labour.technician"]) == (1, 6, 52.0)


def test_what_is_made_here_instead_of_bought_is_kept_too(folder):
    card = pp.RateCard.load(DEMO / "rates_buying.toml")
    mine = compare_panel(demo_kit(), card, START)
    mine.controls["buy.relieved_metal"].source.value = "made here"
    name, keep, *_ = keeper(mine)
    name.value = "own printer"
    keep.click()
    other = compare_panel(demo_kit(), card, START)
    _, _, _, load, *_, status, _ = keeper(other)
    load.click()
    assert pp.Setting.load(folder / "own-printer.setting.toml").rates.bought == ("printed_mould", "heat_treatment")
    assert values(other) == values(mine) and other.answer.value == mine.answer.value, status.value


def test_a_setting_of_other_hours_or_routes_is_refused_and_says_why(folder):
    setting = pp.Setting("early", demo_kit(), demo_rates(), "AlSi7Mg", 2, START)
    text = (DEMO / "rates.toml").read_text(encoding="utf-8")
    (folder / "early.toml").write_text(
        re.sub(r"(?m)^days = .*", 'days = ["Mon", "Tue", "Wed"]', text), encoding="utf-8"
    )
    early = pp.RateCard.load(folder / "early.toml")
    for card, one, why in (
        (early, setting, "working hours"),
        (demo_rates(), replace(setting, routes=("printed_metal",)), "weighs printed_metal alone"),
    ):
        one.save(folder, replace=True)
        panel = compare_panel(demo_kit(), card, START)
        before = values(panel)
        _, _, _, load, *_, status, found = keeper(panel)
        load.click()
        assert why in status.value and not found.children and values(panel) == before


def test_a_part_that_was_typed_comes_back_with_its_setting(folder):
    mine = compare_panel(bracket(), demo_rates(), START)
    name, keep, *_ = keeper(mine)
    name.value = "bracket"
    keep.click()
    other = compare_panel(demo_kit(), demo_rates(), START)
    keeper(other)[3].click()
    assert other.controls["kit"].value == "bracket, as in bracket"
    assert other.answer.value == mine.answer.value


def test_what_moved_is_drawn_and_tables_are_taken_along(folder):
    panel = changed_panel()
    name, keep, _, _, compare, take, status, found = keeper(panel)
    compare.click()
    assert "nothing is kept" in status.value
    name.value = "six feet"
    keep.click()
    panel.controls["quantity"].source.value = 2.0
    compare.click()
    chart, sides, steps = found.children
    assert len(chart.figure.data) == 2 and "quantity 6 → 2" in steps.value and "six feet" in sides.value
    take.click()
    files = {
        re.search('download="([^"]+)"', link.value)[1]: re.search('base64,([^"]+)"', link.value)[1]
        for link in found.children
    }
    assert [*files] == ["routes.csv", "chart.csv", "tables.xlsx"]
    heads, first, *_ = b64decode(files["routes.csv"]).decode().splitlines()
    cost = float(first.split(",")[1])
    assert heads.split(",")[1] == "with failures [EUR a piece]" and f"{cost:,.0f} EUR a piece" in panel.answer.value
    book = zipfile.ZipFile(io.BytesIO(b64decode(files["tables.xlsx"])))
    sheet = book.read("xl/worksheets/sheet1.xml").decode()  # cells as ECMA-376 lays them out
    assert float(re.search(r'<c r="B2"[^>]*><v>([^<]+)</v>', sheet)[1]) == cost


def test_a_setting_of_another_card_is_refused_in_a_sentence(folder):
    other_card = demo_rates().replace(
        {"price.powder" if "price.powder" in demo_rates().entries else "purchase.die_base": 9.0}
    )
    pp.Setting("dear", demo_kit(), other_card, "AlSi7Mg", 1, START).save()
    panel = compare_panel(demo_kit(), demo_rates(), START)
    *_, load, _, _, status, _ = keeper(panel)
    before = values(panel)
    load.click()
    assert "another rate card" in status.value and values(panel) == before
