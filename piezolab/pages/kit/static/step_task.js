// One step's guess and task. A guess comes before the controls and is never graded; an answer is checked by the package.
const WAYS = [["up", "▲ up"], ["same", "= same"], ["down", "▼ down"]];
const WENT = { up: "▲ it went up", same: "= it stayed the same", down: "▼ it went down" };
// A phone with its keyboard open has about this much height left.
const KEYS_PX = 480;

function button(text, press, more = {}) {
  const node = make("button", { type: "button", class: "pz-button", ...more }, text);
  node.addEventListener("click", press);
  return node;
}

const decibels = (db) => `${db < 0 ? "−" : ""}${Math.abs(db).toFixed(1)} dB`;

// A dot on the plot's upright line at a frequency, moved by finger, mouse or arrows; where nothing is told of its moves
// it only stands there, the ghost of a guess. It lies over the plot and not in it, which is a picture and takes no focus.
function guessDot(step, hz, db, told, take) {
  const node = told
    ? make("button", { type: "button", class: "pz-dot", role: "slider", "aria-label": "your guess: the level of the lowest string", "aria-orientation": "vertical" })
    : make("span", { class: "pz-dot pz-dot-ghost", "aria-hidden": "true" });
  const one = { node, db, gone };
  const picture = () => step.querySelector(".piezolab-plot .js-plotly-plot");
  function place() {
    const box = picture();
    node.hidden = !box?._fullLayout?.yaxis?.l2p;
    if (node.hidden || !node.offsetParent) return;
    const { xaxis, yaxis } = box._fullLayout;
    const from = box.getBoundingClientRect();
    const to = node.offsetParent.getBoundingClientRect();
    const [low, high] = yaxis.range;
    const shown = Math.min(Math.max(one.db, low), high);
    node.style.left = `${from.left - to.left + xaxis._offset + xaxis.d2p(hz)}px`;
    node.style.top = `${from.top - to.top + yaxis._offset + yaxis.d2p(shown)}px`;
    if (!told) return;
    for (const [name, value] of [["valuemin", low], ["valuemax", high], ["valuenow", one.db.toFixed(1)], ["valuetext", decibels(one.db)]]) {
      node.setAttribute(`aria-${name}`, value);
    }
  }
  function move(to) {
    const [low, high] = picture()?._fullLayout?.yaxis?.range ?? [-40, 10];
    one.db = Math.min(Math.max(to, low), high);
    told(one.db);
    place();
  }
  function drag(event) {
    const box = picture();
    const { yaxis } = box._fullLayout;
    move(yaxis.p2d(event.clientY - box.getBoundingClientRect().top - yaxis._offset));
  }
  if (told) {
    node.addEventListener("pointerdown", (event) => {
      node.setPointerCapture(event.pointerId);
      node.focus({ preventScroll: true });
      event.preventDefault();
    });
    node.addEventListener("pointermove", (event) => { if (node.hasPointerCapture(event.pointerId)) drag(event); });
    const steps = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 5, PageDown: -5, Home: -1000, End: 1000 };
    node.addEventListener("keydown", (event) => {
      if (event.key === "Enter") take();
      else if (event.key in steps) move(one.db + steps[event.key]);
      else return;
      event.preventDefault();
    });
    told(one.db);
  }
  const moved = new ResizeObserver(place);
  moved.observe(step);
  step.addEventListener("piezolab:drawn", place);
  requestAnimationFrame(place);
  function gone() {
    moved.disconnect();
    step.removeEventListener("piezolab:drawn", place);
  }
  return one;
}

export default {
  render({ model, el }) {
    el.classList.add("pz-step-task");
    const guess = make("div", { class: "pz-guess", role: "group", "aria-label": "your guess" });
    const moved = make("p", { class: "pz-step-moved", role: "status" });
    const form = make("form", { class: "pz-step-form" });
    const reply = make("p", { class: "pz-answer", role: "status" });
    el.append(guess, moved, form, reply);
    const solved = new Set();
    let told = ""; // what the room has been told: counted there, and not who
    const typed = new Map(); // what stands in a field whose screen was left
    let dot = null; // a guess that is dragged
    let field = null;
    let waiting = null; // the task that is being checked, and what was known of it before

    function showGuess() {
      const { question = "", guessed = "", went = "", hz, db } = model.get("guess");
      guess.hidden = !question;
      const held = guess.contains(document.activeElement);
      if (hz && !guessed && dot && guess.contains(dot.node)) return; // under the hand
      dot?.gone();
      dot = null;
      guess.replaceChildren();
      if (!question) return;
      if (hz) return showDot(question, guessed, went, { hz, db }, held);
      if (!guessed) {
        const chips = WAYS.map(([word, text]) => button(text, () => model.send({ word: "guess", guess: word })));
        guess.append(make("p", {}, question), make("div", { class: "pz-chips" }, ...chips));
        return;
      }
      const text = Object.fromEntries(WAYS)[guessed];
      guess.append(make("p", { class: "pz-guess-result", role: "status", tabindex: "-1" },
        make("span", { class: "pz-ghost" }, `your guess: ${text}`), " ",
        make("span", {}, went ? WENT[went] : "now move it")));
      if (held) guess.firstChild.focus({ preventScroll: true });
    }

    function showDot(question, guessed, went, { hz, db }, held) {
      const plot = el.closest(".pz-stepped");
      if (!guessed) {
        const level = make("output", {});
        const take = () => model.send({ word: "guess", guess: dot.db.toFixed(1) });
        dot = guessDot(plot, hz, db, (now) => { level.textContent = decibels(now); }, take);
        const row = make("div", { class: "pz-chips" }, dot.node, make("span", {}, "drag the dot: ", level), button("that is my guess", take));
        guess.append(make("p", {}, question), row);
        return;
      }
      dot = guessDot(plot, hz, Number(guessed));
      guess.append(dot.node, make("p", { class: "pz-guess-result", role: "status", tabindex: "-1" },
        make("span", { class: "pz-ghost" }, `your guess: ${decibels(Number(guessed))}`), " ",
        make("span", {}, went || "now move it")));
      if (held) guess.lastChild.focus({ preventScroll: true });
    }

    function showMoved() {
      moved.replaceChildren();
      moved.hidden = !model.get("moved");
      if (moved.hidden) return;
      moved.append(model.get("moved"), " ", button("put it back", () => model.send({ word: "back" })));
    }

    function check(name, answer) {
      waiting = { name, before: model.get("answers")[name]?.[2] ?? 0 };
      showReply();
      model.send({ word: "check", name, answer });
    }

    function showTask() {
      if (field) typed.set(field.name, field.value);
      field = null;
      form.replaceChildren();
      const task = model.get("tasks").find(({ name }) => name === model.get("current"));
      form.hidden = reply.hidden = !task;
      waiting = null;
      if (!task) return keys();
      const id = fresh("pz-step");
      form.append(make("p", { id, class: "pz-step-question" }, task.question));
      const row = make("div", { class: "pz-chips" });
      const hint = button("hint", () => { waiting = null; say(`Hint: ${task.hint}`); });
      if (task.kind === "pick") {
        row.classList.toggle("pz-stacked", task.options.some((option) => option.length > 15));
        row.append(...task.options.map((option, n) => button(option, () => check(task.name, String(n)))), hint);
      } else {
        if (task.kind === "number") {
          field = make("input", {
            type: "text", class: "pz-entry pz-wide", name: task.name, autocomplete: "off", autocapitalize: "off",
            spellcheck: "false", enterkeyhint: "done", "aria-label": "your answer", "aria-describedby": id,
          });
          field.value = typed.get(task.name) ?? "";
          row.append(field);
        }
        row.append(make("button", { type: "submit", class: "pz-button" }, "check"), hint);
      }
      form.append(row);
      form.setAttribute("aria-labelledby", id);
      showReply();
      keys();
    }
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      check(model.get("current"), field?.value ?? "");
    });

    // All of it each time: a server that has started anew knows of nothing.
    function tell(names = []) {
      for (const name of names) solved.add(name.split("/").pop());
      const detail = { lesson: model.get("lesson"), tasks: [...solved], at: model.get("at"), wrong: model.get("wrong") };
      const now = JSON.stringify(detail);
      if (now === told) return;
      told = now;
      el.dispatchEvent(new CustomEvent("piezolab:solved", { bubbles: true, composed: true, detail }));
    }
    function say(text, good = false) {
      reply.textContent = text;
      reply.classList.toggle("pz-good", good);
    }
    function showReply() {
      const name = model.get("current");
      const [good, sentence, count] = model.get("answers")[name] ?? [false, "", 0];
      if (waiting?.name === name && waiting.before === count) {
        reply.setAttribute("aria-busy", "true");
        return say("checking …");
      }
      waiting = null;
      reply.removeAttribute("aria-busy");
      tell(good ? [name, ...model.get("done")] : model.get("done"));
      const before = !sentence && model.get("done").includes(name);
      say(before ? "✓ solved before" : sentence, good || before);
    }

    // With a keyboard over half of the screen only the verdict, the plot and the answer stay.
    function keys() {
      const step = el.closest(".pz-stepped");
      if (!step) return;
      const open = field !== null && document.activeElement === field && window.visualViewport.height < KEYS_PX
        && window.visualViewport.width < 577;
      if (open === (step.dataset.keys === "open")) return;
      if (open) step.dataset.keys = "open";
      else delete step.dataset.keys;
      window.dispatchEvent(new Event("resize"));
      if (open) requestAnimationFrame(() => step.scrollIntoView({ block: "start" }));
    }
    const soon = () => requestAnimationFrame(keys);
    form.addEventListener("focusin", soon);
    form.addEventListener("focusout", soon);
    window.visualViewport?.addEventListener("resize", keys);
    const follows = [["guess", showGuess], ["moved", showMoved], ["current", showTask], ["answers", showReply],
      ["done", showReply], ["at", () => tell()], ["wrong", () => tell()]];
    for (const [name, act] of follows) model.on(`change:${name}`, act);
    showGuess();
    showMoved();
    showTask();
    tell();
    return () => {
      dot?.gone();
      window.visualViewport?.removeEventListener("resize", keys);
      for (const [name, act] of follows) model.off(`change:${name}`, act);
    };
  },
};
