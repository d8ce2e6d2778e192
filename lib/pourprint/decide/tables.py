"""Tables of answers, built in one way. Pandas is loaded with the first that is asked for."""


def table_of(rows, head, columns=None):
    """A pandas table of `rows`, headed by its column `head`, or by several.

    Parameters: `rows` dicts, or tuples under the names `columns`.
    """
    import pandas as pd

    return pd.DataFrame(rows, columns=columns).set_index(head)
