"""Numbers with a pedigree: what an entry must say, and the library's own tables against their sources."""

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import pytest

import pourprint as pp
from pourprint.ledger.checks import nearest, own_data
from pourprint.ledger.entries import PRICES, Kind, Pedigree, in_words, library, read_entry
from scenes import PRINTED, demo_kit, demo_rates

GOOD = {"value": 2.0, "unit": "h", "kind": "time", "low": 1.0, "high": 3.0, "pedigree": "invented", "source": "a test"}
DATE = pp.RateCard.default().date


def test_a_good_entry_reads_without_fault():
    entry, faults = read_entry("a.b", GOOD, DATE)
    assert faults == [] and (entry.value, entry.unit, entry.pedigree, entry.date) == (2.0, "h", "invented", DATE)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"value": -1.0, "low": -2.0}, "negative"),
        ({"value": float("nan")}, "finite"),
        ({"value": float("inf"), "high": float("inf")}, "finite"),
        ({"value": "2"}, "number"),
        ({"value": True}, "number"),
        ({"value": 4.0}, "low ≤ value ≤ high"),
        ({"low": 2.5}, "low ≤ value ≤ high"),
        ({"unit": ""}, "empty"),
        ({"source": ""}, "empty"),
        ({"pedigree": "guess"}, "'common practice'"),
        ({"colour": "red"}, "not known; known are value, unit, kind"),
        ({"date": "soon"}, "date"),
        ({"kind": "guess"}, "'price', 'power', 'time'"),
        ({"kind": "speed", "value": 0.0, "low": 0.0}, "above 0"),
        ({"kind": "yield"}, "must not pass 1"),
    ],
)
def test_a_bad_entry_is_refused_with_its_key(changed, said):
    entry, faults = read_entry("a.b", GOOD | changed, DATE)
    assert entry is None and faults
    assert all(fault.startswith("a.b") for fault in faults) and said in " ".join(faults)


def test_one_yield_above_1_among_others_is_refused():
    with pytest.raises(pp.InputError, match="must not pass 1"):
        pp.RateCard.default().replace({"foundry.yield_pour": np.array([0.9, 1.1])})


def test_one_yield_of_0_among_others_is_refused():
    with pytest.raises(pp.InputError, match="must be above 0"):
        pp.RateCard.default().replace({"foundry.yield_pour": np.array([0.9, 0.0])})


@pytest.mark.parametrize("field", GOOD)
def test_every_field_of_an_entry_is_needed(field):
    entry, faults = read_entry("a.b", {k: v for k, v in GOOD.items() if k != field}, DATE)
    assert entry is None and f"a.b: {field}: this key is missing" in faults[0]


def test_all_faults_of_an_entry_come_together():
    _, faults = read_entry("a.b", GOOD | {"value": -1.0, "unit": "", "pedigree": "guess"}, DATE)
    assert len(faults) == 3


def test_a_near_miss_is_named():
    assert nearest("machin.kiln", ["machine.kiln", "labour.engineer"]) == ' (did you mean "machine.kiln"?)'
    assert nearest("xyz", ["machine.kiln"]) == ""


def test_the_pedigree_table_is_complete():
    table = pp.pedigree(demo_rates())
    assert set(table.columns) >= {"value", "low", "high", "unit", "pedigree", "source", "date"}
    assert table.index.is_unique and not table.isna().any().any()
    assert set(table["pedigree"]) <= {"published", "common practice", "from memory", "invented"}
    assert (table["source"].str.strip().str.len() > 3).all() and (table["unit"].str.len() > 0).all()
    assert (table["low"] <= table["value"]).all() and (table["value"] <= table["high"]).all()
    assert set(demo_rates().entries) | set(library()) <= set(table.index)


def test_what_is_published_says_where():
    table = pp.pedigree()
    published = table[table["pedigree"] == Pedigree.PUBLISHED]
    assert not published["source"].str.contains("demo|invented|placeholder|recalled|memory").any()
    prices = table[table["unit"].str.contains("EUR/(?:kg|m3)")]
    assert not (prices["pedigree"] == Pedigree.PUBLISHED).any()  # prices are memory or invented, never read


READ = [
    (row["key"], float(row["figure"]), row["source"])
    for row in csv.DictReader((Path(__file__).parent / "sources_read.csv").read_text(encoding="utf-8").splitlines())
]


@pytest.mark.parametrize(("key", "figure", "source"), READ)
def test_a_number_s_range_holds_what_its_source_says(key, figure, source):
    # Figures as read on 2026-11-28 and 29, converted to the ledger's units; each in the source named beside it.
    entry = pp.pedigree().loc[key]
    assert entry["pedigree"] == Pedigree.PUBLISHED
    assert entry["low"] <= figure <= entry["high"], source


def test_what_was_read_last_can_be_followed_to_a_figure():
    table = pp.pedigree()
    fresh = table[(table["pedigree"] == Pedigree.PUBLISHED) & (table["date"] >= dt.date(2026, 11, 28))]
    assert set(fresh.index) - {"printed_metal.least_wall"} <= {key for key, *_ in READ}


def test_most_of_what_is_no_lab_s_own_was_read_and_what_is_recalled_was_sought_in_vain():
    table = pp.pedigree()
    counts = table["pedigree"].value_counts()
    assert counts[Pedigree.PUBLISHED] >= 130 and counts[Pedigree.MEMORY] <= 50
    assert table.loc[table["pedigree"] == Pedigree.MEMORY, "source"].str.contains("sought in vain").all()


@pytest.mark.parametrize("route", PRINTED)
def test_what_moves_the_demo_job_most_was_read_or_is_marked_as_the_lab_s_own_to_find_out(route):
    plan = pp.plan(route, pp.Job(demo_kit(), "AlSi7Mg", 4), demo_rates())
    moving = pp.tornado(pp.output_of(plan), most=25).entries
    assert len(moving) == 25
    for key, entry in moving.items():
        if entry.kind in (*PRICES, Kind.TIME, Kind.SPEED, Kind.YIELD):
            own = any(word in entry.source for word in ("to measure", "to work out", "to ask its supplier"))
            assert entry.pedigree == Pedigree.PUBLISHED or own, key


def test_keys_are_told_in_words():
    said = {key: in_words(key) for key in ("machine.metal_printer", "batch_size", "volume_cm3", "shell.cavity_delay")}
    assert [*said.values()] == ["metal printer (machine)", "batch size", "volume", "delay by blind holes (shell)"]
    named = {f"{section}.{key}": name for section, names in own_data("names").items() for key, name in names.items()}
    assert named.keys() <= pp.RateCard.default().entries.keys()
    assert len({in_words(key) for key in pp.RateCard.default().entries}) == len(pp.RateCard.default().entries)


# Alloys -----------------------------------------------------------------------------------------------

# (density g/cm3, solidus °C, liquidus °C, c J/kgK, L kJ/kg, k W/mK, E GPa, yield MPa), each a range where the
# sources give one. Alloy data sheets and handbooks (published), * from memory; L of A356 stands in two handbooks
# as 389 and 500 kJ/kg.
TABLE = {
    "AlSi7Mg": (2.68, 557, 613, 963, (389, 500), 167, 72, (165, 225)),
    "AlSi10Mg": (2.67, (530, 590), 600, 900, (540, 550), (130, 170), 70, (180, 260)),  # T6: castings, prints
    "AlSi9Mg-SiC20": (2.765, 570, 600, (855, 970), (300, 408), (150, 185), 98.6, 324),  # * k
    "AZ91D": (1.81, 470, 595, 1050, (350, 360), (51, 84), 45, (80, 160)),
    "Ti-6Al-4V": (4.42, 1604, 1660, 560, 286, 7.2, 114, 828),
    "316L": (7.97, 1390, 1440, 500, 300, (15, 16.2), 193, (205, 290)),  # strength of castings
    # MakeItFrom, cast CB7Cu-1; liquidus by the data sheet of CB-7Cu-1, 2750 °F
    "17-4PH": (7.75, 1430, 1510, 480, 280, 17.1, 190, 1110),
}
PROPERTIES = (
    *("density", "solidus", "liquidus", "specific_heat"),
    *("latent_heat", "conductivity", "youngs_modulus", "yield_strength"),
)


@pytest.mark.parametrize("name", TABLE)
def test_alloy_values_are_those_of_the_sources(name):
    for key, given in zip(PROPERTIES, TABLE[name], strict=True):
        entry = pp.alloys()[name].entries[key]
        low, high = given if isinstance(given, tuple) else (given, given)
        assert low <= entry.value <= high, key
        assert entry.low <= low and high <= entry.high, f"{key}: the range must hold all that the sources say"


def test_no_alloy_is_missing_and_each_is_physical():
    assert set(pp.alloys()) == set(TABLE)
    for alloy in pp.alloys().values():
        assert alloy["solidus"] < alloy["liquidus"] < alloy["pour_temperature"]


@pytest.mark.parametrize(("name", "percent"), [("AlSi7Mg", (1.3, 1.6)), ("AZ91D", 1.8), ("316L", 2.0)])
def test_contraction(name, percent):
    # Foundry contraction allowances, linear (common practice): aluminium 1.3 to 1.6, magnesium 1.8, steel 2.0%.
    entry = pp.alloys()[name].entries["contraction"]
    assert np.min(percent) <= entry.value <= np.max(percent)


@pytest.mark.parametrize(("name", "percent"), [("AZ91D", 4.2), ("17-4PH", 3.0)])
def test_shrinkage_on_freezing(name, percent):
    assert pp.alloys()[name]["shrinkage"] == percent  # Campbell, Castings (from memory); aluminium and 316L: see below


def test_stainless_steel_that_freezes_like_304_shrinks_by_a_twentieth():
    # Metals Technology 1977, doi 10.1179/030716977803292457, abstract: 4.7 to 5.7% for two steels like 304.
    entry = pp.alloys()["316L"].entries["shrinkage"]
    assert (entry.low, entry.high) == (4.7, 5.7) and entry.value == pytest.approx(5.2)


@pytest.mark.parametrize(("name", "silicon"), [("AlSi7Mg", 7.0), ("AlSi10Mg", 10.0)])
def test_silicon_makes_aluminium_shrink_less(name, silicon):
    # Magnusson & Arnberg, Metall. Mater. Trans. A 32 (2001) 2605: 6.6% for pure aluminium, 4.4% at 11.6% Si.
    between = np.interp(silicon, (0.0, 11.6), (6.6, 4.4))
    assert pp.alloys()[name]["shrinkage"] == pytest.approx(between, abs=0.05)


@pytest.mark.parametrize(
    ("name", "layer_um", "mm3_s"),
    [("AlSi10Mg", 60, 10.5), ("Ti-6Al-4V", 30, 5.0), ("316L", 40, 3.7)],
)
def test_laser_rates_are_those_of_the_data_sheets(name, layer_um, mm3_s):
    # EOS machine data sheets (published), laser exposure only.
    alloy = pp.alloys()[name]
    assert (alloy["laser_layer"], alloy["laser_rate"]) == (layer_um, mm3_s)


@pytest.mark.parametrize(("name", "low", "high"), [("AlSi10Mg", 5.1, 18.1), ("316L", 2.0, 8.4)])
def test_laser_rate_ranges_reach_the_data_sheets_other_layers(name, low, high):
    # EOS (published): AlSi10Mg 30 µm 5.1, 80 µm 18.1 a laser; 316L 20 µm 2.0, 80 µm 8.4.
    entry = pp.alloys()[name].entries["laser_rate"]
    assert (entry.low, entry.high) == (low, high)


# Process tables ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "low", "high", "source"),
    [
        ("shell.coats_small", 8, 8, "foundry guides: 8 to 12 dips (published)"),
        ("shell.coats_large", 12, 12, "foundry guides: 8 to 12 dips (published)"),
        ("shell.thickness_small", 4.8, 4.8, "foundry guides: 4.8 to 16 mm (published)"),
        ("shell.thickness_large", 16, 16, "foundry guides: 4.8 to 16 mm (published)"),
        ("shell.coat_interval", 2, 4, "planning default (from memory)"),
        ("shell.final_drying", 24, 24, "planning default (from memory)"),
        ("shell.burn_out", 2, 3, "pattern guide, at 816 °C or more (published)"),
        ("tooled_pattern.die_wait", 4 * 168, 8 * 168, "trade interviews: 4 to 8 weeks for a wax die (published)"),
        ("printed_mould.layer", 0.3, 0.3, "Foundry Management: about 0.3 mm (published)"),
        ("printed_mould.sand_density", 1.3, 1.5, "bulk of printed sand (from memory)"),
        ("printed_mould.binder_fraction", 0.01, 0.02, "binder by mass (from memory)"),
        ("printed_mould.casting_grade", 8, 10, "resin sand, best 8 (iron-foundry.com, published)"),
        ("printed_pattern.casting_grade", 4, 6, "investment casting, ISO 8062-3 (published)"),
        ("printed_metal.machining_stock", 0.3, 1.0, "Scojet: on critical surfaces (published)"),
        ("feeding.modulus_ratio", 1.2, 1.2, "feeder modulus at least 1.2 × casting (common practice)"),
        ("feeding.efficiency", 0.14, 0.14, "Campbell (from memory)"),
        ("bonding.gap", 0.2, 0.2, "0.2 mm best of six gaps (published)"),
    ],
)
def test_process_values_lie_where_their_source_says(key, low, high, source):
    assert low <= library()[key].value <= high, source
