// Steps to tick off. What is ticked is the package's to remember.
export default {
  render({ model, el }) {
    el.classList.add("pz-checklist");
    const list = document.createElement("ol");
    list.setAttribute("aria-label", model.get("name"));
    el.append(list);
    function show() {
      const ticked = new Set(model.get("ticked"));
      const steps = model.get("steps");
      while (list.children.length > steps.length) list.lastElementChild.remove();
      for (const [n, step] of steps.entries()) {
        let item = list.children[n];
        if (!item) {
          item = document.createElement("li");
          const label = document.createElement("label");
          label.className = "pz-option";
          const box = document.createElement("input");
          box.type = "checkbox";
          const words = document.createElement("span");
          label.append(box, words);
          item.append(label);
          list.append(item);
          box.addEventListener("change", () => model.send({ word: "tick", name: box.dataset.name, on: box.checked }));
        }
        const [box, words] = item.querySelector("label").children;
        box.dataset.name = step.name;
        box.checked = ticked.has(step.name);
        words.textContent = step.words;
        if (step.caution) {
          const caution = document.createElement("strong");
          caution.className = "pz-step-caution";
          caution.textContent = step.caution;
          words.append(caution);
        }
      }
    }
    model.on("change:steps", show);
    model.on("change:ticked", show);
    show();
    return () => {
      model.off("change:steps", show);
      model.off("change:ticked", show);
    };
  },
};
