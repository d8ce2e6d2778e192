"""The cautions of one stage as a box to read before working."""

from html import escape

from pourprint.plans.cautions import cautions_of


def caution_box(plan, stage):
    """The cautions of one stage of a plan as HTML. Parameters: `plan` a feasible Plan; `stage` a Stage."""
    table = cautions_of(plan)
    lines = "".join(f"<li>{escape(text)}</li>" for text in table.loc[table["stage"] == stage.title, "caution"])
    return (
        "<div style='border-left:6px solid #D55E00;padding:4px 14px;max-width:920px;line-height:1.45'>"
        f"<b>Cautions: {escape(stage.title)}.</b> Local codes, data sheets and licensed practice come first."
        f"<ul style='margin:4px 0'>{lines}</ul></div>"
    )


def caution_table(plan):
    """All cautions of a plan, stage by stage, as an HTML table. Parameters: `plan` a feasible Plan."""
    left = 'style="text-align:left"'  # sentences; a notebook sets its tables flush right
    rows = "".join(
        f'<tr><th scope="row" {left}>{escape(stage)}</th><td {left}>{"<br>".join(map(escape, texts))}</td></tr>'
        for stage, texts in cautions_of(plan).groupby("stage", sort=False)["caution"]
    )
    head = f'<th scope="col" {left}>stage</th><th scope="col" {left}>cautions</th>'
    caption = f"<caption {left}>{escape(plan.title)}: what can hurt, stage by stage.</caption>"
    return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
