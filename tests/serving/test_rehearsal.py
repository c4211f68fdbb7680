"""What the warm process does before it is forked: it leaves nothing that a kernel could take for its own."""

import subprocess
import sys

_LOOKED_AT = """
import threading
from piezolab.serving.warm import preload, rehearse, wanted
preload(wanted())
rehearse()
import ipywidgets
from piezolab.studies.kept import _STORES
assert len(_STORES) > 20 and not any(_STORES.values()), "answers are kept"
assert not ipywidgets.Widget.widgets, "a widget was made"
assert threading.active_count() == 1, "threads do not survive a fork"
print("nothing left")
"""


def test_a_rehearsal_keeps_no_answer_makes_no_widget_and_starts_no_thread():
    done = subprocess.run([sys.executable, "-c", _LOOKED_AT], capture_output=True, text=True, timeout=120)
    assert done.stdout.strip() == "nothing left", done.stderr


def test_a_rehearsal_reaches_every_chapter(monkeypatch):
    from piezolab.chapters import find_chapters
    from piezolab.location import notebooks_dir
    from piezolab.serving import warm

    asked = []
    monkeypatch.setattr("piezolab.pages.kit.still_svg.picture", lambda *figure: asked.append(figure[-1]))
    warm.rehearse()
    assert len(asked) == len(find_chapters(notebooks_dir()))
