// A panel of controls. The package says what each control is and what it shows; this file draws it and sends back
// text. One message is on its way at a time: while it is, only the newest value of each control waits.

const LOST_MS = 3000;

// ---- one slider with its exact entry; `said` is called with (text, live)
function scale(about, ids, said, extra = {}) {
  const entry = make("input", {
    type: "text", id: ids.entry, class: "pz-entry", autocomplete: "off", autocapitalize: "off", spellcheck: "false",
    enterkeyhint: "done", "aria-describedby": ids.described, size: 7,
  });
  const slider = make("input", {
    type: "range", class: "pz-slider", min: 0, max: about.steps.length - 1, step: 1,
    "aria-label": `${about.label}, slider`, "data-slider": extra.key ?? about.key ?? about.label,
    "data-lm-suppress-shortcuts": "true", // or JupyterLab takes the arrow keys for its own
  });
  const unit = about.unit ? make("span", { class: "pz-unit" }, about.unit) : null;
  const spoken = (text) => slider.setAttribute("aria-valuetext", `${text} ${about.unit}`.trim());
  let held = false;
  let shown = "";
  slider.addEventListener("input", () => {
    held = true;
    entry.value = about.steps[slider.value];
    spoken(entry.value);
    said(entry.value, true);
  });
  slider.addEventListener("change", () => { held = false; said(about.steps[slider.value], false); });
  entry.addEventListener("change", () => said(entry.value, false));
  entry.addEventListener("keydown", (event) => {
    if (event.key === "Enter") { event.preventDefault(); said(entry.value, false); }
    if (event.key === "Escape") entry.value = shown;
  });
  return {
    entry, slider, unit,
    show(text, at) {
      shown = text;
      if (held) return;
      if (entry.value !== text) entry.value = text;
      if (slider.value !== String(at)) slider.value = at;
      spoken(text);
    },
    // what was typed and refused stays, so that it can be mended
    refused() { held = false; },
  };
}

function select(options, id, described, label) {
  const node = make("select", { id, "aria-describedby": described, "aria-label": label, class: "pz-select" });
  for (const [word, shown] of options) node.append(make("option", { value: word }, shown));
  return node;
}

const KINDS = {
  quantity(about, ids, said) {
    const one = scale(about, ids, said);
    return {
      head: make("span", { class: "pz-value" }, one.entry, one.unit), body: one.slider,
      show: (state) => one.show(state.text, state.at), refused: one.refused, fields: [one.entry],
    };
  },
  choice(about, ids, said) {
    const list = select(about.options, ids.entry, ids.described);
    list.addEventListener("change", () => said(list.value, false));
    return {
      body: list, fields: [list],
      show(state) {
        // a row that only old links name is listed while the chain holds it
        if (list.lastChild.hidden) list.lastChild.remove();
        if (state.shown) list.append(make("option", { value: state.text, hidden: "" }, state.shown));
        list.value = state.text;
      },
    };
  },
  text(about, ids, said) {
    const entry = make("input", {
      type: "text", id: ids.entry, class: "pz-entry pz-wide", autocomplete: "off", spellcheck: "false",
      enterkeyhint: "done", "aria-describedby": ids.described,
    });
    entry.addEventListener("change", () => said(entry.value, false));
    return { body: entry, show: (state) => { entry.value = state.text; }, fields: [entry] };
  },
  words(about, ids, said) {
    const first = select(about.options, ids.entry, ids.described);
    const second = select([["", "nothing else"], ...about.options], null, ids.described, `${about.label}, the second`);
    const also = make("div", { class: "pz-also" }, make("span", { "aria-hidden": "true" }, "and at the same time"), second);
    const say = () => said([first.value, second.value].filter(Boolean).join(","), false);
    first.addEventListener("change", say);
    second.addEventListener("change", say);
    return {
      body: make("div", {}, first, also),
      show(state) {
        const [one, two = ""] = state.text.split(",");
        first.value = one;
        second.value = two;
        also.classList.toggle("pz-nothing", !two);
      },
      fields: [first, second],
    };
  },
  several(about, ids, said) {
    const put = make("button", { type: "button", class: "pz-button", "aria-describedby": ids.described }, "put it in");
    const out = make("button", { type: "button", class: "pz-button" }, "take it out");
    const rows = make("div", { class: "pz-parts" });
    const texts = about.parts.map(() => "");
    const parts = about.parts.map((part, n) => {
      const own = { entry: `${ids.entry}-${n}`, described: ids.described };
      const one = scale(part, own, (text, live) => { texts[n] = text; said(texts.join(","), live); },
        { key: `${about.key}-${n}` });
      rows.append(make("div", { class: "pz-row" }, make("label", { for: own.entry }, part.label),
        make("span", { class: "pz-value" }, one.entry, one.unit)), one.slider);
      return one;
    });
    put.addEventListener("click", () => said(about.start, false));
    out.addEventListener("click", () => said("none", false));
    const body = make("div", {}, put, rows, out);
    return {
      body, fieldset: true,
      show(state) {
        const none = state.text === "none";
        put.hidden = !none;
        rows.hidden = out.hidden = none;
        if (none) return;
        state.text.split(",").forEach((text, n) => { texts[n] = text; parts[n].show(text, state.at[n]); });
      },
      refused: () => parts.forEach((part) => part.refused()),
      fields: parts.map((part) => part.entry),
    };
  },
};

function control(about, send) {
  const stem = fresh("pz");
  const ids = { entry: `${stem}-entry`, described: `${stem}-hint ${stem}-note ${stem}-message` };
  const said = (text, live) => send(about.key, text, live);
  const inside = KINDS[about.kind](about, ids, said);
  const hint = make("p", { id: `${stem}-hint`, class: "pz-hint", hidden: true }, about.hint);
  const why = about.hint ? make("button", {
    type: "button", class: "pz-why", "aria-expanded": "false", "aria-controls": `${stem}-hint`,
    "aria-label": `about ${about.label}`, title: about.hint,
  }, "?") : null;
  why?.addEventListener("click", () => {
    hint.hidden = !hint.hidden;
    why.setAttribute("aria-expanded", String(!hint.hidden));
  });
  const back = make("button", { type: "button", class: "pz-link", hidden: true });
  back.addEventListener("click", () => send(about.key, "", false));
  const note = make("span", { id: `${stem}-note` });
  const message = make("p", { id: `${stem}-message`, class: "pz-message", role: "alert" });
  const name = inside.fieldset
    ? make("legend", {}, about.label)
    : make("label", { for: ids.entry, title: about.hint }, about.label);
  const row = make("div", { class: "pz-row" }, inside.fieldset ? null : name, why, inside.head);
  const root = make(inside.fieldset ? "fieldset" : "div", { class: "pz-control", "data-key": about.key },
    inside.fieldset ? name : null, row, hint, inside.body, make("p", { class: "pz-note" }, note, back), message);
  return {
    root,
    show(state) {
      root.hidden = !state.applies;
      note.textContent = state.note;
      hint.textContent = [about.hint, state.aside].filter(Boolean).join(" ");
      if (why) why.title = hint.textContent;
      back.textContent = state.back;
      back.hidden = !state.back;
      note.parentElement.hidden = !state.note && !state.back;
      message.textContent = state.message;
      const wrong = Boolean(state.message);
      for (const field of inside.fields) wrong ? field.setAttribute("aria-invalid", "true") : field.removeAttribute("aria-invalid");
      if (wrong) inside.refused?.();
      else inside.show(state);
    },
  };
}

export default {
  render({ model, el }) {
    el.classList.add("pz-controls");
    const controls = new Map();
    const waiting = new Map();
    let number = 0;
    let flying = 0;
    let sentAt = 0;

    function out(key, text, live) {
      flying = ++number;
      sentAt = performance.now();
      model.send({ word: "enter", key, text, live, number });
    }
    function next() {
      if (!waiting.size || (flying && performance.now() - sentAt < LOST_MS)) return;
      const [key, { text, live }] = waiting.entries().next().value;
      waiting.delete(key);
      out(key, text, live);
    }
    function send(key, text, live) {
      waiting.set(key, { text, live });
      next();
    }
    // Whatever is pressed next acts on what the hand has set, not on what was sent so far.
    function flush() {
      for (const [key, { text, live }] of waiting) out(key, text, live);
      waiting.clear();
    }
    function receive(message) {
      if (!message || typeof message !== "object") return;
      if (message.seen !== undefined && message.seen >= flying) flying = 0;
      // A control whose next value is already waiting keeps what the hand has set.
      for (const [key, state] of Object.entries(message.states ?? {})) if (!waiting.has(key)) controls.get(key)?.show(state);
      for (const fold of folds) fold.hidden = !fold.querySelector(".pz-control:not([hidden])");
      next();
    }

    const folds = [];
    const named = model.get("name");
    for (const group of model.get("groups")) {
      const list = make("div", { class: "pz-list" });
      for (const about of group.items) {
        const one = control(about, send);
        controls.set(about.key, one);
        list.append(one.root);
      }
      if (group.title) {
        const fold = make("details", { class: "pz-fold" }, make("summary", {}, group.title), list);
        folds.push(fold);
        el.append(fold);
      } else el.append(list);
    }
    el.setAttribute("role", "group");
    el.setAttribute("aria-label", named);
    model.on("msg:custom", receive);
    document.addEventListener("click", flush, true);
    model.send({ word: "ready" });
    return () => {
      document.removeEventListener("click", flush, true);
      model.off("msg:custom", receive);
    };
  },
};
