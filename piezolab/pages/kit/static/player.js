// Plays what the package makes. A sound is asked for when its button is pressed and kept until the chain changes.
// Everything goes through one gain stage, which starts low; what is far above the stated peak is not played at all.

const KEPT_SOUNDS = 8;
const PATIENCE_MS = 60000;
const RAMP_S = 0.02;
const REST_MS = 200; // the words wait until a slider rests
// Every widget loads a copy of this file of its own, so the count that makes ids unique belongs to the page.
const IDS = Symbol.for("piezolab.ids");
function fresh(stem) {
  window[IDS] = (window[IDS] ?? 0) + 1;
  return `${stem}-${window[IDS]}`;
}

function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

function largest(buffer) {
  let top = 0;
  for (let channel = 0; channel < buffer.numberOfChannels; channel += 1) {
    for (const sample of buffer.getChannelData(channel)) top = Math.max(top, Math.abs(sample));
  }
  return top;
}

export default {
  render({ model, el }) {
    const stem = fresh("pz-player");
    el.classList.add("pz-player");
    el.setAttribute("role", "group");
    el.setAttribute("aria-labelledby", `${stem}-title`);
    el.dataset.state = "idle";

    // ---- what is seen
    const sound = make("select", { id: `${stem}-sound`, class: "pz-select" });
    const levels = make("fieldset", { class: "pz-player-levels" }, make("legend", {}, "Level"));
    const noises = make("fieldset", { class: "pz-player-noises" }, make("legend", {}, "Noise"));
    const buttons = make("div", { class: "pz-buttons", role: "group", "aria-label": "play" });
    const volume = make("input", {
      type: "range", id: `${stem}-volume`, class: "pz-slider", min: model.get("lowest_db"), max: 0, step: 1,
    });
    volume.value = model.get("start_db");
    const reading = make("output", { for: volume.id });
    const status = make("p", { role: "status", class: "pz-player-status" });
    const list = make("ul");
    const words = make("details", { class: "pz-small-fold" }, make("summary", {}, "What there is to hear, in words"), list);
    el.append(
      make("h2", { id: `${stem}-title` }, "Hear it"),
      make("p", { class: "pz-player-caution" }, make("strong", {}, "Take care. "), model.get("caution")),
      make("div", { class: "pz-player-choices" },
        make("div", {}, make("label", { for: sound.id }, "Note"), sound), levels, noises),
      make("div", { class: "pz-player-volume" }, make("label", { for: volume.id }, "Volume"), volume, reading),
      buttons, status, words,
      make("p", { class: "pz-hint" }, model.get("about")),
    );

    function options(node, pairs) {
      const chosen = node.value;
      node.replaceChildren(...pairs.map(([word, text]) => make("option", { value: word }, text)));
      if (pairs.some(([word]) => word === chosen)) node.value = chosen;
    }
    function ticks(node, pairs, type, first) {
      for (const [n, [word, text]] of pairs.entries()) {
        const box = make("input", { type, name: node === levels ? `${stem}-level` : `${stem}-${word}`, value: word });
        box.checked = first && n === 0;
        node.append(make("label", { class: "pz-option" }, box, text));
      }
      node.hidden = !pairs.length;
    }
    ticks(levels, model.get("levels"), "radio", true);
    ticks(noises, model.get("noises"), "checkbox", false);
    const ticked = (node) => [...node.querySelectorAll("input:checked")].map((box) => box.value);

    const players = new Map();
    function showButtons() {
      const wanted = model.get("versions");
      for (const [word, text] of wanted) {
        let button = players.get(word);
        if (!button) {
          button = make("button", { type: "button", class: "pz-button", "data-version": word });
          button.addEventListener("click", () => (now?.version === word ? stop() : start(word)));
          players.set(word, button);
        }
        const mine = now?.version === word;
        button.textContent = `${mine ? "■ stop" : "▶ play"}: ${text}`;
        button.setAttribute("aria-label", `${mine ? "Stop" : "Play"}: ${text}`);
        button.classList.toggle("pz-player-on", mine);
        if (button.parentElement !== buttons) buttons.append(button);
      }
      for (const [word, button] of players) if (!wanted.some(([other]) => other === word)) {
        button.remove();
        players.delete(word);
      }
    }

    // ---- what is heard
    let context = null;
    let gain = null;
    let now = null; // what plays or is waited for: { version, serial, source }
    let asked = 0;
    let late = 0;
    let left = false;
    const kept = new Map();

    const decibels = () => Number(volume.value);
    function setVolume() {
      const text = `${decibels() < 0 ? "−" : ""}${Math.abs(decibels())} dB`;
      reading.textContent = text;
      volume.setAttribute("aria-valuetext", text);
      if (gain) gain.gain.setTargetAtTime(10 ** (decibels() / 20), context.currentTime, RAMP_S);
    }
    // Browsers allow sound only after the visitor has pressed something, so nothing is opened before.
    function open() {
      if (!context) {
        context = new AudioContext();
        gain = context.createGain();
        gain.gain.value = 10 ** (decibels() / 20);
        gain.connect(context.destination);
      }
      if (context.state === "suspended") context.resume();
    }
    function silence(source) {
      const fade = source.pzFade;
      fade.gain.setTargetAtTime(0, context.currentTime, RAMP_S / 4);
      source.onended = null;
      source.stop(context.currentTime + RAMP_S);
    }
    function set(state, text) {
      el.dataset.state = state;
      if (text !== undefined) status.textContent = text;
      showButtons();
    }
    function stop(text = "") {
      clearTimeout(late);
      if (now?.source) silence(now.source);
      now = null;
      set("idle", text);
    }
    function fail(text) {
      stop();
      set("failed", text);
    }

    function choice(version) {
      return { version, sound: sound.value, level: ticked(levels)[0], noises: ticked(noises) };
    }
    function start(version) {
      open();
      stop();
      const wanted = choice(version);
      const key = JSON.stringify([model.get("revision"), wanted]);
      now = { version, key, serial: (asked += 1) };
      if (kept.has(key)) return play(kept.get(key));
      set("waiting", "Working the sound out …");
      late = setTimeout(() => fail("No sound has come for a minute; load the page again."), PATIENCE_MS);
      model.send({ word: "play", serial: asked, ...wanted });
    }
    function play({ buffer, said }) {
      clearTimeout(late);
      const source = context.createBufferSource();
      source.buffer = buffer;
      // A resampled wave may swing a little over between its samples: what is above the stated peak is turned down.
      const top = largest(buffer);
      source.pzFade = context.createGain();
      source.pzFade.gain.value = Math.min(1, model.get("peak") / top);
      source.connect(source.pzFade).connect(gain);
      source.onended = () => { if (now?.source === source) stop(""); };
      now.source = source;
      Object.assign(el.dataset, { version: now.version, seconds: buffer.duration, peak: top * source.pzFade.gain.value });
      source.start();
      set("playing", `Playing. ${said}`);
    }

    async function receive(message, buffers) {
      if (message?.word === "described") return describe(message);
      if (message?.word !== "sound" || message.serial !== now?.serial || left) return;
      if (message.problem) return fail(message.problem);
      const mine = now;
      try {
        const { buffer, byteOffset, byteLength } = buffers[0];
        const decoded = await context.decodeAudioData(buffer.slice(byteOffset, byteOffset + byteLength));
        if (largest(decoded) > 1.1 * model.get("peak")) throw new Error("it is louder than it may be");
        const one = { buffer: decoded, said: message.said };
        if (kept.size >= KEPT_SOUNDS) kept.delete(kept.keys().next().value);
        if (message.revision === model.get("revision")) kept.set(mine.key, one);
        if (now === mine && !left) play(one);
      } catch (problem) {
        console.error(problem);
        if (now === mine) fail(`The browser could not play the sound: ${problem.message}.`);
      }
    }

    // ---- in words, for who cannot hear it or does not want to
    let soon = 0;
    function ask() {
      clearTimeout(soon);
      soon = setTimeout(() => { if (words.open && !left) model.send({ word: "describe", sound: sound.value }); }, REST_MS);
    }
    function describe({ revision, sound: about, sentences }) {
      if (revision !== model.get("revision") || about !== sound.value) return;
      list.replaceChildren(...sentences.map((sentence) => make("li", {}, sentence)));
    }

    function changed() {
      kept.clear();
      options(sound, model.get("sounds"));
      if (now && !model.get("versions").some(([word]) => word === now.version)) stop("");
      else if (now?.source) status.textContent = "Still the sound from before the change; play it again.";
      // A request is on its way: its answer is of the chain as it is then.
      showButtons();
      ask();
    }
    volume.addEventListener("input", setVolume);
    words.addEventListener("toggle", ask);
    sound.addEventListener("change", () => { stop(""); ask(); });
    levels.addEventListener("change", () => stop(""));
    noises.addEventListener("change", () => stop(""));
    model.on("change:revision", changed);
    model.on("msg:custom", receive);
    options(sound, model.get("sounds"));
    setVolume();
    showButtons();

    return () => {
      left = true;
      clearTimeout(late);
      model.off("change:revision", changed);
      model.off("msg:custom", receive);
      context?.close();
    };
  },
};
