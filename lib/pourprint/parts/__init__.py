"""Parts: meshes read, mended and measured, facts of a part, kits of them, nodes made to order.

May import from ledger.
"""
