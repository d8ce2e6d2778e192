"""Where every number comes from: the whole ledger under one roof."""

from pourprint.decide.carbon import carbon_ledger
from pourprint.ledger.alloys import alloy_ledger
from pourprint.ledger.entries import as_table, freezing, joints, unmeshed
from pourprint.ledger.rates import RateCard


def pedigree(rates=None):
    """The whole ledger as a table: every number of the rate card, the process tables, alloys and moulds.

    Parameters: `rates` RateCard (default: the library's placeholder card).
    Returns: pandas table keyed by name: value, low, high, unit, pedigree, source, date.
    """
    import pandas as pd

    card = RateCard.default() if rates is None else rates
    tables = (as_table(entries) for entries in (unmeshed(), freezing(), joints(), carbon_ledger()))
    return pd.concat([card.table(), alloy_ledger(), *tables])
