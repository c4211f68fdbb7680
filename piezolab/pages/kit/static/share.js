// The share row.

// The clipboard interface exists only over https and on this computer; the old command works everywhere else.
async function copied(text, field) {
  if (navigator.clipboard && window.isSecureContext) {
    try {
      await navigator.clipboard.writeText(text);
      return true;
    } catch { /* not allowed: try the other way */ }
  }
  const area = document.createElement("textarea");
  area.value = text;
  area.className = "pz-unseen";
  field.after(area);
  area.select();
  const done = document.execCommand("copy");
  area.remove();
  return done;
}

export default {
  render({ model, el }) {
    el.classList.add("pz-share");
    const served = document.body.hasAttribute("data-voila");
    const whole = make("details", { class: "pz-fold pz-share-fold" }, make("summary", {}, "Share this chain, or open a shared one"));
    el.append(whole);
    const told = make("p", { class: "pz-message", role: "status" });

    const rows = {};
    function row(name, label, tall) {
      const id = fresh("pz-share");
      const field = tall
        ? make("textarea", { id, readonly: "", rows: "6", class: "pz-field" })
        : make("input", { id, type: "text", readonly: "", class: "pz-field" });
      const button = make("button", { type: "button", class: "pz-button", "data-copy": name, "aria-label": `copy the ${label}` }, "copy");
      button.addEventListener("click", async () => {
        const done = await copied(field.value, field);
        told.textContent = done ? `Copied: ${label}.` : "This browser would not copy; the text is marked: press Ctrl+C, or hold it and choose copy.";
        button.focus();
        if (!done) { field.focus(); field.select(); }
      });
      rows[name] = field;
      const box = make("div", { class: "pz-share-row" }, make("label", { for: id }, label), field, button);
      whole.append(box);
      return box;
    }
    const linkRow = row("link", "full link");
    row("text", "configuration text");
    row("parts", "parts list", true);
    linkRow.hidden = !served;

    const code = make("div", { class: "pz-qr" });
    const fold = make("details", { class: "pz-fold" }, make("summary", {}, "QR code for a phone"), code);
    fold.addEventListener("toggle", () => { if (fold.open) model.send({ word: "qr" }); });
    if (served) whole.append(fold);

    const id = fresh("pz-share");
    const paste = make("textarea", { id, rows: "2", class: "pz-field", autocomplete: "off", spellcheck: "false" });
    const open = make("button", { type: "button", class: "pz-button" }, "open it");
    open.addEventListener("click", () => model.send({ word: "open", text: paste.value.slice(0, 8001) }));
    const said = make("div", { role: "status" });
    const answers = make("div", { class: "pz-buttons" }, ...[["rest", "open the rest of it"], ["leave", "leave it"]].map(([word, label]) => {
      const button = make("button", { type: "button", class: "pz-button" }, label);
      button.addEventListener("click", () => { model.send({ word }); open.focus(); });
      return button;
    }));
    whole.append(make("div", { class: "pz-share-row" },
      make("label", { for: id }, "open a shared configuration: paste a link or its text here"), paste, open), said, answers, told);

    function show() {
      rows.link.value = model.get("link");
      rows.text.value = model.get("text");
      rows.parts.value = model.get("parts");
    }
    function showCode() {
      code.innerHTML = model.get("qr");
      if (!model.get("qr")) code.textContent = model.get("qr_said");
    }
    function showSaid() {
      answers.hidden = !model.get("asks");
      said.replaceChildren(...model.get("said").map((sentence) => make("p", {}, sentence)));
    }
    const changes = ["link", "text", "parts"].map((name) => `change:${name}`);
    for (const change of changes) model.on(change, show);
    for (const change of ["change:qr", "change:qr_said"]) model.on(change, showCode);
    for (const change of ["change:said", "change:asks"]) model.on(change, showSaid);
    show();
    showCode();
    showSaid();
    return () => {
      for (const change of changes) model.off(change, show);
      for (const change of ["change:qr", "change:qr_said"]) model.off(change, showCode);
      for (const change of ["change:said", "change:asks"]) model.off(change, showSaid);
    };
  },
};
