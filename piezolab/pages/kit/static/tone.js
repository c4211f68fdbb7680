// Steady tones for the meter, from the browser's own oscillator; one at a time.
const PEAK = 0.5;
const FADE_S = 0.03;
const CLOSE_MS = 250;

export default {
  render({ model, el }) {
    const id = fresh("pz-tone");
    el.classList.add("pz-tone");
    const row = make("div", { class: "pz-buttons" });
    const label = make("label", { for: id });
    const slider = make("input", {
      id, type: "range", class: "pz-slider", min: model.get("lowest_db"), max: 0, step: 1,
    });
    slider.value = model.get("start_db");
    el.append(make("h2", {}, "The tone for the meter"), make("p", { class: "pz-hint" }, model.get("caution")), row,
      label, slider);

    let playing = null;
    const buttons = new Map(model.get("hertz").map((hertz) => [hertz, make("button", { type: "button", class: "pz-button" })]));
    function tell() {
      el.dataset.state = playing ? "playing" : "idle";
      for (const [hertz, button] of buttons) {
        const on = playing?.hertz === hertz;
        button.setAttribute("aria-pressed", String(on));
        button.textContent = on ? `stop the ${hertz} Hz tone` : `play the ${hertz} Hz tone`;
      }
      const text = `${slider.value.replace("-", "−")} dB`;
      label.textContent = `level of the tone: ${text}`;
      slider.setAttribute("aria-valuetext", text);
      const gain = PEAK * 10 ** (Number(slider.value) / 20);
      playing?.volume.gain.setTargetAtTime(gain, playing.context.currentTime, FADE_S);
    }
    function stop() {
      if (!playing) return;
      const { context, volume } = playing;
      playing = null;
      volume.gain.setTargetAtTime(0, context.currentTime, FADE_S);
      setTimeout(() => context.close(), CLOSE_MS);
    }
    function start(hertz) {
      const context = new AudioContext();
      const source = new OscillatorNode(context, { frequency: hertz });
      const volume = new GainNode(context, { gain: 0 });
      source.connect(volume).connect(context.destination);
      source.start();
      playing = { context, volume, hertz };
    }
    for (const [hertz, button] of buttons) {
      button.addEventListener("click", () => {
        const same = playing?.hertz === hertz;
        const silenced = window.piezolabMuted?.();
        stop();
        if (!same && !silenced) start(hertz);
        tell();
        if (silenced) label.textContent = silenced;
      });
      row.append(button);
    }
    const muted = ({ detail }) => {
      stop();
      tell();
      if (detail) label.textContent = detail;
    };
    slider.addEventListener("input", tell);
    window.addEventListener("piezolab:muted", muted);
    tell();
    return () => {
      window.removeEventListener("piezolab:muted", muted);
      stop();
    };
  },
};
