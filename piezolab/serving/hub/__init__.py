"""One person's own server behind a JupyterHub: still standalone, so that the message filter stays on.

`jupyterhub_config.py` beside this file is a ready configuration. For each person it starts
``python -m piezolab.serving.hub``.
"""
