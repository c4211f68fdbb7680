"""What looks at a page and says what is wrong with it; each gives a list of sentences, empty where all is well."""

from __future__ import annotations

from axe_playwright_python.base import AXE_SCRIPT

from tests.serving.browsing import Page

# A finding that axe leaves to a human, and what this project does about it: plots and schematics are drawings with a
# text alternative, whose letters have the page's own colours (see the test of colours); a plot's letters lie over
# its own transparent layers, which is why axe cannot tell.
_LEFT_TO_US = {"color-contrast"}

_RUN_AXE = """async () => {
  const { violations, incomplete } = await axe.run(document, { resultTypes: ["violations", "incomplete"] });
  const told = (kind) => ({ id, help, nodes }) =>
    [id, `${kind} ${id}: ${help}: ${nodes.slice(0, 3).map((node) => node.html.slice(0, 150)).join(" | ")}`];
  return [...violations.map(told("finds")), ...incomplete.map(told("doubts"))];
}"""


def axe(page: Page) -> list[str]:
    """What axe finds on a page as it stands, and what it is not sure of. Nothing is fetched: axe comes as a package."""
    page.page.evaluate(AXE_SCRIPT)
    found = page.page.evaluate(_RUN_AXE)
    return [told for name, told in found if not (told.startswith("doubts") and name in _LEFT_TO_US)]


# What axe cannot know: which words, which units, which headings.
_UNNAMED = """() => {
    const faults = [];
    const shown = (all) => [...document.querySelectorAll(all)].filter((e) => e.checkVisibility());
    const say = (what, e) => faults.push(`${what}: ${e.outerHTML.slice(0, 120)}`);
    for (const e of shown("input[type=range]")) {
        if (!(e.ariaLabel || e.labels.length)) say("slider without a name", e);
        const text = e.getAttribute("aria-valuetext") ?? "";
        const unit = e.closest(".pz-control")?.querySelector(".pz-unit")?.textContent ?? "";
        if (!/\\d/.test(text) || !text.endsWith(unit)) say(`slider says "${text}", unit "${unit}"`, e);
    }
    for (const e of shown(".piezolab-plot")) {
        if (e.getAttribute("role") !== "img") say("plot that is no image", e);
        if ((e.ariaLabel ?? "").length < 15) say("plot without words", e);
    }
    for (const e of shown(".pz-page svg.schematic")) {
        if (e.getAttribute("role") !== "img" || !e.querySelector("title")) say("drawing without words", e);
    }
    for (const e of shown(".pz-page table")) {
        if (!e.tHead || [...e.querySelectorAll("th")].some((th) => !th.scope)) say("heading cell of what?", e);
        const above = e.closest(".pz-block")?.querySelector("h2, summary");
        if (!e.caption && !above) say("table without caption or heading", e);
    }
    for (const e of shown(".pz-page [aria-expanded]:not(button)")) say("fold that is no button", e);
    for (const e of document.querySelectorAll(".pz-verdict > .pz-body, .pz-verdict")) {
        if (e.getAttribute("role") === "alert" || e.ariaLive) say("verdict that talks all the time", e);
    }
    const ids = [...document.querySelectorAll("[id]")].map((e) => e.id);
    for (const id of new Set(ids.filter((id, n) => ids.indexOf(id) !== n))) faults.push(`id twice: ${id}`);
    let level = 0;
    for (const e of shown("h1, h2, h3, h4, h5, h6")) {
        const now = Number(e.tagName[1]);
        if (now > level + 1) say(`heading jumps from ${level}`, e);
        level = now;
    }
    for (const e of shown("main *")) {
        const target = e.getAttribute("aria-labelledby") ?? e.getAttribute("aria-controls") ?? e.getAttribute("for");
        for (const id of (target ?? "").split(" ")) {
            if (id && !document.getElementById(id)) say(`points at nothing (${id})`, e);
        }
    }
    return faults;
}"""


def unnamed(page: Page) -> list[str]:
    """Controls, drawings, tables and headings that do not say what they are, and names that point at nothing."""
    return page.page.evaluate(_UNNAMED)


# Words that come to their end before their place does, whatever holds them.
_CUT = """() => {
    const faults = [];
    const pen = document.createElement("canvas").getContext("2d");
    const say = (e, text, room) => faults.push(`${room} px for "${text}": ${e.outerHTML.slice(0, 100)}`);
    for (const e of document.querySelectorAll("body *")) {
        if (!e.checkVisibility() || e.closest(".piezolab-plot, .pz-unseen, .pz-scroll, svg, math")) continue;
        const style = getComputedStyle(e);
        const inside = e.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
        if (e.tagName === "SELECT") {
            pen.font = style.font;
            const text = e.selectedOptions[0]?.text ?? "";
            if (pen.measureText(text).width > inside - 14) say(e, text, inside); // the arrow takes its place, too
        } else if (e.matches("input[type=text]:not([readonly])")) {
            if (e.scrollWidth > e.clientWidth + 1) say(e, e.value, inside);
        } else if (!e.matches("input, textarea, option")) {
            const hides = /hidden|clip/.test(style.overflowX) && e.scrollWidth > e.clientWidth + 1;
            if (hides && e.innerText?.trim()) say(e, e.innerText.slice(0, 40), inside);
        }
    }
    return faults;
}"""


def cut(page: Page) -> list[str]:
    """Texts that do not fit where they stand."""
    return page.page.evaluate(_CUT)


_WIDE = """() => {
    const root = document.documentElement, width = root.clientWidth, faults = [];
    if (root.scrollWidth > width) faults.push(`the page is ${root.scrollWidth} wide`);
    for (const e of document.querySelectorAll("main *")) {
        if (!e.checkVisibility() || e.closest(".pz-unseen, .piezolab-plot, svg, math")) continue;
        const box = e.closest(".pz-scroll");
        const right = Math.round(e.getBoundingClientRect().right);
        if (!box && right > width) faults.push(`reaches to ${right} of ${width}: ${e.outerHTML.slice(0, 100)}`);
        if (box !== e) continue;
        // What scrolls in a box of its own says so, and the keyboard can reach it.
        const hidden = box.scrollWidth > box.clientWidth + 1;
        const cue = box.nextElementSibling?.matches(".pz-cue") && box.nextElementSibling.offsetHeight > 0;
        const what = box.outerHTML.slice(0, 100);
        if (hidden && !(cue && box.tabIndex === 0)) faults.push(`scrolls without a word: ${what}`);
        if (!hidden && cue) faults.push(`says that it scrolls, and does not: ${what}`);
    }
    return faults;
}"""


def wide(page: Page) -> list[str]:
    """What does not fit the screen's width, and boxes that scroll sideways without saying so."""
    return page.page.evaluate(_WIDE)


_SMALL = """() => {
    const faults = [];
    for (const e of document.querySelectorAll("button, summary, select, input, textarea, a[href]")) {
        if (!e.checkVisibility() || e.matches(".pz-skip, textarea[readonly]")) continue;
        // A tick box is as large as its label, which takes the touch as well.
        const label = e.matches("[type=radio], [type=checkbox], [type=file]") ? e.closest("label") : null;
        const { width, height } = (label ?? e).getBoundingClientRect();
        if (width < 43.5 || height < 43.5) faults.push(`${width} x ${height}: ${e.outerHTML.slice(0, 100)}`);
        if (e.type === "range") {
            const thumb = parseFloat(getComputedStyle(e).getPropertyValue("--pz-thumb"));
            if (!(thumb >= 44)) faults.push(`thumb of ${thumb}: ${e.outerHTML.slice(0, 100)}`);
        }
    }
    return faults;
}"""


def small(page: Page) -> list[str]:
    """What a thumb would miss: targets under 44 px."""
    return page.page.evaluate(_SMALL)


_FOCUSED = """() => {
    const e = document.activeElement;
    if (!e || e === document.body) return null;
    const style = getComputedStyle(e), around = getComputedStyle(e.closest(".pz-button") ?? e);
    const box = (e.closest("label.pz-button") ?? e).getBoundingClientRect();
    const top = document.elementFromPoint(box.x + box.width / 2, box.y + Math.min(box.height / 2, 20));
    window.pzWalked ??= new Map();
    const number = window.pzWalked.get(e) ?? window.pzWalked.size;
    window.pzWalked.set(e, number);
    return {
        number, what: e.outerHTML.slice(0, 110),
        ring: [style, around].some((s) => s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2),
        seen: Boolean(top && (e.contains(top) || top.contains(e) || e.closest("label")?.contains(top))),
    };
}"""

# One radio button of a group is a stop; the others are reached by arrow keys.
_STOPS = """() => {
    const groups = new Set();
    return [...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex='0']")]
        .filter((e) => e.checkVisibility() && !e.disabled && e.tabIndex >= 0)
        .filter((e) => e.type !== "radio" || (!groups.has(e.name) && groups.add(e.name)))
        .filter((e) => !window.pzWalked.has(e) && !(e.type === "radio" &&
            [...window.pzWalked.keys()].some((other) => other.name === e.name)))
        .map((e) => e.outerHTML.slice(0, 110));
}"""


def walk(page: Page, most: int = 400) -> list[str]:
    """Go through the page with the tabulator key: what is missed, what does not show that it has the keyboard, what
    lies hidden then, and what does not let go."""
    web = page.page
    web.evaluate("() => { window.pzWalked = new Map(); document.activeElement.blur(); scrollTo(0, 0); }")
    web.evaluate("getSelection().removeAllRanges()")
    faults, walked, stuck = [], 0, 0
    for _ in range(most):
        web.keyboard.press("Tab")
        now = web.evaluate(_FOCUSED)
        if now is None or (now["number"] == 0 and walked > 1):
            break
        if now["number"] < walked:
            stuck += 1
            faults.append(f"goes back to {now['what']}")
            if stuck > 1:
                break
            continue
        walked += 1
        if walked == 1 and "pz-skip" not in now["what"]:
            faults.append(f"the first stop is not the way past everything: {now['what']}")
        if not now["ring"]:
            faults.append(f"no ring: {now['what']}")
        if not now["seen"]:
            faults.append(f"hidden: {now['what']}")
    return faults + [f"not reached: {what}" for what in web.evaluate(_STOPS)]
