python3 -m venv "$HOME/piezolab-room" && "$HOME/piezolab-room/bin/python" -m pip install --quiet --disable-pip-version-check --no-index --find-links "$(dirname "$0")/wheels" --upgrade piezolab || exit 1
exec "$HOME/piezolab-room/bin/piezolab" serve --room "$@"
