"""The cautions of one stage as a box to read before working."""

from html import escape

from pourprint.figures.tables import table_html
from pourprint.plans.cautions import cautions_of


def caution_box(plan, stage):
    """The cautions of one stage of a plan as HTML. Parameters: `plan` a feasible Plan; `stage` a Stage."""
    table = cautions_of(plan)
    lines = "".join(f"<li>{escape(text)}</li>" for text in table.loc[table["stage"] == stage.title, "caution"])
    return (
        "<div style='border-left:6px solid #D55E00;padding:4px 14px;max-width:920px;line-height:1.45;"
        "break-inside:avoid'>"
        f"<b>Cautions: {escape(stage.title)}.</b> Local codes, data sheets and licensed practice come first."
        f"<ul style='margin:4px 0'>{lines}</ul></div>"
    )


def caution_table(plan):
    """All cautions of a plan, stage by stage, as an HTML table. Parameters: `plan` a feasible Plan."""
    table = cautions_of(plan)
    texts = ("• " + table["caution"]).groupby(table["stage"], sort=False).agg("\n".join).rename("cautions")
    return table_html(texts, f"{plan.title}: what can hurt, stage by stage.")
