// Tasks: a question, a place for the answer, and the package's verdict on it.
// Every widget loads a copy of this file of its own, so the count that makes ids unique belongs to the page.
const IDS = Symbol.for("piezolab.ids");
function fresh(stem) {
  window[IDS] = (window[IDS] ?? 0) + 1;
  return `${stem}-${window[IDS]}`;
}

function element(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

export default {
  render({ model, el }) {
    el.classList.add("pz-tasks");
    el.append(element("h2", {}, "Try it"));
    const list = element("ol");
    el.append(list);
    const shown = new Map();
    for (const task of model.get("tasks")) {
      const id = fresh("pz-task");
      const verdict = element("p", { class: "pz-answer", role: "status" });
      const mark = element("span", { class: "pz-done" });
      const question = element("p", { id: `${id}-question` }, task.question, " ", mark);
      const form = element("form", { class: "pz-task", "aria-labelledby": `${id}-question` });
      let answer = () => "";
      if (task.kind === "number") {
        const field = element("input", {
          type: "text", class: "pz-entry pz-wide", autocomplete: "off", spellcheck: "false", "aria-label": "your answer",
          "aria-describedby": `${id}-question`,
        });
        answer = () => field.value;
        form.append(field);
      } else if (task.kind === "pick") {
        task.options.forEach((option, n) => {
          const radio = element("input", { type: "radio", name: id, value: String(n) });
          form.append(element("label", { class: "pz-option" }, radio, option));
        });
        answer = () => form.querySelector("input:checked")?.value ?? "";
      }
      form.append(element("button", { type: "submit", class: "pz-button" }, "check"));
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        verdict.textContent = "checking …";
        verdict.classList.remove("pz-good");
        model.send({ word: "check", name: task.name, answer: answer() });
      });
      const hint = element("details", { class: "pz-small-fold" }, element("summary", {}, "a hint"), element("p", {}, task.hint));
      list.append(element("li", {}, question, form, verdict, hint));
      shown.set(task.name, { verdict, mark });
    }
    function show() {
      const answers = model.get("answers");
      const done = model.get("done");
      for (const [name, { verdict, mark }] of shown) {
        const [good, sentence] = answers[name] ?? [false, ""];
        verdict.textContent = sentence;
        verdict.classList.toggle("pz-good", good);
        mark.textContent = done.includes(name) ? "✓ solved" : "";
      }
    }
    model.on("change:answers", show);
    model.on("change:done", show);
    show();
    return () => {
      model.off("change:answers", show);
      model.off("change:done", show);
    };
  },
};
