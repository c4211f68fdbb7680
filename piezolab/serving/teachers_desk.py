"""What the room's teacher alone may see and do: known by a secret in an address, and from then on by a cookie."""

import secrets

from .limits import Allowances

#: Secrets that one address may try at once and each second.
TRIES = (5, 0.1)


class TeachersDesk:
    """The desk of one room.

    Attributes
    ----------
    secret : str
        Stands after # in the teacher's address, which browsers send to nobody.
    muted : bool
        Whether the pages are to be silent.
    """

    def __init__(self) -> None:
        self.secret = secrets.token_urlsafe(24)
        self.muted = False
        # Not the secret itself: what a browser keeps opens nothing on another one.
        self._pass = secrets.token_urlsafe(24)
        self._tries = Allowances(*TRIES)
        self._numbers: dict[str, int] = {}
        self._given = 0

    def may_try(self, address: str) -> bool:
        """Whether a secret from that address is looked at now."""
        return self._tries.take(address)

    def pass_for(self, secret: str) -> str | None:
        """What the cookie is to hold, for the right secret; None for a wrong one."""
        return self._pass if secrets.compare_digest(secret.encode(), self.secret.encode()) else None

    def knows(self, kept: str | None) -> bool:
        """Whether a cookie is the teacher's."""
        return kept is not None and secrets.compare_digest(kept.encode(), self._pass.encode())

    def numbers(self, kernel_ids: list[str]) -> dict[str, int]:
        """A number for each page that has a seat, from 1. None is given twice, or what was meant for one that has just
        left would hit the next."""
        kept = {}
        for kernel_id in kernel_ids:
            if kernel_id not in self._numbers:
                self._given += 1
            kept[kernel_id] = self._numbers.get(kernel_id, self._given)
        self._numbers = kept
        return kept
