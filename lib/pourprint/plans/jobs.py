"""The job: which kit, in which alloy, how many, in batches of how many."""

import datetime as dt
from dataclasses import dataclass, fields, replace

import numpy as np

from pourprint.ledger.alloys import Alloy
from pourprint.ledger.checks import check_numbers
from pourprint.ledger.errors import InputError
from pourprint.ledger.workdays import moment_of
from pourprint.parts.kits import Kit
from pourprint.process.finish.bonding import ISOLATIONS


def _whole(name, value):
    """Whole numbers ≥ 1 as int array or int; refuses everything else."""
    check_numbers(whole=True, **{name: value})
    number = np.asarray(value)
    if np.any(number > 1_000_000):
        raise InputError(f"{name} must not pass 1 000 000 kits: these models plan small batches.")
    return number.astype(int) if number.ndim else int(number)


@dataclass(frozen=True)
class Job:
    """What is wanted.

    `kit` a Kit, or a Part as a kit of one; `alloy` an Alloy or its name; `quantity` of kits wanted [-];
    `batch_size` kits made together [-] (default: all at once); `machine_all_sockets` asks for machined
    tube sockets even where the route's casting grade would hold the bond gap; `delivery_days` from the
    lab to the customer [d]; `isolation` what keeps metal and carbon apart where the lab bonds the tubes in and cures,
    breaks coupons and proof-loads them, empty where it delivers bare nodes; `start` date (from opening time) or date
    and time from which on work may begin, and all days are counted (default: some Monday's opening time, no holidays).
    Numbers may be arrays that broadcast.
    Raises: InputError.
    """

    kit: Kit
    alloy: Alloy
    quantity: np.ndarray | int = 1
    batch_size: np.ndarray | int | None = None
    machine_all_sockets: bool = False
    delivery_days: float = 0.0
    isolation: str = ""
    start: dt.datetime | None = None

    def _put(self, name, value):
        object.__setattr__(self, name, value)  # the only way to fill a frozen field

    def __post_init__(self):
        self._put("kit", Kit.of(self.kit))
        if not isinstance(self.alloy, Alloy):
            self._put("alloy", Alloy.named(self.alloy))
        self._put("quantity", _whole("quantity", self.quantity))
        self._put("all_at_once", self.batch_size is None)  # remembered, so that `with_` keeps it at another quantity
        self._put("batch_size", _whole("batch_size", self.quantity if self.all_at_once else self.batch_size))
        self._put("start", None if self.start is None else moment_of(self.start))
        check_numbers(zero_allowed=True, arrays=False, delivery_days=self.delivery_days)
        if not isinstance(self.machine_all_sockets, bool):
            raise InputError(f"machine_all_sockets must be True or False, not {self.machine_all_sockets!r}.")
        if self.isolation not in ("", *ISOLATIONS):
            raise InputError(f"isolation={self.isolation!r} must be empty or one of {', '.join(ISOLATIONS)}.")
        if self.isolation == "anodised" and self.alloy.family in ("steel", "titanium"):
            raise InputError(f"isolation='anodised' is for light metals, not {self.alloy.name}: take another.")
        try:
            np.broadcast_shapes(np.shape(self.quantity), np.shape(self.batch_size), np.shape(self.kit.volume_cm3))
        except ValueError:
            raise InputError(
                f"quantity {np.shape(self.quantity)}, batch_size {np.shape(self.batch_size)} and part volume "
                f"{np.shape(self.kit.volume_cm3)} do not broadcast: give one number, or arrays of one length."
            ) from None

    def with_(self, **changes):
        """The same job with some fields changed. Raises: InputError."""
        known = [field.name for field in fields(self)]
        if unknown := [name for name in changes if name not in known]:
            raise InputError(f"a job has no {unknown[0]!r}; it has {', '.join(known)}.")
        if self.all_at_once:
            changes = {"batch_size": None, **changes}
        return replace(self, **changes)
