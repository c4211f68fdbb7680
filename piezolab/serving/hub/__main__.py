"""Starts one person's server as the hub asks for it, in the environment."""

import os
import sys
from urllib.parse import urlsplit

from piezolab.serving import ServingError
from piezolab.serving.hub.member import Member
from piezolab.serving.start import run


def main() -> None:
    """Serve until the hub says stop, or until nobody has had a page open for a while."""
    where = urlsplit(os.environ.get("JUPYTERHUB_SERVICE_URL", ""))
    if not where.hostname or not where.port:
        sys.exit("this is started by a JupyterHub; by hand, say: piezolab serve")
    try:
        run(
            host=where.hostname,
            port=where.port,
            base_url=os.environ.get("JUPYTERHUB_SERVICE_PREFIX", "/"),
            # The public address is the hub's to know; visitors are known by their sign-in, not by the name they use.
            member=Member(),
            seats=int(os.environ.get("PIEZOLAB_PAGES_EACH", "4")),
            # One person does not pay for a warm process: it would cost more memory than their page.
            warm=False,
            idle_minutes=float(os.environ.get("PIEZOLAB_IDLE_MINUTES", "20")),
        )
    except ServingError as problem:
        sys.exit(str(problem))


if __name__ == "__main__":
    main()
