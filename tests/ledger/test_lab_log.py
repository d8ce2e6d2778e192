"""A lab's log: conjugate updates against closed forms and SciPy, odd rows refused by number, a card of one's own."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

import pourprint as pp
from pourprint.ledger.entries import Kind
from pourprint.ledger.errors import InputError
from pourprint.ledger.lab_log import (
    COLUMNS,
    LabLog,
    Record,
    TimeBelief,
    YieldBelief,
    update_table,
    updated_card,
    updates,
)
from pourprint.ledger.ranges import draw
from scenes import DEMO, demo_rates, small_job

HEAD = ",".join(COLUMNS)


def log_of(tmp_path, *rows, head=HEAD):
    path = tmp_path / "log.csv"
    path.write_text("\n".join([head, *rows]), encoding="utf-8")
    return LabLog.load(path, demo_rates())


def entry(key):
    return demo_rates().entries[key]


# Closed forms ---------------------------------------------------------------------------------------------


def test_a_yield_updated_by_hand():
    # Beta(18, 2) and 7 good, 3 failed → Beta(25, 5), mean 25/30 (exact; Raiffa & Schlaifer 1961, from memory).
    after = YieldBelief(18, 2).after(10, 3)
    assert (after.a, after.b) == (25, 5)
    assert after.mean == pytest.approx(25 / 30)


def test_a_time_updated_by_hand():
    # Inverse gamma (6, 10) with k = 4: mean 10/5 = 2. Five pieces in 15 h: (6 + 20, 10 + 60), mean 70/25 = 2.8.
    after = TimeBelief(6, 10, 4).after(5, 15.0)
    assert (after.alpha, after.beta) == (26, 70)
    assert after.mean == pytest.approx(2.8)
    # The same as a weighted mean: the prior is worth 5/4 pieces of 2 h, the log 5 pieces of 3 h.
    assert after.mean == pytest.approx((1.25 * 2 + 5 * 3) / 6.25)
    assert (TimeBelief(6, 10, 4).worth, after.worth) == (1.25, 6.25)


def posterior_on_a_grid(prior, likelihood, x):
    density = prior * likelihood
    return density / np.trapezoid(density, x)


def test_the_yield_posterior_is_bayes_rule_done_numerically():
    prior = YieldBelief.from_entry(entry("foundry.yield_pour"))
    x = np.linspace(1e-6, 1 - 1e-6, 40_001)
    grid = posterior_on_a_grid(prior.distribution().pdf(x), stats.binom.pmf(18, 21, x), x)
    assert prior.after(21, 3).distribution().pdf(x) == pytest.approx(grid, abs=1e-3)  # of densities up to 7


def test_the_time_posterior_is_bayes_rule_done_numerically_piece_by_piece():
    prior = TimeBelief.from_entry(entry("shell.dip_time"))
    times = np.array([0.12, 0.2, 0.09, 0.15])
    x = np.linspace(0.01, 1.0, 40_001)
    likelihood = np.prod([stats.gamma.pdf(t, prior.k, scale=x / prior.k) for t in times], axis=0)
    grid = posterior_on_a_grid(prior.distribution().pdf(x), likelihood, x)
    after = prior.after(4, times.sum())
    assert after.distribution().pdf(x) == pytest.approx(grid, rel=1e-4, abs=1e-3)  # of densities up to 20
    assert after.mean == pytest.approx(np.trapezoid(x * grid, x), rel=1e-4)


KEYS = [key for key, e in pp.RateCard.default().entries.items() if e.kind in (Kind.TIME, Kind.YIELD) and e.high > e.low]


@pytest.mark.parametrize("key", KEYS)
def test_every_prior_has_the_tables_value_as_mean_and_its_triangle_as_spread(key):
    table = pp.RateCard.default().entries[key]
    prior = (YieldBelief if table.kind is Kind.YIELD else TimeBelief).from_entry(table)
    belief = prior.distribution()
    assert belief.mean() == pytest.approx(table.value) == pytest.approx(prior.mean)
    width = table.high - table.low
    assert belief.std() == pytest.approx(stats.triang((table.value - table.low) / width, scale=width).std())


@given(st.lists(st.tuples(st.integers(1, 20), st.floats(0.05, 5)), min_size=1, max_size=6))
@settings(max_examples=40)
def test_rows_may_come_one_by_one_or_added_up(rows):
    step_by_step = prior = TimeBelief.from_entry(entry("shell.dip_time"))
    for pieces, time in rows:
        step_by_step = step_by_step.after(pieces, time)
    at_once = prior.after(sum(p for p, _ in rows), sum(t for _, t in rows))
    assert step_by_step.alpha == pytest.approx(at_once.alpha)
    assert step_by_step.beta == pytest.approx(at_once.beta)


def test_a_long_log_overrules_the_table_and_a_short_one_hardly_moves_a_yield():
    prior = YieldBelief.from_entry(entry("foundry.yield_pour"))
    assert prior.after(100_000, 20_000).mean == pytest.approx(0.8, abs=1e-3)
    # One failure among the pieces that the range is worth: a/(a + b) falls to a/(a + b + 1), by mean/(worth + 1). By
    # hand for 0.65 to 0.98 about 0.92: variance (0.27² + 0.06² + 0.27·0.06)/18 = 0.00515, worth 0.92·0.08/0.00515 − 1.
    assert prior.worth == pytest.approx(13.3, abs=0.05)
    assert prior.mean - prior.after(1, 1).mean == pytest.approx(0.92 / 14.3, rel=1e-3)
    assert TimeBelief.from_entry(entry("shell.dip_time")).after(10_000, 3000).mean == pytest.approx(0.3, rel=1e-3)


# Rows -----------------------------------------------------------------------------------------------------

ODD = [
    ("2026-13-01,shell.dip_time,2,0.2,h,,", "date must be such as"),
    ("05.10.2026,shell.dip_time,2,0.2,h,,", "date must be such as"),
    ("2026-10-05,shell.dip_tim,2,0.2,h,,", 'did you mean "shell.dip_time"'),
    ("2026-10-05,shell.dip_time,,0.2,h,,", "pieces is missing"),
    ("2026-10-05,shell.dip_time,0,0.2,h,,", "pieces must be a whole number of at least 1"),
    ("2026-10-05,shell.dip_time,2.5,0.2,h,,", "pieces must be a whole number"),
    ("2026-10-05,shell.dip_time,2,soon,h,,", "time must be a number"),
    ("2026-10-05,shell.dip_time,2,-0.2,h,,", "time must be a number of at least 0"),
    ("2026-10-05,shell.dip_time,2,nan,h,,", "time must be a number"),
    ("2026-10-05,shell.dip_time,2,inf,h,,", "time must be a number"),
    ("2026-10-05,shell.dip_time,2,12,min,,", 'unit must be "h"'),
    ("2026-10-05,shell.dip_time,2,12,h,,", "6 h a piece is far from the table's 0.05 to 0.2"),
    ("2026-10-05,shell.dip_time,2,0.2,h,1,", "failures have a row of their own"),
    ("2026-10-05,shell.dip_time,2,,h,,", "a step time needs time"),
    ("2026-10-05,foundry.yield_pour,6,,,7,", "7 failed of 6"),
    ("2026-10-05,foundry.yield_pour,6,,,,", "a yield needs failed"),
    ("2026-10-05,foundry.yield_pour,6,2,h,1,", "and no time"),
    ("2026-10-05,labour.technician,6,2,h,,", "neither a step time in h or s nor a yield"),
    ("2026-10-05,shell.dip_time,2,0,2,h,,", "has 8 cells"),
    ("2026-10-05,shell.dip_time,2,0.2,h", "has 5 cells"),
]


@pytest.mark.parametrize(("row", "said"), ODD)
def test_an_odd_row_is_refused_by_its_number_with_the_reason(tmp_path, row, said):
    log = log_of(tmp_path, "2026-10-04,shell.dip_time,2,0.2,h,,", row)
    assert list(log.refused) == [3]
    assert said in log.refused[3]
    assert len(log.records) == 1
    with pytest.raises(InputError, match="row 3: "):
        updated_card(log, demo_rates())


def test_a_row_with_two_faults_names_both(tmp_path):
    log = log_of(tmp_path, "5 Oct,shell.dip_time,none,0.2,h,,")
    assert "date must" in log.refused[2] and "pieces must" in log.refused[2]


def test_a_row_entered_twice_is_refused_unless_a_note_tells_them_apart(tmp_path):
    row = "2026-10-05,shell.dip_time,2,0.2,h,,"
    log = log_of(tmp_path, row, row, row + "second cluster")
    assert "the same as row 2" in log.refused[3]
    assert [record.row for record in log.records] == [2, 4]


def test_empty_lines_and_remarks_are_not_rows_and_keep_the_numbering(tmp_path):
    log = log_of(tmp_path, "", "# a remark", "2026-10-05,shell.dip_time,2,0.2,h,,", ",,,,,,", "x")
    assert [record.row for record in log.records] == [4]
    assert list(log.refused) == [6]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("# nothing but a remark\n", "is empty"),
        ("day,what\n", "must begin with the columns"),
        (HEAD.replace(",", ";") + "\n", "not semicolons"),
        (
            HEAD + '\n2026-10-05,shell.dip_time,2,0.2,h,,"1 inch tube\n2026-10-06,shell.dip_time,2,0.3,h,,\n',
            "not a CSV file",
        ),
    ],
)
def test_a_file_that_is_no_log_is_refused_as_a_whole(tmp_path, text, said):
    (tmp_path / "log.csv").write_text(text)
    with pytest.raises(InputError, match=said):
        LabLog.load(tmp_path / "log.csv", demo_rates())


def test_a_file_that_is_not_text_is_refused(tmp_path):
    (tmp_path / "log.csv").write_bytes(b"\xff\xfe\x00date")
    with pytest.raises(InputError, match="UTF-8"):
        LabLog.load(tmp_path / "log.csv", demo_rates())


# The demo log and the card --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo_log():
    return LabLog.load(DEMO / "lab_log.csv", demo_rates())


def test_no_row_of_the_demo_log_is_dropped(demo_log):
    lines = (DEMO / "lab_log.csv").read_text(encoding="utf-8").splitlines()
    rows = [line for line in lines if not line.startswith("#")][1:]
    assert len(demo_log.records) + len(demo_log.refused) == len(rows)
    assert lines[0].startswith("# Invented")


def test_each_updated_value_lies_between_the_tables_and_the_logs(demo_log):
    for update in updates(demo_log, demo_rates()).values():
        low, high = sorted((update.entry.value, update.seen))
        assert low * (1 - 1e-3) <= update.updated.value <= high * (1 + 1e-3)  # rounded to four digits
        assert update.updated.low <= update.updated.value <= update.updated.high
    assert len(update_table(updates(demo_log, demo_rates()))) == len(updates(demo_log, demo_rates()))


def test_an_updated_card_is_drawn_with_the_spread_of_what_the_log_left(demo_log):
    for key, update in updates(demo_log, demo_rates()).items():
        belief, drawn = update.posterior.distribution(), draw({key: update.updated}, 20_000)[key]
        cut = update.updated.low == 0 or (update.updated.high == 1 and update.entry.kind is Kind.YIELD)
        # 3%: 20 000 draws and four digits of rounding; a triangle that is cut at nothing or all spreads less.
        assert drawn.std() == pytest.approx(belief.std(), rel=0.25 if cut else 0.03), key
        assert belief.cdf(update.updated.high) - belief.cdf(update.updated.low) > 0.97, key


def test_the_card_goes_to_a_new_file_with_comments_kept_and_the_course_uses_it(demo_log, tmp_path):
    card = updated_card(demo_log, demo_rates(), without_refused=True, pedigree="invented")
    card.save(tmp_path / "my_rates.toml")
    again = pp.RateCard.load(tmp_path / "my_rates.toml")
    assert again.entries == card.entries
    assert "# wages with on-costs" in (tmp_path / "my_rates.toml").read_text(encoding="utf-8")
    assert "lab_log.csv: " in again.entries["shell.dip_time"].source
    before, after = (pp.plan("printed_pattern", small_job(4), rates) for rates in (demo_rates(), again))
    assert after.total_cost > before.total_cost  # the demo lab is slower at cleaning and dipping than the table
    assert after.first_pass_yield < before.first_pass_yield


def test_an_entry_without_a_range_cannot_be_a_prior():
    fixed = entry("shell.dip_time").model_copy(update={"low": 0.1, "high": 0.1})
    with pytest.raises(InputError, match="give a range"):
        TimeBelief.from_entry(fixed)
    with pytest.raises(InputError, match="give a range"):
        YieldBelief.from_entry(entry("foundry.yield_pour").model_copy(update={"value": 1.0, "high": 1.0}))


@pytest.mark.parametrize(("hours", "used"), [(2.0, 1), (2.001, 0), (0.005, 1), (0.00499, 0)])
def test_a_time_is_used_up_to_ten_times_beyond_the_range_and_no_further(hours, used, tmp_path):
    # shell.dip_time is 0.05 to 0.2 h: 0.005 to 2 h a piece are believed.
    path = tmp_path / "log.csv"
    path.write_text(f"date,what,pieces,time,unit,failed,note\n2026-10-05,shell.dip_time,1,{hours},h,,\n")
    assert len(LabLog.load(path, demo_rates()).records) == used


def test_the_updated_range_spreads_and_leans_as_the_belief_does():
    # Forty tries, ten failed, over 0.65 to 0.98 about 0.92; Beta by another library, the triangle's spread by hand.
    entry_ = entry("foundry.yield_pour")
    prior = YieldBelief.from_entry(entry_)
    belief = stats.beta(prior.a + 30, prior.b + 10)
    record = Record(2, dt.date(2026, 10, 5), "foundry.yield_pour", 40, None, 10, "")
    update = updates(LabLog("log", (record,), {}), demo_rates())["foundry.yield_pour"]
    left, right = update.updated.value - update.updated.low, update.updated.high - update.updated.value
    assert ((left**2 + right**2 + left * right) / 18) ** 0.5 == pytest.approx(belief.std(), rel=1e-3)
    below, above = belief.mean() - belief.ppf(0.025), belief.ppf(0.975) - belief.mean()
    assert left / right == pytest.approx(below / above, rel=2e-3) and left > right
    row = update_table({"y": update}).loc["y"]
    assert (row["pieces"], row["seen"], row["unit"]) == (40, 0.75, "-")
