// The visitor's own takes: a file goes to the package in slices, each when the one before has arrived, and no faster
// than the server lets a page send.

export default {
  render({ model, el }) {
    el.classList.add("pz-sound-input");
    const id = fresh("pz-sound");
    const hint = make("p", { id, class: "pz-hint" }, model.get("limits"));
    const said = make("p", { class: "pz-message", role: "status" });
    const bar = make("progress", { max: "1", "aria-label": "how much has been sent and worked through" });
    const cancel = make("button", { type: "button", class: "pz-button" }, "cancel");
    const busy = make("div", { class: "pz-buttons", hidden: true }, bar, cancel);
    const row = make("div", { class: "pz-buttons" });
    const list = make("ul", { class: "pz-takes" });
    const files = [];
    let serial = Math.floor(Math.random() * 1e6);
    let now = null; // the file on its way
    let left = model.get("at_once");
    let filled = performance.now();

    function state(word) {
      el.dataset.state = word;
      busy.hidden = word === "idle";
      for (const file of files) file.disabled = word !== "idle";
      row.classList.toggle("pz-busy", word !== "idle");
    }
    for (const [staged, words] of model.get("kinds")) {
      const file = make("input", { type: "file", accept: ".wav,.flac,audio/*", class: "pz-unseen", "aria-describedby": id });
      files.push(file);
      row.append(make("label", { class: "pz-button" }, words, file));
      file.addEventListener("change", () => {
        const chosen = file.files[0];
        file.value = "";
        if (!chosen || now) return;
        serial += 1;
        now = { file: chosen, staged };
        said.textContent = `${chosen.name}: on its way.`;
        bar.value = 0;
        state("sending");
        model.send({ word: "begin", serial, name: chosen.name, size: chosen.size, staged });
      });
    }
    cancel.addEventListener("click", () => {
      now = null;
      model.send({ word: "cancel", serial });
      said.textContent = "Cancelled; nothing of it is kept.";
      state("idle");
      files[0].focus();
    });
    // How long to wait until so much may be sent.
    function wait(size) {
      const time = performance.now();
      left = Math.min(model.get("at_once"), left + ((time - filled) / 1000) * model.get("each_second"));
      filled = time;
      left -= size;
      return left >= 0 ? 0 : (-left / model.get("each_second")) * 1000;
    }
    async function send(at) {
      const mine = now;
      const piece = mine.file.slice(at, at + model.get("slice"));
      await new Promise((next) => setTimeout(next, wait(piece.size)));
      let bytes;
      try {
        bytes = await piece.arrayBuffer();
      } catch {
        if (now !== mine) return;
        now = null;
        model.send({ word: "cancel", serial });
        said.textContent = `${mine.file.name}: this browser cannot read the file; choose it again.`;
        state("idle");
        return;
      }
      if (now !== mine) return;
      bar.value = (0.8 * at) / mine.file.size;
      model.send({ word: "slice", serial, at }, undefined, [bytes]);
    }
    function receive(message) {
      if (message?.serial !== serial || !now) return;
      if (message.word === "next") send(message.at);
      else if (message.word === "listening") {
        state("listening");
        if (message.said) said.textContent = message.said;
        else if (!message.part) said.textContent = `${now.file.name}: being listened to.`;
        bar.value = 0.8 + 0.2 * message.part;
      } else if (message.word === "end") {
        now = null;
        said.textContent = message.said;
        said.classList.toggle("pz-sound-taken", message.good === true);
        state("idle");
      }
    }
    function show() {
      whose.textContent = model.get("whose");
      const held = [...list.querySelectorAll("button")].indexOf(document.activeElement);
      list.replaceChildren(...model.get("takes").map(([label, remove], n) => {
        const button = make("button", { type: "button", class: "pz-button", "aria-label": remove }, "remove");
        button.addEventListener("click", () => model.send({ word: "remove", n }));
        return make("li", {}, label, " ", button);
      }));
      list.hidden = !list.children.length;
      if (held >= 0) ([...list.querySelectorAll("button")].at(held) ?? list.querySelector("button") ?? files[0]).focus();
    }
    const whose = make("p", {});
    el.append(whose, list, row, busy, said, hint);
    state("idle");
    model.on("msg:custom", receive);
    model.on("change:takes change:whose", show);
    show();
    return () => {
      if (now) model.send({ word: "cancel", serial });
      model.off("msg:custom", receive);
      model.off("change:takes change:whose", show);
    };
  },
};
