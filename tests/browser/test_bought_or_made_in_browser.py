"""A card that buys, in a browser: each ware is made here or bought by the keyboard, and the answer follows."""

import time

import pytest
from jupyter_browser import REPOSITORY, browser_page, open_notebook, settled, write_notebook

import pourprint as pp
from pourprint.routes.bought import WARES

START = "2027-01-11T08:00"
CELLS = [
    f"import pourprint as pp\ndata = {str(REPOSITORY / 'data_demo')!r}",
    "kit, rates = pp.Kit.load(f'{data}/rover_kit.toml'), pp.RateCard.load(f'{data}/rates_buying.toml')",
    f"pp.panels.compare_panel(kit, rates, {START!r})",
]
CARD = pp.RateCard.load(REPOSITORY / "data_demo/rates_buying.toml")


@pytest.fixture(scope="module")
def panel(lab, playwright_driver):
    address, folder = lab
    write_notebook(folder / "bought.ipynb", CELLS)
    with browser_page(playwright_driver) as page:
        open_notebook(page, address, "bought.ipynb")
        settled(page)
        yield page
        assert page.refused == [], "a notebook must work without a network"


def answered(page, title, cost, patience_s=20):
    """The facts once the table, which waits until the panel rests, says that cost of a route."""
    deadline = time.monotonic() + patience_s
    while rows(page)[title] != cost and time.monotonic() < deadline:
        page.wait_for_timeout(200)
    assert rows(page)[title] == cost
    return page.locator(".pourprint-facts").first.inner_text()


def choose(page, name, option):
    """A choice of a menu by the keyboard alone: focus, then the letter that the option begins with."""
    menu = page.get_by_role("combobox", name=name)
    menu.focus()
    menu.press(option[0])
    # A menu writes its spaces as fixed ones.
    assert menu.evaluate("e => e.selectedOptions[0].text").replace("\xa0", " ") == option


def rows(page):
    """{route: what the table, a column a route, says first of it: cost of a kit with failures}."""
    lines = [
        row.locator("th, td").all_inner_texts()
        for row in page.locator(".pourprint-panel .pourprint-table tr").all()[:2]
    ]
    return dict(zip(lines[0][1:], lines[1][1:], strict=True))


def wanted(price, *made):
    """The same of plans with some wares made here, with failures and their days at a price."""
    kit, card = pp.Kit.load(REPOSITORY / "data_demo/rover_kit.toml"), CARD.making(*made) if made else CARD
    plans = pp.plan_all(pp.Job(kit, "AlSi7Mg", start=START), card).values()
    means = {plan.title: pp.expected(plan) for plan in plans}
    return {title: f"{round(mean.cost + price * mean.days):,}" for title, mean in means.items()}


@pytest.mark.parametrize(("ware", "title"), [("printed_mould", "Printed mould"), ("relieved_metal", "Printed metal")])
def test_what_is_bought_may_be_made_here_and_bought_again(panel, ware, title):
    """By the keyboard, ware by ware: that route's numbers and the facts follow, and come back."""
    price = float(panel.get_by_role("textbox", name="price of a day").first.input_value())
    bought, made = wanted(price)[title], wanted(price, ware)[title]
    before = answered(panel, title, bought)
    assert bought != made
    choose(panel, WARES[ware].title, "made here")
    assert answered(panel, title, made) != before
    choose(panel, WARES[ware].title, "bought")
    assert answered(panel, title, bought) == before
