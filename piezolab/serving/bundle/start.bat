py -3 -m venv "%USERPROFILE%\piezolab-room" && "%USERPROFILE%\piezolab-room\Scripts\python" -m pip install --quiet --disable-pip-version-check --no-index --find-links "%~dp0wheels" --upgrade piezolab || exit /b 1
"%USERPROFILE%\piezolab-room\Scripts\piezolab" serve --room %*
