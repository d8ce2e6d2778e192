"""The rate card: it is read strictly, says all its faults at once, and loses nothing when saved."""

import datetime as dt
import re

import numpy as np
import pytest

import pourprint as pp
from pourprint.ledger.entries import library
from pourprint.ledger.errors import InputError
from scenes import DEMO, ROUND_THE_CLOCK, demo_rates

TEXT = (DEMO / "rates.toml").read_text(encoding="utf-8")
OWN = '\n# the lab\'s own process values\n[shell] # slow room\n"dip_time" = {} # measured\n'
ENTRY = (
    '{ value = 0.2, unit = "h", low = 0.1, high = 0.3, pedigree = "invented", source = "own log", date = 2026-10-01 }'
)


def card_of(tmp_path, text):
    path = tmp_path / "card.toml"
    path.write_text(text, encoding="utf-8")
    return pp.RateCard.load(path)


def faults_of(tmp_path, text):
    with pytest.raises(InputError) as caught:
        card_of(tmp_path, text)
    return str(caught.value)


def again(card, tmp_path):
    card.save(tmp_path / "saved.toml", replace=True)
    return pp.RateCard.load(tmp_path / "saved.toml"), (tmp_path / "saved.toml").read_text(encoding="utf-8")


def comments(text):
    return re.findall(r"#.*", text)


def keys(text):
    return re.findall(r'^\s*("?[\w.-]+"?) *=|^(\[[^\]]+\])', text, flags=re.MULTILINE)


# Reading ----------------------------------------------------------------------------------------------


def test_the_demo_card_has_the_keys_of_the_default_card():
    assert set(demo_rates().entries) == set(pp.RateCard.default().entries)
    assert demo_rates().currency == "EUR" and len(demo_rates().hours.holidays) == 7


def test_units_follow_the_cards_currency(tmp_path):
    """Another currency takes one edit, and what the library itself prices follows too."""
    card = card_of(tmp_path, TEXT.replace('currency = "EUR"', 'currency = "USD"'))
    assert card.currency == "USD" and card.entries["ingot.316L"].unit == "USD/kg"
    assert not [key for key, entry in card.entries.items() if "EUR" in entry.unit or "currency" in entry.unit]
    said_so = card_of(tmp_path, TEXT.replace('currency = "EUR"', 'currency = "USD"').replace("currency/kg", "USD/kg"))
    assert said_so.entries == card.entries
    assert card["labour.technician"] == demo_rates()["labour.technician"]


def test_a_process_value_on_the_card_replaces_the_librarys(tmp_path):
    card = card_of(tmp_path, TEXT + OWN.format(ENTRY))
    assert card["shell.dip_time"] == 0.2 and card.entries["shell.dip_time"].source == "own log"
    assert card["shell.knock_out_temperature"] == library()["shell.knock_out_temperature"].value
    assert library()["shell.dip_time"].value == demo_rates()["shell.dip_time"] == 0.1  # the library is untouched


def test_an_entry_without_a_date_takes_the_cards(tmp_path):
    card = card_of(tmp_path, TEXT + OWN.format(ENTRY))
    assert card.entries["shell.dip_time"].date == dt.date(2026, 10, 1)
    assert card.entries["labour.technician"].date == card.date == dt.date(2026, 11, 1)


def test_all_faults_come_together_each_with_file_key_and_what_is_allowed(tmp_path):
    text = TEXT.replace('start = "08:00"', 'start = "8 o\'clock"').replace('"Mon"', '"Monday"')
    text = text.replace("technician = { value = 38.0", "technician = { value = -38.0")
    text = text.replace("engineer = { value = 58.0", "enginer = { value = 58.0")
    text = re.sub(r"^saw = .*8\.0.*\n", "", text, count=1, flags=re.MULTILINE)
    text = text.replace('kiln = { value = 7.0, unit = "currency/h"', 'kiln = { value = 7.0, unit = "EUR/min"')
    text += OWN.format(ENTRY.replace("invented", "guess"))
    said = faults_of(tmp_path, text)
    assert "card.toml" in said
    for key, allowed in [
        ("hours: start", '"08:00"'),
        ("labour.technician: value", "negative"),
        ("labour.enginer", "labour.engineer"),
        ("labour.engineer", "missing"),
        ("machine.saw", "missing"),
        ("machine.kiln.unit", "EUR/h"),
        ("shell.dip_time: pedigree", "common practice"),
    ]:
        assert key in said and allowed in said


@pytest.mark.parametrize("broken", ["", "date = 2026-11-01T08:00:00", 'date = "2026-11-01"'])
def test_a_bad_card_date_is_one_fault_not_one_for_every_entry(tmp_path, broken):
    said = faults_of(tmp_path, TEXT.replace("date = 2026-11-01", broken, 1))
    assert "date" in said and "labour.technician" not in said


def test_reading_a_key_that_is_not_there_names_the_nearest():
    with pytest.raises(InputError, match=r"labour\.technician"):
        demo_rates()["labour.technican"]


# Replacing --------------------------------------------------------------------------------------------


def test_replace_makes_a_new_card_and_widens_the_range():
    card = demo_rates().replace({"labour.technician": 99.0}, pedigree="published", source="a wage table")
    entry = card.entries["labour.technician"]
    assert (entry.value, entry.low, entry.high) == (99.0, 25.0, 99.0)
    assert (entry.pedigree, entry.source) == ("published", "a wage table")
    assert demo_rates()["labour.technician"] == 38.0


def test_replace_takes_arrays_and_marks_their_pedigree():
    card = demo_rates().replace({"labour.technician": [10, 80]})
    entry = card.entries["labour.technician"]
    assert card["labour.technician"].tolist() == [10.0, 80.0] and (entry.low, entry.high) == (10.0, 80.0)
    assert entry.pedigree == "invented"


@pytest.mark.parametrize("value", [0, 1.01])
def test_a_yield_is_above_zero_and_at_most_one(value):
    with pytest.raises(InputError, match="yield_pour"):
        demo_rates().replace({"foundry.yield_pour": value})


# Saving -----------------------------------------------------------------------------------------------


def test_an_unchanged_card_saves_to_the_same_values_comments_and_order(tmp_path):
    card, text = again(demo_rates(), tmp_path)
    assert card == demo_rates()
    assert comments(text) == comments(TEXT) and keys(text) == keys(TEXT)


def test_a_changed_card_saves_the_change_and_touches_nothing_else(tmp_path):
    changed = demo_rates().replace({"machine.kiln": 8.5, "ingot.AlSi9Mg-SiC20": 12.0, "ingot.17-4PH": 7.0})
    card, text = again(changed, tmp_path)
    assert card.entries == changed.entries and card.hours == changed.hours
    assert comments(text) == comments(TEXT) and keys(text) == keys(TEXT)
    before, after = TEXT.splitlines(), text.splitlines()
    touched = {new.split(" ")[0] for old, new in zip(before, after, strict=True) if old != new}
    assert touched <= {"kiln", "AlSi9Mg-SiC20", "17-4PH", "days", "start", "end", "holidays"}


def test_overrides_quoted_keys_and_inline_comments_survive(tmp_path):
    first = card_of(tmp_path, TEXT + OWN.format(ENTRY))
    changed = first.replace({"shell.dip_time": 0.25, "shell.knock_out_temperature": 80.0, "feeding.efficiency": 0.16})
    card, text = again(changed, tmp_path)
    assert card.entries == changed.entries
    assert comments(text) == [*comments(TEXT), "# the lab's own process values", "# slow room", "# measured"]
    assert '"dip_time" = ' in text and "[feeding]" in text
    twice, text_twice = again(card, tmp_path)
    assert twice.entries == card.entries and text_twice == text  # saving again changes nothing


def test_hours_and_holidays_survive(tmp_path):
    hours = pp.WorkingHours(("Tue", "Sat"), 7.5, 18.25, (dt.date(2026, 12, 24),))
    card, text = again(demo_rates().with_hours(hours), tmp_path)
    assert card.hours == hours and comments(text) == comments(TEXT)
    card, _ = again(demo_rates().with_hours(ROUND_THE_CLOCK), tmp_path)
    assert card.hours == ROUND_THE_CLOCK


def test_the_default_card_can_be_saved_as_a_start_for_ones_own(tmp_path):
    card, _ = again(pp.RateCard.default(), tmp_path)
    assert card == pp.RateCard.default()


def test_a_card_with_arrays_cannot_be_saved(tmp_path):
    with pytest.raises(InputError, match="2 values"):
        demo_rates().replace({"machine.kiln": np.array([1.0, 2.0])}).save(tmp_path / "a.toml")
    assert not (tmp_path / "a.toml").exists()


@pytest.mark.parametrize(
    ("section", "name", "changed", "said"),
    [
        (
            "printed_metal",
            "powder_loss",
            "value = 10.0, low = 5.0, high = 30.0",
            "a share of a whole and must not pass 1",
        ),
        ("foundry", "yield_pour", "value = 0.95, low = 0.9, high = 1.3", "must not pass 1, not 1.3"),
        ("foundry", "crucible", "value = 25.0, low = 0.0, high = 40.0", "must be above 0, not 0"),
        ("foundry", "yield_pour", 'value = 5.0, low = 0, high = 10, kind = "number"', "must not pass 1"),
    ],
)
def test_neither_a_value_nor_its_range_may_be_what_its_kind_cannot(tmp_path, section, name, changed, said):
    unit = demo_rates().entries[f"{section}.{name}"].unit
    entry = f'{{ {changed}, unit = "{unit}", pedigree = "invented", source = "own", date = 2026-10-01 }}'
    assert said in faults_of(tmp_path, f"{TEXT}\n[{section}]\n{name} = {entry}\n")
