// Draws the figure that the kernel holds. The drawing library is not part of the widget: a served page
// carries it as an ordinary cacheable script, and any other front end asks the kernel for it once.

const KEY = Symbol.for("piezolab.plotly");
const KINDS = {
  f8: Float64Array, f4: Float32Array, i4: Int32Array, i2: Int16Array, i1: Int8Array,
  u4: Uint32Array, u2: Uint16Array, u1: Uint8Array,
};
const CONFIG = { displayModeBar: false, displaylogo: false, showTips: false, responsive: false };

function loaded(script) {
  return new Promise((resolve, reject) => {
    const ready = () => resolve(window.Plotly);
    if (window.Plotly?.react) return ready();
    script.addEventListener("load", ready, { once: true });
    const lost = () => reject(new Error("the drawing library did not load"));
    if (script.dataset.failed) return lost(); // the page has seen it fail before there was a plot
    script.addEventListener("error", lost, { once: true });
    setTimeout(lost, 20000);
  });
}

function fromKernel(model) {
  return new Promise((resolve, reject) => {
    const late = setTimeout(() => reject(new Error("the drawing library did not arrive")), 30000);
    const receive = (message, buffers) => {
      if (message?.library !== "plotly") return;
      clearTimeout(late);
      model.off("msg:custom", receive);
      const script = document.createElement("script");
      script.src = URL.createObjectURL(new Blob(buffers, { type: "text/javascript" }));
      loaded(script).then(resolve, reject).finally(() => URL.revokeObjectURL(script.src));
      document.head.append(script);
    };
    model.on("msg:custom", receive);
    model.send({ want: "plotly" });
  });
}

function library(model) {
  if (!window[KEY]) {
    const script = document.querySelector("script[data-piezolab-plotly]");
    window[KEY] = script
      ? loaded(script).catch(() => fromKernel(model))
      : fromKernel(model);
    window[KEY].catch(() => { delete window[KEY]; });
  }
  return window[KEY];
}

// Arrays arrive as raw bytes; a copy gives them the alignment that a typed array needs. Strings such as
// "var(--name)" take their colour from the page, so a figure follows its light or dark theme.
function plain(value, style) {
  if (Array.isArray(value)) return value.map((item) => plain(item, style));
  if (typeof value === "string") {
    const name = /^var\((--[\w-]+)(?:,\s*([^)]+\)?))?\)$/.exec(value);
    return name ? style.getPropertyValue(name[1]).trim() || name[2] || "#777" : value;
  }
  if (value === null || typeof value !== "object") return value;
  if (value.bytes instanceof DataView) {
    const { buffer, byteOffset, byteLength } = value.bytes;
    return new KINDS[value.kind](buffer.slice(byteOffset, byteOffset + byteLength));
  }
  return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, plain(item, style)]));
}

function merged(base, extra) {
  if (typeof extra !== "object" || extra === null || Array.isArray(extra)) return extra;
  const out = { ...base };
  for (const [key, item] of Object.entries(extra)) {
    out[key] = out[key] && typeof out[key] === "object" && !Array.isArray(out[key]) ? merged(out[key], item) : item;
  }
  return out;
}

function look(style, coarse) {
  const pick = (...names) => names.map((name) => style.getPropertyValue(name).trim()).find(Boolean);
  const dark = matchMedia("(prefers-color-scheme: dark)").matches;
  const text = pick("--plot-text", "--jp-content-font-color1") ?? (dark ? "#e8e8e8" : "#1c1c1c");
  const grid = pick("--plot-grid", "--jp-border-color2") ?? (dark ? "#454545" : "#d9d9d9");
  const axis = { gridcolor: grid, zerolinecolor: grid, linecolor: grid, tickcolor: grid, automargin: true };
  return {
    layout: {
      autosize: true,
      paper_bgcolor: "rgba(0,0,0,0)",
      plot_bgcolor: "rgba(0,0,0,0)",
      font: { color: text, size: 13, family: style.fontFamily || "sans-serif" },
      hoverlabel: {
        bgcolor: pick("--plot-paper", "--jp-layout-color1") ?? (dark ? "#1c1c1c" : "#ffffff"),
        bordercolor: grid, font: { color: text },
      },
      // Okabe and Ito's colour-blind-safe set, strongest contrast first.
      colorway: ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9"],
      margin: { l: 56, r: 14, t: 14, b: 44 },
      legend: { orientation: "h", x: 0, y: 1.02, yanchor: "bottom", bgcolor: "rgba(0,0,0,0)" },
      // A finger that scrolls the page must not draw a zoom box.
      dragmode: coarse ? false : "zoom",
      xaxis: { ...axis, ticklabelstandoff: 4 }, // or the first number of one axis touches that of the other
      yaxis: axis,
    },
  };
}

// The plot that stays in view beside or above the controls. It must leave them room on a low screen, and where it
// stands above them its own height makes up for the verdict's: nothing jumps under a finger when a line is added.
// Sizes of the screen are those of the page at rest, which do not change when a phone hides its address bar.
const LEAST_PX = 150;
const LOW_PX = 576; // look.css shows the button for the lower panel up to the same height
// A lesson's step is one screen, and its plot has what the rest of it leaves; with a keyboard open that is little.
const STEP_LEAST_PX = 118;
const KEYS_LEAST_PX = 80;
const STEP_SPARE_PX = 6;
function stepRoom(step, el, height) {
  const seen = step.dataset.keys ? window.visualViewport.height : document.documentElement.clientHeight;
  const free = seen - (step.offsetHeight - el.offsetHeight) - STEP_SPARE_PX;
  return Math.round(Math.max(step.dataset.keys ? KEYS_LEAST_PX : STEP_LEAST_PX, Math.min(height, free)));
}
function room(el, height, narrow) {
  const step = narrow ? el.closest(".pz-stepped") : null;
  if (step) return stepRoom(step, el, height);
  const stick = el.closest(".pz-stick");
  const share = stick ? parseFloat(getComputedStyle(stick).getPropertyValue("--pz-share")) : NaN;
  if (!(share > 0)) return height;
  const above = stick.offsetWidth > 0.9 * stick.closest(".pz-try").clientWidth;
  const free = share * document.documentElement.clientHeight - (stick.offsetHeight - el.offsetHeight);
  const most = narrow && above ? 1.7 * height : height;
  return Math.round(Math.max(LEAST_PX, Math.min(most, free)));
}

function figure(model, el) {
  const style = getComputedStyle(el);
  // A low screen (200 % zoom, a phone on its side) has no height for a lower panel beside the controls either.
  const low = el.closest(".pz-stick") && document.documentElement.clientHeight <= LOW_PX;
  const narrow = Boolean(low) || el.clientWidth < model.get("narrow_below_px");
  const coarse = matchMedia("(pointer: coarse)").matches;
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  let layout = plain(model.get("_layout"), style);
  if (narrow) layout = merged(layout, plain(model.get("_narrow"), style));
  const own = look(style, coarse);
  layout.template = { ...layout.template, layout: merged(own.layout, layout.template?.layout ?? {}) };
  layout.uirevision ??= "kept";
  const asked = layout.height ?? model.get("height_px");
  layout.height = room(el, asked, narrow);
  layout.width = el.clientWidth;
  if (still) delete layout.transition;
  const data = plain(model.get("_traces"), style)
    .filter((trace) => !(narrow && trace.meta?.wide_only));
  return { data, layout, asked, narrow };
}

export default {
  render({ model, el, signal }) {
    const box = document.createElement("div");
    box.className = "piezolab-plot-box";
    el.classList.add("piezolab-plot");
    el.setAttribute("role", "img");
    el.dataset.drawn = "0";
    el.dataset.state = "loading";
    el.append(box);

    let frame = 0;
    let drawing = false;
    let again = false;
    let stale = true;
    let listening = false; // for points that are touched
    let drawnWidth = 0;
    let drawnHeight = 0;
    let asked = null; // what height the figure would have, and whether it is a narrow one
    let stick = null;

    // An axis that is to stand still does so under a hand, and takes its new ends when the hand lets go.
    let ends = null;
    let awaited = false;
    function stand(layout) {
      if (!layout.meta?.steady) return;
      awaited = Boolean(ends && document.querySelector("input[type=range]:active"));
      if (awaited) layout.yaxis.range = ends;
      else ends = layout.yaxis.range;
    }
    const released = () => { if (awaited) soon(); };
    for (const end of ["pointerup", "change"]) window.addEventListener(end, released);

    async function draw() {
      if (drawing) { again = true; return; }
      if (signal?.aborted || !el.clientWidth) return;
      drawing = true;
      try {
        const Plotly = await library(model);
        stale = false;
        const revision = model.get("revision");
        const { data, layout, ...rest } = figure(model, el);
        stand(layout);
        asked = rest;
        drawnWidth = layout.width;
        drawnHeight = layout.height;
        box.style.minHeight = layout.height + "px";
        await Plotly.react(box, data, layout, CONFIG);
        if (!listening) {
          listening = true;
          box.on("plotly_click", ({ points: [point] }) => {
            const touch = point.data.meta?.touch?.[point.pointNumber];
            if (touch !== undefined) model.send({ touch });
          });
        }
        el.style.height = "";
        watch();
        el.dataset.state = "drawn";
        el.dataset.revision = revision;
        el.dataset.drawn = Number(el.dataset.drawn) + 1;
        el.dispatchEvent(new CustomEvent("piezolab:drawn", { bubbles: true, detail: { revision } }));
      } catch (problem) {
        console.error(problem);
        el.dataset.state = "failed";
        el.dispatchEvent(new CustomEvent("piezolab:failed", { bubbles: true }));
        if (!box.childElementCount) box.textContent = "The plot could not be drawn: " + problem.message + ".";
      } finally {
        drawing = false;
        if (again) { again = false; soon(); }
      }
    }
    // Several changes before the next frame become one redraw; a hidden plot waits until it has a width.
    function soon() {
      stale = true;
      if (!frame) frame = requestAnimationFrame(() => { frame = 0; draw(); });
    }
    function size() {
      box.style.minHeight = model.get("height_px") + "px";
      soon();
    }
    function describe() {
      el.setAttribute("aria-label", model.get("label"));
    }

    model.on("change:revision", soon);
    model.on("change:height_px", size);
    model.on("change:label", describe);
    const dark = matchMedia("(prefers-color-scheme: dark)");
    dark.addEventListener("change", soon);
    const theme = new MutationObserver(soon);
    theme.observe(document.body, { attributes: true, attributeFilter: ["data-jp-theme-name", "data-theme", "class"] });
    theme.observe(document.documentElement, { attributes: true, attributeFilter: ["data-theme"] });
    const width = new ResizeObserver(() => { if (stale || el.clientWidth !== drawnWidth) soon(); });
    width.observe(el);
    // A verdict that gets longer takes its line from the plot in the same moment, before anything is painted.
    function fit() {
      if (!asked) return;
      const height = room(el, asked.asked, asked.narrow);
      if (Math.abs(height - drawnHeight) < 2) return;
      el.style.height = `${height}px`;
      soon();
    }
    const fits = new ResizeObserver(fit);
    function watch() {
      if (stick) return fit();
      stick = el.closest(".pz-stick");
      if (!stick) return;
      fits.observe(el.closest(".pz-stepped") ?? stick);
      window.addEventListener("resize", fit);
    }
    // The front end waits longer and longer between its own attempts; the page knows when the server is back.
    const back = () => model.widget_manager?.kernel?.reconnect?.().catch(() => {});
    window.addEventListener("piezolab:server-back", back);
    describe();
    size();

    return () => {
      cancelAnimationFrame(frame);
      model.off("change:revision", soon);
      model.off("change:height_px", size);
      model.off("change:label", describe);
      dark.removeEventListener("change", soon);
      window.removeEventListener("piezolab:server-back", back);
      theme.disconnect();
      width.disconnect();
      fits.disconnect();
      window.removeEventListener("resize", fit);
      for (const end of ["pointerup", "change"]) window.removeEventListener(end, released);
      window.Plotly?.purge(box);
    };
  },
};
