"""The decision written down: one memo for client, dean and workshop, as a page, a PDF and a workbook of its numbers."""

# ruff: noqa: F401  what is asked for as pp.report.*
from pourprint.report.memo import Memo, memo, memo_of
from pourprint.report.tables import findings_table, plain_text, routes_table, together
from pourprint.report.traveller import cautions_table, traveller
from pourprint.report.two_decisions import changes, side_by_side
from pourprint.report.workbook import workbook
