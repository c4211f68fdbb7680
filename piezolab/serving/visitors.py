"""Who is who: a visitor is known by a signed cookie with a random number, and by nothing else."""

import secrets
from typing import TYPE_CHECKING

from .error_pages import PlainErrors
from .seats import Seats

if TYPE_CHECKING:
    from .room import Room

_COOKIE_DAYS = 30


class Visitors(PlainErrors):
    """Knows the visitor by a signed cookie that scripts cannot read."""

    @property
    def seats(self) -> Seats:
        return self.settings["seats"]

    @property
    def room(self) -> "Room | None":
        """The room, where the server serves one."""
        return self.settings.get("room")

    def known_visitor(self) -> str | None:
        """The visitor's secret, or None for a browser that has none of this server."""
        value = self.get_signed_cookie(self.settings["visitor_cookie"], max_age_days=_COOKIE_DAYS)
        return value.decode("ascii", "replace") if value else None

    def welcome_visitor(self) -> str:
        """The visitor's secret, made now if need be."""
        who = self.known_visitor()
        if who is None:
            who = secrets.token_urlsafe(24)
            self.set_signed_cookie(
                self.settings["visitor_cookie"],
                who,
                expires_days=_COOKIE_DAYS,
                httponly=True,
                # Lax, not Strict: a shared link must find the visitor's other open pages still theirs.
                samesite="Lax",
                path=self.settings["base_url"],
                secure=self.request.protocol == "https",
            )
        return who
