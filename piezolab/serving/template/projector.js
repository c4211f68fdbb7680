// Keeps the numbers on the projector page up to date.
(() => {
  "use strict";
  const address = document.body.dataset.stateAddress;
  const by = (id) => document.getElementById(id);

  function counts(state) {
    const made = [];
    for (const lesson of state.lessons) {
      if (state.lessons.length > 1 || by("lesson").textContent !== lesson.title) {
        const title = document.createElement("h2");
        title.textContent = lesson.title;
        made.push(title);
      }
      const list = document.createElement("ol");
      for (const [at, task] of lesson.tasks.entries()) {
        const item = document.createElement("li");
        const place = document.createElement("span");
        place.className = "pz-number";
        place.textContent = `${at + 1}`;
        const question = document.createElement("span");
        question.className = "pz-question";
        question.textContent = task.question;
        item.append(place, question);
        const row = document.createElement("div");
        row.className = "pz-count";
        const bar = document.createElement("div");
        bar.className = "pz-bar";
        const part = document.createElement("div");
        part.style.width = `${(100 * task.solved) / Math.max(state.taken, task.solved, 1)}%`;
        bar.append(part);
        const number = document.createElement("b");
        number.textContent = task.solved ? `at least ${task.solved} solved it` : "nobody yet";
        row.append(bar, number);
        item.append(row);
        list.append(item);
      }
      made.push(list);
    }
    by("counts").replaceChildren(...made);
  }

  let shown = "";
  async function ask() {
    try {
      const text = await (await fetch(address, { cache: "no-store" })).text();
      if (text !== shown) {
        const state = JSON.parse(text);
        const waiting = state.waiting ? `, ${state.waiting} waiting` : "";
        by("seats").textContent = `${state.taken} ${state.taken === 1 ? "seat" : "seats"} taken, ${state.free} free${waiting}`;
        counts(state);
        shown = text;
      }
      by("lost").hidden = true;
    } catch {
      by("lost").hidden = false;
    }
    setTimeout(ask, 2000);
  }
  ask();
})();
