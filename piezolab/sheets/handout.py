"""A lesson as a page to print: its way in as address and QR code, its prose, its tasks with room for the answer."""

from __future__ import annotations

import io
from html import escape

from piezolab.chain.link import to_query
from piezolab.faces import embedded
from piezolab.lessons.lesson import Lesson, LessonStep

_STYLE = """
@page { margin: 14mm 15mm; }
body { font: 10.5pt/1.35 "piezolab text", Arial, "Liberation Sans", Helvetica, sans-serif; max-width: 180mm;
  margin: 0 auto; padding: 4mm; color: #111; text-rendering: geometricPrecision; }
code { font-family: inherit; }
h1 { font-size: 20pt; margin: 0 0 1mm; }
p { margin: 1.6mm 0; }
.way { display: flex; gap: 6mm; align-items: center; border: 0.4mm solid #777; padding: 2mm 3mm; margin: 3mm 0; }
.way svg { width: 30mm; height: 30mm; flex: none; }
.way code { overflow-wrap: anywhere; }
ol { margin: 3mm 0; padding-left: 7mm; }
li { break-inside: avoid; }
.answer { border-bottom: 0.3mm solid #555; height: 7mm; }
.options { list-style: none; padding-left: 0; margin: 1mm 0; }
.options li { margin: 0.7mm 0; }
.hint, .small { color: #444; font-size: 9.5pt; }
.care { border-left: 1.2mm solid #b86e00; padding-left: 3mm; font-size: 9.5pt; }
"""
CARE = (
    "Volume down before you plug in, headphones off first.",
    "Never open or modify mains-powered gear; never remove or bypass a protective earth.",
    "The figures are estimates from typical data, not a certificate.",
)


def lesson_path(lesson: Lesson) -> str:
    """Where the lesson is, behind the server's address."""
    return f"{lesson.chapter}?lesson={lesson.name}"


def handout(lesson: Lesson, address: str = "") -> str:
    """The lesson as a whole HTML document that needs nothing else.

    address: of the server, as the room reaches it; without one there is no QR code and the way in is said in words.
    """
    steps = _steps(lesson)
    chain = to_query(lesson.chain)
    start = f"<p class='small'>starting chain: <code>{escape(chain)}</code></p>" if chain else ""
    care = "".join(f"<p>{escape(sentence)}</p>" for sentence in CARE)
    return (
        f'<!doctype html><html lang="en-GB"><head><meta charset="utf-8"><title>{escape(lesson.title)}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{embedded()}{_STYLE}</style></head><body><h1>{escape(lesson.title)}</h1>"
        f"<p class='small'>about {lesson.minutes} minutes</p>{_way(lesson, address)}<p>{escape(lesson.intro)}</p>"
        f"{start}{steps}<p>{escape(lesson.closing)}</p><div class='care'>{care}</div></body></html>"
    )


def _way(lesson: Lesson, address: str) -> str:
    path = lesson_path(lesson)
    if not address:
        return f"<div class='way'><p>Open the address on the board, then <code>/{escape(path)}</code></p></div>"
    import segno

    link = address.rstrip("/") + "/" + path
    out = io.BytesIO()
    segno.make(link, error="m").save(out, kind="svg", border=2, xmldecl=False, svgns=True, omitsize=True)
    return f"<div class='way'>{out.getvalue().decode()}<p>Scan this, or type<br><code>{escape(link)}</code></p></div>"


def _steps(lesson: Lesson) -> str:
    """Prose and tasks in their order; the tasks carry the numbers that they have on the page and on the wall."""
    made, number = [], 0
    for step in lesson.steps:
        if step.kind == "read":
            made.append(f"<p>{escape(step.text)}</p>")
        else:
            number += 1
            made.append(f"<ol start='{number}'>{_step(step)}</ol>")
    return "".join(made)


def _step(step: LessonStep) -> str:
    said = f"<p>{escape(step.text)}</p>" if step.text else ""
    if step.guess:
        said += f"<p>Guess first: {escape(step.guess)} ☐\u00a0up ☐\u00a0same ☐\u00a0down</p>"
    said += f"<p><strong>{escape(step.question)}</strong></p>"
    if step.kind == "pick":
        options = "".join(f"<li>☐ {escape(option.text)}</li>" for option in step.options)
        said += f"<ul class='options'>{options}</ul>"
    elif step.kind == "number":
        said += "<div class='answer'></div>"
    else:
        said += "<p>☐ done; my settings:</p><div class='answer'></div>"
    return f"<li>{said}<p class='hint'>Stuck? {escape(step.hint)}</p></li>"
