"""Process: the trade's physics, by place: freezing, shell, sand, powder, finish, strength.

May import from ledger and parts.
"""
