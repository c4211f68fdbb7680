"""Who may open pages of one person's server: that person, as their hub says."""

import os
from typing import Any
from urllib.parse import quote

from jupyter_server.utils import url_path_join
from jupyterhub.services.auth import HubOAuth, HubOAuthCallbackHandler, HubOAuthenticated
from tornado.web import RequestHandler, authenticated


class LoginHandler(HubOAuthenticated, RequestHandler):
    """Sends somebody to the hub to sign in, and on to the page they wanted once they are back."""

    @authenticated
    def get(self) -> None:
        # Always below this server's own address: what stands in a link must not lead outside.
        self.redirect(url_path_join(self.settings["base_url"], self.get_argument("next", "")))


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
        if user is not None and self._auth.check_scopes(self._auth.access_scopes, user):
            return True
        # By way of the hub, which knows whose server is whose: somebody who was sent a link of another's server gets
        # the same page on their own.
        page = quote(handler.request.uri.removeprefix(handler.base_url), safe="")
        handler.redirect(url_path_join(self._hub, "hub/user-redirect/hub-login") + f"?next={page}")
        return False

    def routes(self) -> list[tuple]:
        """Addresses that signing in needs."""
        return [(r"oauth_callback", HubOAuthCallbackHandler), (r"hub-login", LoginHandler)]
