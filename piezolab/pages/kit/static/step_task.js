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
    let field = null;
    let waiting = null; // the task that is being checked, and what was known of it before

    function showGuess() {
      const { question = "", guessed = "", went = "" } = model.get("guess");
      guess.hidden = !question;
      const held = guess.contains(document.activeElement);
      guess.replaceChildren();
      if (!question) return;
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
      window.visualViewport?.removeEventListener("resize", keys);
      for (const [name, act] of follows) model.off(`change:${name}`, act);
    };
  },
};
