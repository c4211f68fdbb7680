"""Who may open pages of one person's server: that person, as their hub says."""

import os
from typing import Any
from urllib.parse import quote

from jupyter_server.utils import url_path_join
from jupyterhub.services.auth import HubOAuth, HubOAuthCallbackHandler, HubOAuthenticated
from tornado.web import HTTPError, RequestHandler, authenticated


class LoginHandler(HubOAuthenticated, RequestHandler):
    """Sends somebody to the hub to sign in, and on to the page they wanted once they are back."""

    @authenticated
    def get(self) -> None:
        wanted = self.get_argument("next", "")
        base = self.settings["base_url"]
        # Only into this server: an address that came from outside must not lead outside.
        self.redirect(wanted if wanted.startswith(base) and not wanted.startswith("//") else base)


class Member:
    """The person this server belongs to; asks the hub, whose address is in the environment."""

    #: Minutes without an open page after which the server ends; the hub starts it again when it is wanted.
    quit_after_s = 60.0 * float(os.environ.get("PIEZOLAB_QUIT_MINUTES", "30"))

    def __init__(self) -> None:
        self._auth = HubOAuth.instance()
        self._hub = os.environ.get("JUPYTERHUB_BASE_URL", "/")

    async def admits(self, handler: Any) -> bool:
        """Whether the request is this person's; if not, it has been answered with the way to go."""
        user = await self._auth.get_user(handler, sync=False)
        if user is None:
            login = url_path_join(handler.base_url, "hub-login")
            handler.redirect(f"{login}?next={quote(handler.request.uri, safe='')}")
            return False
        if self._auth.check_scopes(self._auth.access_scopes, user):
            return True
        # A link from somebody else's server: the same page on their own.
        page = handler.request.uri.removeprefix(handler.base_url)
        if user.get("kind") != "user":
            raise HTTPError(403)
        handler.redirect(url_path_join(self._hub, "hub/user-redirect", page))
        return False

    def routes(self) -> list[tuple]:
        """Addresses that signing in needs."""
        return [(r"oauth_callback", HubOAuthCallbackHandler), (r"hub-login", LoginHandler)]
