// Plays what the package makes: one loop, in which each sound has its turn. A loop is asked for when the button is
// pressed and kept until the chain changes. Everything goes through one gain stage, which starts low; what is far above
// the stated peak is not played at all.

const KEPT_SOUNDS = 8;
const PATIENCE_MS = 60000;
const RAMP_S = 0.02;
const TELL_MS = 60; // how soon it is said which sound has its turn
const REST_MS = 200; // the words wait until a slider rests

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
    const told = model.get("told");
    const sound = make("select", { id: `${stem}-sound`, class: "pz-select" });
    const turns = make("fieldset", { class: "pz-player-turns" }, make("legend", {}, "In turns"));
    const levels = make("fieldset", { class: "pz-player-levels" }, make("legend", {}, "Level"));
    const noises = make("fieldset", { class: "pz-player-noises" }, make("legend", {}, "Noise"));
    const touch = make("button", { type: "button", class: "pz-button pz-player-touch" });
    const button = make("button", { type: "button", class: "pz-button pz-player-play" });
    const sounding = make("strong", { class: "pz-player-now" });
    const volume = make("input", {
      type: "range", id: `${stem}-volume`, class: "pz-slider", min: model.get("lowest_db"), max: 0, step: 1,
    });
    volume.value = model.get("start_db");
    const reading = make("output", { for: volume.id });
    const status = make("p", { role: "status", class: "pz-player-status" });
    const list = make("ul");
    const words = make("details", { class: "pz-small-fold" }, make("summary", {}, "What there is to hear, in words"), list);
    const room = document.body.dataset.room === "yes" ? ` ${told.room}` : "";
    el.classList.toggle("pz-player-compact", model.get("compact"));
    el.append(
      make("h2", { id: `${stem}-title`, class: model.get("compact") ? "pz-unseen" : "" }, "Hear it"),
      make("div", { class: "pz-buttons" }, touch, button, sounding),
      make("p", { class: "pz-player-caution" }, `${told.caution}${room}`),
      status,
      make("details", { class: "pz-small-fold" }, make("summary", {}, told.more),
        make("div", { class: "pz-player-volume" }, make("label", { for: volume.id }, "Volume"), volume, reading),
        make("p", { class: "pz-hint" }, told.most),
        make("div", { class: "pz-player-choices" },
          make("div", {}, make("label", { for: sound.id }, "Note"), sound), levels, noises, turns),
        words, make("p", { class: "pz-hint" }, model.get("about"))),
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

    const left_out = new Set(); // versions that the listener wants no turn of
    function showTurns() {
      const there = model.get("versions");
      const focused = turns.contains(document.activeElement) ? document.activeElement.value : null;
      for (const label of turns.querySelectorAll("label")) label.remove();
      for (const [word, text] of there) {
        const box = make("input", { type: "checkbox", value: word });
        box.checked = !left_out.has(word);
        box.addEventListener("change", () => {
          left_out[box.checked ? "delete" : "add"](word);
          if (!wanted().length) left_out.delete(word);
          box.checked = !left_out.has(word);
          renewed();
          showButtons();
        });
        turns.append(make("label", { class: "pz-option" }, box, text));
        if (focused === word) box.focus();
      }
      turns.hidden = there.length < 2;
    }
    const wanted = () => model.get("versions").filter(([word]) => !left_out.has(word));
    function showButtons() {
      const names = wanted().map(([, text]) => text);
      const on = now !== null;
      button.textContent = on ? "■ stop" : "▶ hear it";
      button.setAttribute("aria-label", on ? "stop" : `hear it: ${names.join(", then ")}`);
      button.classList.toggle("pz-player-on", on);
      const { label, back } = model.get("touch");
      touch.hidden = !label;
      touch.textContent = label ? `${back ? "" : "▶ "}${label}` : "";
    }

    // ---- what is heard
    let context = null;
    let gain = null;
    let now = null; // what plays or is waited for: { key, serial, source }
    let asked = 0;
    let clock = 0;
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
      clearInterval(clock);
      if (now?.source) silence(now.source);
      now = null;
      sounding.textContent = "";
      set("idle", text);
    }
    function fail(text) {
      stop();
      set("failed", text);
    }

    function choice() {
      return {
        versions: wanted().map(([word]) => word), sound: sound.value, level: ticked(levels)[0], noises: ticked(noises),
      };
    }
    const muted = ({ detail }) => stop(detail);
    window.addEventListener("piezolab:muted", muted);
    function start(word = "play") {
      const silenced = window.piezolabMuted?.();
      if (silenced) return stop(silenced);
      open();
      stop();
      const message = choice();
      const key = word === "play" ? JSON.stringify([model.get("revision"), message]) : null;
      now = { key, serial: (asked += 1) };
      if (key && kept.has(key)) {
        model.send({ word: "again", ...message });
        return play(kept.get(key));
      }
      set("waiting", "Working the sound out …");
      late = setTimeout(() => fail("No sound has come for a minute; load the page again."), PATIENCE_MS);
      model.send({ word, serial: asked, ...message });
    }
    // Another choice while it plays is heard at once.
    function renewed() {
      if (now) start();
    }
    function play({ buffer, turns: names, said }) {
      clearTimeout(late);
      const source = context.createBufferSource();
      source.buffer = buffer;
      source.loop = true; // the graph goes round without a gap; the loop's end sinks into its beginning
      // A resampled wave may swing a little over between its samples: what is above the stated peak is turned down.
      const top = largest(buffer);
      source.pzFade = context.createGain();
      source.pzFade.gain.value = Math.min(1, model.get("peak") / top);
      source.connect(source.pzFade).connect(gain);
      now.source = source;
      Object.assign(el.dataset, {
        turns: names.join("|"), seconds: buffer.duration, peak: top * source.pzFade.gain.value,
      });
      const begun = context.currentTime;
      source.start();
      const tell = () => {
        const part = ((context.currentTime - begun) % buffer.duration) / buffer.duration;
        const text = `now: ${names[Math.min(names.length - 1, Math.floor(part * names.length))]}`;
        if (sounding.textContent !== text) sounding.textContent = text;
      };
      clock = setInterval(tell, TELL_MS);
      tell();
      set("playing", `Playing${names.length > 1 ? " in turns" : ""}: ${names.join("; ")}. ${said} ${told.small}`);
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
        const one = { buffer: decoded, turns: message.turns, said: message.said };
        if (kept.size >= KEPT_SOUNDS) kept.delete(kept.keys().next().value);
        if (mine.key && message.revision === model.get("revision")) kept.set(mine.key, one);
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
      if (now?.source) status.textContent = "Still the sound from before the change; stop it and play again.";
      // A request is on its way: its answer is of the chain as it is then.
      showTurns();
      showButtons();
      ask();
    }
    button.addEventListener("click", () => (now ? stop() : start()));
    touch.addEventListener("click", () => {
      if (!model.get("touch").back) return start("touch");
      stop("It is back as it was.");
      model.send({ word: "back" });
    });
    volume.addEventListener("input", setVolume);
    words.addEventListener("toggle", ask);
    sound.addEventListener("change", () => { renewed(); ask(); });
    levels.addEventListener("change", renewed);
    noises.addEventListener("change", renewed);
    model.on("change:touch", showButtons);
    model.on("change:revision", changed);
    model.on("msg:custom", receive);
    options(sound, model.get("sounds"));
    setVolume();
    showTurns();
    showButtons();

    return () => {
      left = true;
      clearTimeout(late);
      clearInterval(clock);
      model.off("change:touch", showButtons);
      model.off("change:revision", changed);
      model.off("msg:custom", receive);
      window.removeEventListener("piezolab:muted", muted);
      context?.close();
    };
  },
};
