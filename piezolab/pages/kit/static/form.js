// A small form. The package says what its fields are; what is typed goes back when the button is pressed.

export default {
  render({ model, el }) {
    el.classList.add("pz-form-block");
    const stem = fresh("pz-form");
    const entries = new Map();
    const form = make("form", { class: "pz-form", "aria-labelledby": `${stem}-title`, novalidate: "" });
    const shown = make("div", { class: "pz-fields" });
    const hidden = make("div", { class: "pz-fields" });
    for (const field of model.get("fields")) {
      const id = `${stem}-${field.name}`;
      const described = `${id}-hint ${id}-message`;
      const long = field.most > 60;
      let entry;
      if (field.options.length) {
        entry = make("select", { id, class: "pz-select", "aria-describedby": described });
        for (const [word, label] of field.options) entry.append(make("option", { value: word }, label));
      } else if (field.tick) {
        entry = make("input", { id, class: "pz-tick", type: "checkbox", "aria-describedby": described });
      } else {
        const plain = { id, class: "pz-entry", autocomplete: "off", autocapitalize: "off", spellcheck: "false", "aria-describedby": described };
        // A list needs lines, or most of it would lie beyond the edge of its field.
        entry = long ? make("textarea", { ...plain, rows: 2 }) : make("input", { ...plain, type: "text" });
        if (long) entry.addEventListener("keydown", (event) => {
          if (event.key !== "Enter" || event.shiftKey) return;
          event.preventDefault();
          form.requestSubmit();
        });
      }
      const message = make("p", { id: `${id}-message`, class: "pz-message", role: "alert" });
      const hint = make("p", { id: `${id}-hint`, class: "pz-hint" }, field.hint);
      hint.hidden = !field.hint;
      entries.set(field.name, { entry, message });
      (field.more ? hidden : shown).append(make("div", { class: long ? "pz-field-row pz-long-field" : "pz-field-row" },
        make("label", { for: id }, field.label),
        make("span", { class: "pz-value" }, entry, field.unit ? make("span", { class: "pz-unit" }, field.unit) : null),
        hint, message));
    }
    const said = make("p", { class: "pz-said", role: "status" });
    const about = make("p", {}, model.get("about"));
    about.hidden = !model.get("about");
    form.append(make("h2", { id: `${stem}-title` }, model.get("title")), about, shown);
    let fold = null;
    if (model.get("more")) {
      fold = make("details", { class: "pz-small-fold" }, make("summary", {}, model.get("more")), hidden);
      form.append(fold);
    }
    form.append(make("button", { type: "submit", class: "pz-button" }, model.get("button")), said);
    el.append(form);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const values = {};
      for (const [name, { entry }] of entries) values[name] = read(entry);
      model.send({ word: "submit", values });
    });
    function read(entry) {
      return entry.type === "checkbox" ? (entry.checked ? "yes" : "") : entry.value;
    }
    function fill() {
      for (const [name, text] of Object.entries(model.get("values"))) {
        const one = entries.get(name);
        if (one?.entry.type === "checkbox") one.entry.checked = text === "yes";
        else if (one && one.entry.value !== text) one.entry.value = text;
      }
    }
    function tell() {
      const wrong = model.get("wrong");
      for (const [name, { entry, message }] of entries) {
        message.textContent = wrong[name] ?? "";
        if (wrong[name]) entry.setAttribute("aria-invalid", "true");
        else entry.removeAttribute("aria-invalid");
        if (wrong[name] && fold?.contains(entry)) fold.open = true;
      }
      said.textContent = model.get("said");
    }
    model.on("change:values", fill);
    model.on("change:wrong", tell);
    model.on("change:said", tell);
    fill();
    tell();
    return () => {
      model.off("change:values", fill);
      model.off("change:wrong", tell);
      model.off("change:said", tell);
    };
  },
};
