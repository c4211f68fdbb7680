# piezolab for a school or a makerspace: each person has a server of their own behind one address.
#
#   pip install piezolab jupyterhub        and, from npm, configurable-http-proxy
#   export PIEZOLAB_HUB_PASSWORD='...'     one password for all, told in the room (at least eight letters)
#   jupyterhub --config jupyterhub_config.py
#
# People choose a name and type that password. Nobody can run code: each server lets the pages' own messages through
# and nothing else. For real accounts put another authenticator here; the rest stays as it is.
import os
import sys

c = get_config()  # noqa: F821 - the hub defines it

c.JupyterHub.bind_url = os.environ.get("PIEZOLAB_HUB_URL", "http://:8000")
c.JupyterHub.authenticator_class = "shared-password"
c.SharedPasswordAuthenticator.user_password = os.environ["PIEZOLAB_HUB_PASSWORD"]
c.Authenticator.allow_all = True

# On one machine: plain processes of the account that runs the hub, so people need no accounts on it. On a cluster put
# the cluster's spawner here, with an image in which piezolab and jupyterhub are installed, and keep `cmd`.
c.JupyterHub.spawner_class = "simple"
c.Spawner.cmd = [sys.executable, "-m", "piezolab.serving.hub"]
c.Spawner.default_url = "/"
c.Spawner.start_timeout = 60
c.Spawner.http_timeout = 60
c.Spawner.env_keep = ["PATH", "LANG", "LC_ALL", "VIRTUAL_ENV"]
c.Spawner.env_keep += ["PIEZOLAB_PAGES_EACH", "PIEZOLAB_IDLE_MINUTES", "PIEZOLAB_QUIT_MINUTES"]

# A room that arrives at once is started a few at a time; the others see the hub's own waiting page.
c.JupyterHub.concurrent_spawn_limit = 10
c.JupyterHub.active_server_limit = int(os.environ.get("PIEZOLAB_HUB_SERVERS", "60"))
# Shared links lead to the reader's own server, started on the way.
c.JupyterHub.redirect_to_server = True
