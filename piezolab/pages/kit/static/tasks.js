// Tasks: a question, a place for the answer, and the package's verdict on it.

export default {
  render({ model, el }) {
    el.classList.add("pz-tasks");
    el.append(make("h2", {}, "Try it"));
    const list = make("ol");
    el.append(list);
    const shown = new Map();
    for (const task of model.get("tasks")) {
      const id = fresh("pz-task");
      const verdict = make("p", { class: "pz-answer", role: "status" });
      const mark = make("span", { class: "pz-done" });
      const question = make("p", { id: `${id}-question` }, task.question, " ", mark);
      const form = make("form", { class: "pz-task", "aria-labelledby": `${id}-question` });
      let answer = () => "";
      if (task.kind === "number") {
        const field = make("input", {
          type: "text", class: "pz-entry pz-wide", autocomplete: "off", spellcheck: "false", "aria-label": "your answer",
          "aria-describedby": `${id}-question`,
        });
        answer = () => field.value;
        form.append(field);
      } else if (task.kind === "pick") {
        task.options.forEach((option, n) => {
          const radio = make("input", { type: "radio", name: id, value: String(n) });
          form.append(make("label", { class: "pz-option" }, radio, option));
        });
        answer = () => form.querySelector("input:checked")?.value ?? "";
      }
      form.append(make("button", { type: "submit", class: "pz-button" }, "check"));
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        verdict.textContent = "checking …";
        verdict.classList.remove("pz-good");
        model.send({ word: "check", name: task.name, answer: answer() });
      });
      const hint = make("details", { class: "pz-small-fold" }, make("summary", {}, "a hint"), make("p", {}, task.hint));
      list.append(make("li", {}, question, form, verdict, hint));
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
